package match

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"

	"gonum.org/v1/gonum/stat/distuv"
)

// madeUp makes residuals whose law is known: what a fit would leave that is
// right, or wrong in one of the ways that are looked for.
type madeUp struct {
	sessions int
	repeats  int
	share    float64                                 // of gross readings
	scale    func(session, slot int) float64         // of the errors, 1 = as learned
	move     func(session, slot int) float64         // cents added
	carry    float64                                 // correlation of neighbouring notes
	shared   float64                                 // part of a note's error that repeats share
	noise    func(session int) (fit.Source, float64) // who reads, and what was learned of it
}

const followed = 0.36 // share of a reading's variance that the made-up fits follow

var madeUpComponents = fit.Components{GrossShare: 0.02, GrossFactor: 6}

// report makes up readings of the 31 usual notes in every session and reports
// on them. Near says what carry makes of neighbours.
func (m madeUp) report() *ResidualReport {
	rng := rand.New(rand.NewPCG(7, 11))
	slots := pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3)
	left := NewResiduals()
	for s := range m.sessions {
		source, noise := fit.Source{Contributor: "lamp-keeper", Method: catalog.MethodTuner}, 4.0
		if m.noise != nil {
			source, noise = m.noise(s)
		}
		session := &fit.SessionFit{Name: fmt.Sprint("s", s), Sequence: int64(s), Source: source, Noise: noise, Near: make([]float64, fit.NearSemitones)}
		sd := noise * math.Sqrt(1-followed)
		last := 0.0
		for k, slot := range slots {
			last = m.carry*last + math.Sqrt(1-m.carry*m.carry)*rng.NormFloat64()
			for range max(1, m.repeats) {
				z := last
				if m.repeats > 1 {
					z = math.Sqrt(m.shared)*last + math.Sqrt(1-m.shared)*rng.NormFloat64()
				}
				if m.scale != nil {
					z *= m.scale(s, k)
				}
				e := z * sd
				gross := rng.Float64() < m.share
				if gross {
					e = madeUpComponents.GrossFactor * noise * rng.NormFloat64()
				}
				if m.move != nil {
					e += m.move(s, k)
				}
				r := fit.Residual{Session: session, Slot: slot, Fitted: float64(k - 15), FittedSD: noise * math.Sqrt(followed), Good: 1}
				r.Cents = r.Fitted + e
				r.Good = goodness(r)
				left.Take(r)
			}
		}
	}
	return left.Report(madeUpComponents, nil)
}

// goodness is the chance that a residual is of a good reading.
func goodness(r fit.Residual) float64 {
	law := mixture{madeUpComponents.GrossShare, madeUpComponents.GrossFactor / math.Sqrt(1-followed)}
	z := r.Standardised()
	return (1 - law.share) * distuv.UnitNormal.Prob(z) / law.density(z)
}

func checkOf(t *testing.T, r *ResidualReport, name string) ResidualCheck {
	t.Helper()
	for _, c := range r.Checks {
		if c.Name == name {
			return c
		}
	}
	t.Fatalf("no check %q", name)
	return ResidualCheck{}
}

// Readings as the model takes them to be pass every check, each within four of
// its own standard deviations; chance says how far off they are.
func TestResidualsAsAssumed(t *testing.T) {
	r := madeUp{sessions: 400, repeats: 2, share: madeUpComponents.GrossShare}.report()
	if r.All.Readings != 400*31*2 || r.Repeats.Readings != 400*31 {
		t.Fatalf("%d readings, %d repeats", r.All.Readings, r.Repeats.Readings)
	}
	if off := r.All.Good/float64(r.All.Readings) - 0.98; !(math.Abs(off) < 0.003) {
		t.Errorf("%.1f of %d are good", r.All.Good, r.All.Readings)
	}
	for _, c := range r.Checks {
		switch c.Name {
		case "fitted-slope", "repeat-spread": // these made-up fits follow no reading, and repeats alone are looked at below
			continue
		}
		if !c.Holds() || c.Found-c.Expected > 4*c.Chance {
			t.Errorf("%s: found %.4f, expected %.4f, by chance %.4f", c.Name, c.Found, c.Expected, c.Chance)
		}
	}
	for _, p := range r.Law {
		if !(math.Abs(p.Found-p.Mixture) < 4.5*p.Chance+lawStep) {
			t.Errorf("quantile at %+.1f: found %.3f, the mixture's %.3f, by chance %.3f", p.Normal, p.Found, p.Mixture, p.Chance)
		}
	}
}

