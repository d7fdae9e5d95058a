package match

import (
	"math"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// readings writes deviations of open partials.
func readings(cents map[int]float64) []catalog.Reading {
	var out []catalog.Reading
	for p, c := range cents {
		out = append(out, catalog.Reading{Slot: pitch.Slot{Partial: p}, Repeat: 1, Cents: c})
	}
	return out
}

// A harmonic column has the deviations 1200 log2 n - 100 s_n (+1.955 for 3 and 6,
// -13.686 for 5 and 10, derived); the sessions' own constants differ.
func TestMeasuredSupport(t *testing.T) {
	column := func(shift float64, partials ...int) catalog.Session {
		cents := map[int]float64{}
		for _, p := range partials {
			cents[p] = pitch.HarmonicCents(p) + shift
		}
		return catalog.Session{Readings: readings(cents)}
	}
	r := NewResonances([]catalog.Session{column(-20, 2, 3, 4, 5, 6, 8), column(35, 3, 4, 5, 9, 10, 12)})
	if r.Sessions != 2 {
		t.Errorf("%d sessions", r.Sessions)
	}
	for p := 2; p <= 5; p++ { // 6 has only 12, which no session read together with it
		if v, ok := r.Support(pitch.Slot{Partial: p}); !ok || math.Abs(v-1) > 1e-12 {
			t.Errorf("support of partial %d is %g, %v", p, v, ok)
		}
	}
	for _, s := range []pitch.Slot{{Partial: 6}, {Partial: 8}, {Valves: 1, Partial: 2}} {
		if v, ok := r.Support(s); ok {
			t.Errorf("support of %s is %g", s, v)
		}
	}
	// By hand: of two sessions one has the octave of partial 2 right, the other 50
	// sharp, so on the mean 25: 1/sqrt 2. Partials 6 and 8 are not read.
	r = NewResonances([]catalog.Session{{Readings: readings(map[int]float64{2: 7, 4: 7})}, {Readings: readings(map[int]float64{2: -3, 4: 47})}})
	v, _ := r.Support(pitch.Slot{Partial: 2})
	near(t, "support of the mean", v, 1/math.Sqrt2, 1e-12)
	mean, ok := r.MeanSupport([]pitch.Slot{{Partial: 2}, {Partial: 8}})
	if near(t, "mean support", mean, v, 1e-12); !ok {
		t.Error("mean support unknown")
	}
	// Repeats are averaged, odd readings left out.
	r = NewResonances([]catalog.Session{{Readings: []catalog.Reading{
		{Slot: pitch.Slot{Partial: 2}, Repeat: 1}, {Slot: pitch.Slot{Partial: 4}, Repeat: 1, Cents: 20}, {Slot: pitch.Slot{Partial: 4}, Repeat: 2, Cents: 30},
		{Slot: pitch.Slot{Partial: 4}, Repeat: 3, Cents: 500, Odd: true}}}})
	v, _ = r.Support(pitch.Slot{Partial: 2})
	near(t, "support of repeats", v, 1/math.Sqrt2, 1e-12)
	if r := NewResonances(nil); r != nil {
		t.Error("no sessions are some")
	}
}

func TestExplainMeasuredSupport(t *testing.T) {
	e := &fakeEngine{}
	o := Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2")}
	if x := explain(t, e, o, Criteria{}); x.Impedance != nil || noteLine(t, x, "C4").HelpMeasured != nil {
		t.Errorf("without sessions %+v", x.Impedance)
	}
	o.Resonances = NewResonances([]catalog.Session{{Readings: readings(map[int]float64{2: 0, 4: 25})}})
	x := explain(t, e, o, Criteria{})
	if x.Impedance == nil || x.Impedance.Sessions != 1 || x.Impedance.Support == nil {
		t.Fatalf("%+v", x.Impedance)
	}
	near(t, "support", *x.Impedance.Support, 1/math.Sqrt2, 1e-12)
	near(t, "support of C4", *noteLine(t, x, "C4").HelpMeasured, 1/math.Sqrt2, 1e-12)
	if noteLine(t, x, "G4").HelpMeasured != nil || *noteLine(t, x, "C4").Help == *noteLine(t, x, "C4").HelpMeasured {
		t.Errorf("G4 %+v, C4 %+v", noteLine(t, x, "G4"), noteLine(t, x, "C4"))
	}
	// Sessions that say nothing of harmonics are there, but give no support.
	o.Resonances = NewResonances([]catalog.Session{{Readings: readings(map[int]float64{5: 0})}})
	if x := explain(t, e, o, Criteria{}); x.Impedance == nil || x.Impedance.Support != nil {
		t.Errorf("%+v", x.Impedance)
	}
}
