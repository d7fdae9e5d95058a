package fit

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/aircolumn"
	"centwise/match/fit/simulate"
)

// Few coefficients hold what the air column says: what they miss is small beside
// what mouthpieces differ by.
func TestCoefficientsHoldTheAirColumn(t *testing.T) {
	setup, air := genericTrumpet(t)
	cents, err := setup.Sensitivities(air, aircolumn.CupDimensions, sensitivitySlots)
	if err != nil {
		t.Fatal(err)
	}
	basis := mouthpieceBasis(sensitivitySlots, bbTransposition)
	for k, coefficients := range cupSensitivities() {
		if aircolumn.CupDimensions[k].Name != DimensionNames[k] {
			t.Fatalf("dimension %d is %s here and %s there", k, DimensionNames[k], aircolumn.CupDimensions[k].Name)
		}
		held := make([]float64, len(sensitivitySlots))
		times(basis, coefficients, held)
		size := math.Sqrt(dot(cents[k], cents[k]))
		axpy(-1, cents[k], held)
		if missed := math.Sqrt(dot(held, held)); !(missed < 0.08*size) {
			t.Errorf("%s: the coefficients miss %.1f of %.1f cents", DimensionNames[k], missed, size)
		}
	}
}

func genericTrumpet(t *testing.T) (aircolumn.Setup, aircolumn.Air) {
	t.Helper()
	setup, err := aircolumn.Generic(catalog.Trumpet, pitch.KeyBb)
	if err != nil {
		t.Fatal(err)
	}
	air, err := aircolumn.MoistAir(aircolumn.DefaultTemperatureC, aircolumn.DefaultHumidity)
	if err != nil {
		t.Fatal(err)
	}
	return setup, air
}

// Of two mouthpieces that nobody played the one with the larger cup differs from
// the other as in the air column solved anew, which is not linear.
func TestUnplayedMouthpiecesDifferAsTheirAirColumns(t *testing.T) {
	s := newShelf([]string{"Alder"}, nil, nil)
	for _, m := range []catalog.Mouthpiece{
		{Label: "shallow", RimMM: 16.5, CupCM3: 1.04}, {Label: "middle", RimMM: 16.5, CupCM3: 1.1}, {Label: "deep", RimMM: 16.5, CupCM3: 1.16},
	} {
		s.addMouthpiece(m)
	}
	m := s.fit(t, Options{Draws: 20})
	slots := usualSlots()
	deep, shallow := predict(t, m, setup("", "deep", ""), slots), predict(t, m, setup("", "shallow", ""), slots)
	difference := make([]float64, len(slots))
	for j := range slots {
		difference[j] = deep.Mean[j] - shallow.Mean[j]
	}
	generic, air := genericTrumpet(t)
	models := map[float64]*aircolumn.Model{}
	for _, volume := range []float64{1.04, 1.16} {
		var err error
		if models[volume], err = generic.With(aircolumn.CupDimensions[1], volume).Model(air); err != nil {
			t.Fatal(err)
		}
	}
	want, err := aircolumn.Shift(models[1.04], models[1.16], slots)
	if err != nil {
		t.Fatal(err)
	}
	size := centredDistance(slots, want, make([]float64, len(slots)))
	if off := centredDistance(slots, difference, want); !(size > 1 && off < 0.15*size) {
		t.Errorf("the difference is %.2f cents from that of the air columns, which is %.2f", off, size)
	}
	if sd := meanSD(deep); sd < 2 {
		t.Errorf("a mouthpiece known by two dimensions has a standard deviation of %.2f cents", sd)
	}
}

// What the catalog measured mends an air column whose sensitivities are too small
// or too large, and the right one is the better for it.
func TestTheCatalogMendsWrongSensitivities(t *testing.T) {
	w := simulate.Generate(simulate.Harder, simulate.Small, 1)
	rms := func(scale float64) float64 {
		d, err := Load(context.Background(), worldShelf(w), catalog.NoCounter{})
		if err != nil {
			t.Fatal(err)
		}
		for k := range d.unit {
			d.unit[k] *= scale
		}
		m, err := Run(context.Background(), d, Options{Draws: 20})
		if err != nil {
			t.Fatal(err)
		}
		squares, n := 0.0, 0.0
		for _, pair := range w.HeldOut[simulate.NewDescribed] {
			p := predict(t, m, Setup{Horn: w.HornID(pair.Horn), Mouthpiece: w.MouthpieceID(pair.Mouthpiece)}, simulate.Slots)
			truth := simulate.Centred(w.Truth(pair.Horn, pair.Mouthpiece))
			for _, j := range simulate.Usual {
				squares += (p.Mean[j] - truth[j]) * (p.Mean[j] - truth[j])
				n++
			}
		}
		return math.Sqrt(squares / n)
	}
	right, small, large, none := rms(1), rms(0.5), rms(1.5), rms(0)
	t.Logf("rms error %.3f cents, with half the sensitivities %.3f, with half as much again %.3f, without %.3f", right, small, large, none)
	if math.Max(small, large) > 1.03*right {
		t.Errorf("rms error %.3f cents, with half the sensitivities %.3f, with half as much again %.3f", right, small, large)
	}
	if none < 1.02*right {
		t.Errorf("rms error %.3f cents, without an air column %.3f", right, none)
	}
}