// Every departure is found by the check that looks for it.
func TestResidualsDeparting(t *testing.T) {
	tuner := func(name string) fit.Source { return fit.Source{Contributor: name, Method: catalog.MethodTuner} }
	for _, tc := range []struct {
		check string
		made  madeUp
		want  func(c ResidualCheck) bool
	}{
		{"spread", madeUp{scale: func(_, _ int) float64 { return 1.2 }}, func(c ResidualCheck) bool { return c.Found > 1.1 }},
		{"tails", madeUp{share: 0.06}, func(c ResidualCheck) bool { return c.Found > c.Expected+1 }},
		{"mean", madeUp{move: func(_, _ int) float64 { return 1 }}, func(c ResidualCheck) bool { return math.Abs(c.Found-1) < 0.2 }},
		{"slot-spread", madeUp{scale: func(_, k int) float64 { return 1 + 0.8*one(k == 3) }}, func(c ResidualCheck) bool { return c.Where == "A3 on 12" }},
		{"slot-mean", madeUp{move: func(_, k int) float64 { return 3 * one(k == 3) }}, func(c ResidualCheck) bool { return c.Where == "A3 on 12" }},
		{"source-spread", madeUp{noise: func(s int) (fit.Source, float64) {
			if s%4 == 0 {
				return tuner("back-row"), 6 // learned; the errors scale with it
			}
			return tuner("lamp-keeper"), 4
		}, scale: func(s, _ int) float64 { return 1 - 0.3*one(s%4 == 0) }}, func(c ResidualCheck) bool { return c.Where == "back-row, tuner" }},
		{"fitted-spread", madeUp{scale: func(_, k int) float64 { return 1 + 0.4*one(k > 24) }}, func(c ResidualCheck) bool { return c.Where == "10..15 cents" }},
		{"fitted-slope", madeUp{move: func(_, k int) float64 { return 0.3 * float64(k-15) }}, func(c ResidualCheck) bool { return math.Abs(c.Found-0.3) < 0.05 }},
		{"near-1", madeUp{carry: 0.4}, func(c ResidualCheck) bool { return math.Abs(c.Found-0.4) < 0.05 }},
		{"near-2", madeUp{carry: 0.4}, func(c ResidualCheck) bool { return math.Abs(c.Found-0.16) < 0.05 }},
		{"time-spread", madeUp{scale: func(s, _ int) float64 { return 0.8 + 0.4*float64(s)/300 }}, func(c ResidualCheck) bool { return c.Where == "part 12 of 12" || c.Where == "part 1 of 12" }},
	} {
		tc.made.sessions = 300
		if tc.made.share == 0 {
			tc.made.share = madeUpComponents.GrossShare
		}
		c := checkOf(t, tc.made.report(), tc.check)
		if c.Holds() || !tc.want(c) {
			t.Errorf("%s: found %.4f, expected %.4f, by chance %.4f, where %q", tc.check, c.Found, c.Expected, c.Chance, c.Where)
		}
	}
}

// Repeats differ by their errors alone: variance noise^2 where all of the error
// is each reading's own, half of that where they share the other half.
func TestResidualsOfRepeats(t *testing.T) {
	const sessions = 300
	for _, shared := range []float64{0, 0.5} {
		r := madeUp{sessions: sessions, repeats: 2, shared: shared, share: 1e-9}.report()
		want := math.Sqrt((1 - shared) * (1 - followed))
		if off := r.Repeats.Spread/want - 1; !(math.Abs(off) < 4/math.Sqrt(2*sessions*31)) {
			t.Errorf("shared %.1f: repeats spread by %.3f noises, want %.3f", shared, r.Repeats.Spread, want)
		}
	}
}

