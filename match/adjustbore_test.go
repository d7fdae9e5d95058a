package match

import (
	"math"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/aircolumn"
)

// describedHorn is a horn whose stored bore is that of dimensions.
func describedHorn(t *testing.T, bore aircolumn.Bore) catalog.Horn {
	t.Helper()
	var text strings.Builder
	if err := bore.WriteCSV(&text); err != nil {
		t.Fatal(err)
	}
	h := alder()
	h.BoreGeometry = text.String()
	return h
}

func generic(t *testing.T) aircolumn.Setup {
	t.Helper()
	s, err := aircolumn.Generic(catalog.Trumpet, pitch.KeyBb)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Shifts start from the bore that is described, its gap included: they are those
// of the dimensions that it was made of, and not the generic instrument's.
func TestAdjustStartsFromTheDescribedBore(t *testing.T) {
	truth := generic(t)
	truth.Horn.GapMM, truth.Horn.Flare, truth.Horn.LeadpipeStartMM, truth.Horn.LeadpipeMM = 1.5, 0.64, 9.3, 205
	m := mouthpiece("Plover 16.2")
	h := describedHorn(t, truth.Horn.Bore())
	h.BoreMM = 12.3 // the description knows better
	a := adjusted(t, withThird(10), h, m, Criteria{})
	if a.Bore != BoreDescribed || !strings.Contains(a.Model, "the described bore of Alder with its described gap of 1.5 mm") {
		t.Errorf("%s: %s", a.Bore, a.Model)
	}
	if said := strings.Join(a.Words, " "); !strings.Contains(said, "Shifts are calculated for the described bore of Alder") {
		t.Error(said)
	}
	if m.RimMM > 0 {
		truth.Cup.RimMM = m.RimMM
	}
	if m.CupCM3 > 0 {
		truth.Cup.CupCM3 = m.CupCM3
	}
	slots := pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3)
	plain := adjusted(t, withThird(10), alder(), m, Criteria{})
	if plain.Bore != BoreInvented || !strings.HasPrefix(plain.Model, "an invented trumpet in Bb") {
		t.Errorf("%s: %s", plain.Bore, plain.Model)
	}
	before, err := truth.Model(roomAir(t))
	if err != nil {
		t.Fatal(err)
	}
	for what, changed := range map[string]aircolumn.Setup{
		"gap wider":            truth.With(aircolumn.Gap, 2.5),
		"gap narrower":         truth.With(aircolumn.Gap, 0.5),
		"tuning slide out":     truth.With(aircolumn.TuningSlide, 5),
		"leadpipe start wider": truth.With(aircolumn.LeadpipeStart, 9.4),
		"leadpipe longer":      truth.With(aircolumn.LeadpipeLength, 215),
	} {
		after, err := changed.Model(roomAir(t))
		if err != nil {
			t.Fatal(err)
		}
		want, err := aircolumn.Shift(before, after, slots)
		if err != nil {
			t.Fatal(err)
		}
		got, other, most := changeOf(t, a, what), changeOf(t, plain, what), 0.0
		for j := range slots {
			near(t, what+" on "+slots[j].String(), got.Cents[j], want[j], 0.002) // the file is rounded
			most = max(most, math.Abs(got.Cents[j]-other.Cents[j]))
		}
		if most < 0.02 {
			t.Errorf("%s does the same to the generic instrument", what)
		}
	}
	b, err := newBench(withThird(10), Of{Horn: h, Mouthpiece: m}, Criteria{}, false)
	if err != nil {
		t.Fatal(err)
	}
	levers, err := b.levers()
	if err != nil {
		t.Fatal(err)
	}
	if gap := levers[len(levers)-1]; gap.what != "gap wider" || gap.min != -1.5 {
		t.Errorf("the gap of 1.5 mm may be narrowed by %g", -gap.min)
	}
}

func roomAir(t *testing.T) aircolumn.Air {
	t.Helper()
	air, err := aircolumn.MoistAir(aircolumn.DefaultTemperatureC, aircolumn.DefaultHumidity)
	if err != nil {
		t.Fatal(err)
	}
	return air
}

// labOf is the air column of a horn with a bore.
func labOf(t *testing.T, h catalog.Horn) *lab {
	t.Helper()
	l, err := newLab(h, mouthpiece("Plover 16.2"), pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3))
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// Without a described gap a usual one stands before the bore; a gap that is nearly
// closed is narrowed no further; a leadpipe that is marked as tube has no what-ifs;
// lengths that are another key's are doubted.
func TestAdjustOfIncompleteBores(t *testing.T) {
	bore := generic(t).Horn.Bore()
	if l := labOf(t, describedHorn(t, bore[1:])); l.bore != BoreDescribed || !strings.Contains(l.words, "a usual gap, as none is described, of 3.5 mm") {
		t.Errorf("%s: %s", l.bore, l.words)
	}
	shut := generic(t)
	shut.Horn.GapMM = 0.2
	tube := shut.Horn.Bore()
	tube[1].Part = aircolumn.Tube
	l := labOf(t, describedHorn(t, tube))
	changes := l.changes(alder())
	if l.bore != BoreDescribed || len(changes) < 10 {
		t.Fatalf("%s: %d changes", l.words, len(changes))
	}
	for _, c := range changes {
		if c.what == "gap narrower" || strings.HasPrefix(c.what, "leadpipe") {
			t.Errorf("%s is said of a bore without it", c.what)
		}
	}
	short := generic(t)
	short.Horn.TubeMM -= 150
	if l := labOf(t, describedHorn(t, short.Horn.Bore())); l.bore != BoreDescribed || !strings.Contains(l.words, "cents above Bb: check its lengths") {
		t.Errorf("%s: %s", l.bore, l.words)
	}
}

// A bore that can't be played leaves the generic instrument, and says so.
func TestAdjustOfUselessBores(t *testing.T) {
	for why, geometry := range map[string]string{
		`line 2: x_mm is "long"`: "x_mm,diameter_mm,part\nlong,9,tube\n",
		`has no part "tube"`:     "x_mm,diameter_mm,part\n0,9,leadpipe\n900,11.7,leadpipe\n1400,120,bell\n",
		"cents above Bb":         "x_mm,diameter_mm,part\n0,9,tube\n5,9,tube\n12,12,bell\n",
	} {
		h := alder()
		h.BoreGeometry = geometry
		l := labOf(t, h)
		if l.bore != BoreInvented || !strings.HasPrefix(l.words, "an invented trumpet in Bb") || !strings.Contains(l.words, "its described bore is of no use here: ") || !strings.Contains(l.words, why) {
			t.Errorf("%s: %s: %s", why, l.bore, l.words)
		}
	}
}

// A gap as long as is believed in can still be tried wider.
func TestAdjustWidensALongGap(t *testing.T) {
	truth := generic(t)
	truth.Horn.GapMM = 29.5
	a := adjusted(t, withThird(10), describedHorn(t, truth.Horn.Bore()), mouthpiece("Plover 16.2"), Criteria{})
	if a.Bore != BoreDescribed || changeOf(t, a, "gap wider").Step != 1 {
		t.Errorf("%s: %+v", a.Bore, a.Changes)
	}
}