// A horn whose bore is described is expected to differ from the generic one as
// its air column does, its level and the tuning slide's setting apart, before
// anybody has played it; a described bore that can't be played says nothing.
func TestDescribedBoreIsExpected(t *testing.T) {
	generic, air := genericTrumpet(t)
	other := generic
	other.Horn.Flare, other.Horn.LeadpipeStartMM = 0.62, 9.1
	s := newShelf(nil, []string{"Curlew"}, nil)
	s.addHorn(catalog.Horn{Label: "usual", Key: pitch.KeyBb, BoreGeometry: boreText(generic.Horn.Bore())})
	s.addHorn(catalog.Horn{Label: "described", Key: pitch.KeyBb, BoreGeometry: boreText(other.Horn.Bore())})
	s.addHorn(catalog.Horn{Label: "mute", Key: pitch.KeyBb, BoreGeometry: "x_mm,diameter_mm,part\n0,9,tube\n5,9,bell\n"})
	s.addHorn(catalog.Horn{Label: "other key", Key: pitch.KeyBb, BoreGeometry: "x_mm,diameter_mm,part\n0,8.7,leadpipe\n235,11.7,leadpipe\n585,11.7,tube\n1000,122,bell\n"})
	gapless := generic.Horn.Bore()[1:]
	s.addHorn(catalog.Horn{Label: "gapless", Key: pitch.KeyBb, BoreGeometry: boreText(gapless)})
	m := s.fit(t, Options{Draws: 20})
	slots := usualSlots()
	want := shiftBetween(t, generic, other, air, slots)
	usual, described := predict(t, m, setup("usual", "", ""), slots), predict(t, m, setup("described", "", ""), slots)
	for j := range slots {
		described.Mean[j] -= usual.Mean[j]
	}
	level := withoutLevelOf(slots, want)
	size := centredDistance(slots, level, make([]float64, len(slots)))
	if off := centredDistance(slots, withoutLevelOf(slots, described.Mean), scaledBy(level, boreShare)); !(size > 1 && off < 0.02*size) {
		t.Errorf("the described horn is %.2f cents from what its bore says, which is %.2f", off, size)
	}
	if p := predict(t, m, setup("described", "", ""), slots); p.Evidence.Basis != BasisDimensions || meanSD(p) < 2 {
		t.Errorf("a horn known by its bore rests on %q with a standard deviation of %.1f", p.Evidence.Basis, meanSD(p))
	}
	for _, label := range []string{"mute", "other key"} {
		if p := predict(t, m, setup(label, "", ""), slots); p.Evidence.Basis != BasisPrior {
			t.Errorf("the %s bore is taken for %q", label, p.Evidence.Basis)
		}
	}
	if off := centredDistance(slots, predict(t, m, setup("gapless", "", ""), slots).Mean, usual.Mean); off > 0.001 {
		t.Errorf("a bore described from behind the gap is taken to differ by %.3f cents", off)
	}
}

func shiftBetween(t *testing.T, from, to aircolumn.Setup, air aircolumn.Air, slots []pitch.Slot) []float64 {
	t.Helper()
	var models [2]*aircolumn.Model
	for i, s := range []aircolumn.Setup{from, to} {
		var err error
		if models[i], err = s.Model(air); err != nil {
			t.Fatal(err)
		}
	}
	shift, err := aircolumn.Shift(models[0], models[1], slots)
	if err != nil {
		t.Fatal(err)
	}
	return shift
}

// withoutLevelOf takes the nearest constant and slide vector out of cents by the
// normal equations.
func withoutLevelOf(slots []pitch.Slot, cents []float64) []float64 {
	var n, sr, srr, sy, sry float64
	for j, s := range slots {
		r := 1 / s.Valves.Ratio()
		n, sr, srr, sy, sry = n+1, sr+r, srr+r*r, sy+cents[j], sry+r*cents[j]
	}
	slide := (n*sry - sr*sy) / (n*srr - sr*sr)
	constant := (sy - slide*sr) / n
	out := make([]float64, len(slots))
	for j, s := range slots {
		out[j] = cents[j] - constant - slide/s.Valves.Ratio()
	}
	return out
}

// boreText writes a bore as a file, without the mouthpiece.
func boreText(bore aircolumn.Bore) string {
	var b strings.Builder
	b.WriteString("x_mm,diameter_mm,part\n")
	x := 0.0
	for _, p := range bore {
		fmt.Fprintf(&b, "%.4f,%.4f,%s\n%.4f,%.4f,%s\n", x, p.StartMM, p.Part, x+p.LengthMM, p.EndMM, p.Part)
		x += p.LengthMM
	}
	return b.String()
}
