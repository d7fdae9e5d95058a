package match

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distmv"

	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// aroundNought is an expectation of nought everywhere, with notes near each other
// varying together.
func aroundNought(t *testing.T) (expectation, values) {
	t.Helper()
	o, err := newOutlook(&fakeEngine{sd: 1}, allUsual()[:12])
	if err != nil {
		t.Fatal(err)
	}
	e := o.expectation()
	n := len(o.slots)
	v := values{}
	for i := range n {
		for j := range n {
			e.covariance[i*n+j] += 16 * math.Exp(-math.Pow(float64(i-j)/3, 2)/2)
		}
		v.places, v.variance = append(v.places, i), append(v.variance, 12)
		v.cents = append(v.cents, 3*math.Sin(float64(i)))
	}
	return e, v
}

// normal is the law of values under an expectation, by gonum.
func normal(t *testing.T, e expectation, v values, add func(i, j int) float64) *distmv.Normal {
	t.Helper()
	n := len(v.places)
	s := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			s.SetSym(i, j, e.covariance[i*n+j]+add(i, j))
		}
		s.SetSym(i, i, s.At(i, i)+v.variance[i])
	}
	d, ok := distmv.NewNormal(e.mean, s, nil)
	if !ok {
		t.Fatal("no law")
	}
	return d
}

func nothing(int, int) float64 { return 0 }

// Without slips the agreement is the density of a normal law.
func TestAgreementIsADensity(t *testing.T) {
	e, v := aroundNought(t)
	d := normal(t, e, v, nothing)
	other := v
	other.cents = slices.Clone(v.cents)
	for i := range other.cents {
		other.cents[i] += 4 * math.Cos(2*float64(i))
	}
	near(t, "difference of logarithms", e.agree(v).log-e.agree(other).log, d.LogProb(v.cents)-d.LogProb(other.cents), 1e-9)
}

// What a step would gain is what the density gains when the covariance has it.
func TestAlongIsADensity(t *testing.T) {
	e, v := aroundNought(t)
	shape := make([]float64, len(v.places))
	for i := 5; i < len(shape); i++ {
		shape[i] = 1
		v.cents[i] += 20
	}
	x := e.agree(v)
	if x.count() > 0 {
		t.Fatalf("slips %v", x.slips)
	}
	const sd = 30
	gain, factor := x.along(shape, sd)
	with := normal(t, e, v, func(i, j int) float64 { return sd * sd * shape[i] * shape[j] })
	near(t, "gain", gain, with.LogProb(v.cents)-normal(t, e, v, nothing).LogProb(v.cents), 1e-9)
	near(t, "step", factor, 20, 4)
}

// One wild note is set aside, and hardly matters to what is made of the others.
func TestAgreementSetsSlipsAside(t *testing.T) {
	e, v := aroundNought(t)
	before := e.agree(v)
	v.cents[4] += 70
	x := e.agree(v)
	for i, slip := range x.slips {
		if slip != (i == 4) {
			t.Errorf("note %d: slip %v", i, slip)
		}
	}
	if lost := before.log - x.log; lost < 2 || lost > 20 {
		t.Errorf("a slip costs %.1f", lost)
	}
	if cents, _ := x.apart(4); math.Abs(cents-70) > 10 {
		t.Errorf("it lies %.0f cents off", cents)
	}
	if p := x.slipChance(4, v.variance[4]); p < 0.99 {
		t.Errorf("the chance that it is one is %.3f", p)
	}
	if p := x.slipChance(7, v.variance[7]); p > 0.02 {
		t.Errorf("another's is %.3f", p)
	}
}

// What rests on the session alone is left out of what is expected of it, and not
// known then.
func TestExpectLeavesOutWhatTheSessionTaught(t *testing.T) {
	one := pitch.Slot{Partial: 3}
	o, err := newOutlook(&fakeEngine{}, []pitch.Slot{one})
	if err != nil {
		t.Fatal(err)
	}
	usual := fit.Spreads{Horn: []float64{25}, Mouthpiece: []float64{9}, Player: []float64{16}, Pair: []float64{4}}
	for _, c := range []struct {
		evidence        fit.Evidence
		cents, variance float64
	}{
		{fit.Evidence{Pair: 2, Horn: 2, Mouthpiece: 2, Player: 2}, 111.11, 0},
		{fit.Evidence{Pair: 1, Horn: 1, Mouthpiece: 2, Player: 2}, 101.1, 25 + 4},
		{fit.Evidence{Pair: 1, Horn: 3, Mouthpiece: 1, Player: 1}, 110, 9 + 16 + 4},
		{fit.Evidence{Pair: 1, Horn: 3, Mouthpiece: 2, Player: 2}, 111.1, 0},
	} {
		p := fit.Prediction{Setup: fit.Setup{Horn: "h", Mouthpiece: "m", Player: "p"}, Slots: o.slots, Evidence: c.evidence,
			Common: []float64{100}, Horn: []float64{10}, Mouthpiece: []float64{1}, Player: []float64{0.1}, Pair: []float64{0.01}}
		others := fit.Prediction{Setup: leaveOut(p.Setup, c.evidence), Mean: []float64{50}, Draws: [][]float64{{53}, {47}}}
		e := o.expect(p, others, usual)
		near(t, "expected", e.mean[0], c.cents, 1e-9)
		near(t, "variance", e.covariance[0]-o.own[0], c.variance+9, 1e-9)
	}
	e := o.expectCommon(fit.Prediction{Common: []float64{100}}, usual)
	near(t, "common", e.mean[0], 100, 0)
	near(t, "variance of all", e.covariance[0]-o.own[0], 25+9+16+4, 1e-9)
}

// Fitting better than noise allows is luck, not evidence: where both ways lie
// within it, neither is suspected.
func TestCheckDoesNotPreferLessThanNoise(t *testing.T) {
	b := newBay()
	s := newSheet(b.session(rand.New(rand.NewPCG(1, 2)), "still", allUsual()), 3, 3.5)
	o, err := newOutlook(b.e, allUsual())
	if err != nil {
		t.Fatal(err)
	}
	flipped := o.expectation()
	for i, slot := range s.slots {
		at, _ := o.at.place(slot)
		flipped.mean[at] = -s.cents[i] + 0.2*math.Sin(float64(i)) // the flip fits perfectly ...
	}
	if got := s.suspicions(flipped, fullGain); len(got) == 0 || got[0].kind != FindSignFlipped {
		t.Fatalf("suspicions %+v", got)
	}
	for i, slot := range s.slots {
		at, _ := o.at.place(slot)
		s.cents[i] = 1.5 * math.Sin(3*float64(i)) // ... and here too, but so does the session as it stands
		flipped.mean[at] = -s.cents[i]
	}
	if got := s.suspicions(flipped, fullGain); len(got) != 0 {
		t.Errorf("within noise: %+v", got)
	}
}