func one(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

// Sums by hand: two readings of one note and one of its neighbour.
func TestResidualsByHand(t *testing.T) {
	session := &fit.SessionFit{Name: "mon", Noise: 5, Near: make([]float64, fit.NearSemitones)}
	session.Near[0] = -0.05
	slots := pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3)
	left := NewResiduals()
	for _, x := range []struct {
		slot  int
		cents float64
		good  float64
	}{{0, 4, 1}, {0, -2, 0.5}, {1, 8, 1}} {
		fitted := 10 + 10*float64(x.slot)
		left.Take(fit.Residual{Session: session, Slot: slots[x.slot], Cents: x.cents + fitted, Fitted: fitted, FittedSD: 3, Good: x.good})
	}
	r := left.Report(madeUpComponents, nil)
	// Variance left: 25 - 9 = 16. Good ones: (16 + 2 + 64) / 16 / 2.5.
	near(t, "spread", r.All.Spread, math.Sqrt(82.0/16/2.5), 1e-9)
	near(t, "mean", r.All.Mean, (4-1+8)/2.5, 1e-9)
	near(t, "chance of the mean", r.All.MeanSD, math.Sqrt(16*2.25)/2.5, 1e-9)
	near(t, "good repeats", r.Repeats.Good, 0.5, 1e-12)
	near(t, "repeats", r.Repeats.Spread, math.Sqrt(36.0/25/2), 1e-9)
	// The first note's good mean is 3 / 1.5 = 2; with 8 beside it, in noises of
	// 5, over the variance of residuals in noises: spread^2 * 16 / 25.
	near(t, "correlation", r.Near[0].Correlation, 2*8/25.0/(82.0/16/2.5*16/25), 1e-9)
	near(t, "expected correlation", r.Near[0].Expected, -0.05/(82.0/16/2.5*16/25), 1e-9)
	// Fitted values 10, 10 (half) and 20: mean 14, mean square 220, variance 24;
	// mean product with the residuals 76, their mean 4.4; 9 is given.
	near(t, "slope", r.FittedSlope, (76-4.4*14)/24, 1e-9)
	near(t, "expected slope", r.ExpectedSlope, 9.0/24, 1e-9)
	if len(r.Near) != 1 || r.Near[0].Pairs != 1 || r.Times != nil || len(r.Slots) != 2 {
		t.Errorf("near %v, times %v, slots %v", r.Near, r.Times, r.Slots)
	}
}

// What holds is within three times chance, or too small to matter, and a
// departure may be smaller than chance makes it.
func TestResidualChecksHold(t *testing.T) {
	for _, tc := range []struct {
		c    ResidualCheck
		want bool
	}{
		{ResidualCheck{Found: 1.29, Expected: 1, Chance: 0.1}, true},
		{ResidualCheck{Found: 1.31, Expected: 1, Chance: 0.1}, false},
		{ResidualCheck{Found: 0.69, Expected: 1, Chance: 0.1}, false},
		{ResidualCheck{Found: 0.69, Expected: 1, Chance: 0.1, Matters: 0.4}, true},
		{ResidualCheck{Found: 0.1, Expected: 1, Chance: 0.1, AtMost: true}, true},
		{ResidualCheck{Found: 1.31, Expected: 1, Chance: 0.1, AtMost: true}, false},
	} {
		if tc.c.Holds() != tc.want {
			t.Errorf("%+v holds: %v", tc.c, !tc.want)
		}
	}
}

// Sessions go by the day played where half of them tell.
func TestResidualsInTime(t *testing.T) {
	left := NewResiduals()
	played := map[string]time.Time{}
	day := time.Date(2026, 3, 1, 19, 0, 0, 0, time.UTC)
	for s := range 8 {
		session := &fit.SessionFit{Name: fmt.Sprint("s", s), Sequence: int64(s), Noise: 4, Near: make([]float64, fit.NearSemitones)}
		left.Take(fit.Residual{Session: session, Cents: 1, Good: 1})
		if s < 6 {
			played[session.Name] = day.AddDate(0, 0, -s)
		}
	}
	r := left.Report(madeUpComponents, played)
	if !r.Dated || len(r.Times) != 2 || r.Times[0].Sessions != 3 || !r.Times[0].From.Equal(day.AddDate(0, 0, -5)) || !r.Times[1].To.Equal(day) {
		t.Errorf("by date: %v %+v", r.Dated, r.Times)
	}
	delete(played, "s0")
	delete(played, "s1")
	delete(played, "s2")
	if r = left.Report(madeUpComponents, played); r.Dated || len(r.Times) != 2 || r.Times[0].Sessions != 4 || !r.Times[0].From.IsZero() {
		t.Errorf("by order: %v %+v", r.Dated, r.Times)
	}
}

// Nothing to say of nothing.
func TestResidualsOfNothing(t *testing.T) {
	r := NewResiduals().Report(madeUpComponents, nil)
	if len(r.Checks)+len(r.Law)+len(r.Slots)+len(r.Source)+len(r.Near)+len(r.Times) > 0 {
		t.Errorf("%+v", r)
	}
}
