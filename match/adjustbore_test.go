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

// Without a described gap a usual one stands before the bore; a gap that is nearly
// closed is narrowed no further; a leadpipe that is marked as tube has no what-ifs.
func TestAdjustOfIncompleteBores(t *testing.T) {
	bore := generic(t).Horn.Bore()
	a := adjusted(t, withThird(10), describedHorn(t, bore[1:]), mouthpiece("Plover 16.2"), Criteria{})
	if a.Bore != BoreDescribed || !strings.Contains(a.Model, "a usual gap, as none is described, of 3.5 mm") {
		t.Errorf("%s: %s", a.Bore, a.Model)
	}
	shut := generic(t)
	shut.Horn.GapMM = 0.2
	tube := shut.Horn.Bore()
	tube[1].Part = aircolumn.Tube
	for _, c := range adjusted(t, withThird(10), describedHorn(t, tube), mouthpiece("Plover 16.2"), Criteria{}).Changes {
		if c.What == "gap narrower" || strings.HasPrefix(c.What, "leadpipe") {
			t.Errorf("%s is said of a bore without it", c.What)
		}
	}
	short := generic(t)
	short.Horn.TubeMM -= 150
	if a := adjusted(t, withThird(10), describedHorn(t, short.Horn.Bore()), mouthpiece("Plover 16.2"), Criteria{}); !strings.Contains(a.Model, "cents above Bb: check its lengths") {
		t.Error(a.Model)
	}
}

// A bore that can't be played leaves the generic instrument, and says so.
func TestAdjustOfUselessBores(t *testing.T) {
	for name, geometry := range map[string]string{
		"unreadable": "x_mm,diameter_mm,part\n0,wide,tube\n", "no tube": "x_mm,diameter_mm,part\n0,9,leadpipe\n900,11.7,leadpipe\n1400,120,bell\n",
		"no resonances": "x_mm,diameter_mm,part\n0,9,tube\n5,9,tube\n12,12,bell\n",
	} {
		h := alder()
		h.BoreGeometry = geometry
		a := adjusted(t, withThird(10), h, mouthpiece("Plover 16.2"), Criteria{})
		if a.Bore != BoreInvented || !strings.HasPrefix(a.Model, "an invented trumpet in Bb") || !strings.Contains(a.Model, "its described bore is of no use here: ") {
			t.Errorf("%s: %s: %s", name, a.Bore, a.Model)
		}
	}
}
