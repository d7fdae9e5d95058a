package tuning

import (
	"math"
	"math/rand/v2"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %.12g, want %.12g within %g", what, got, want, tolerance)
	}
}

func slot(t testing.TB, text string) pitch.Slot {
	t.Helper()
	s, err := pitch.ParseSlot(text)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func slotsOf(t testing.TB, texts ...string) []pitch.Slot {
	var out []pitch.Slot
	for _, text := range texts {
		out = append(out, slot(t, text))
	}
	return out
}

func problem(t testing.TB, slots []pitch.Slot, o Options) *Problem {
	t.Helper()
	p, err := NewProblem(slots, o)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func usual() []pitch.Slot { return pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3) }

// Half of the missing tube brings a sharp combination down: with 17.1 mm of the
// slides drawn together 13, which exactly tuned single slides leave 30.3 cents
// sharp, is in tune, and 123, 53.6 sharp, with 31.9 mm. Derived from 148 cm of
// open tube (HyperPhysics, Georgia State University, "Trumpet", after Backus
// 1976) by cents = 1200 log2(L'/L). The reach is reckoned from the length the
// combination should have, the table from the one it has: 0.6 and 1.8 cents apart.
func TestReachAgainstLengthTable(t *testing.T) {
	model := pitch.ExactSlides(bbLengthMM)
	for _, c := range []struct {
		slot          string
		first, third  float64
		sharp, within float64
	}{
		{"13/2", 7.1, 10, 30.3, 0.7},
		{"13/3", 17.1, 0, 30.3, 0.7},
		{"123/2", 15, 16.9, 53.6, 1.9},
		{"12/5", 5.4, 40, 10.6, 0.2}, // the third slide is not in its path
		{"23/4", 40, 8.3, 15.5, 0.2},
	} {
		s := slot(t, c.slot)
		near(t, c.slot, Throws{c.first, c.third}.Reach(s, bbLengthMM), c.sharp, c.within)
		near(t, "the length model", model.SharpCents(s.Valves), c.sharp, 0.051)
	}
}

func TestReachIsExactForTheLengthOfTheCombination(t *testing.T) {
	// By hand: 13 has 2^(5/12) = 1.33484 times 1480 mm = 1975.6 mm; 20 mm of
	// travel add 40 mm: 1200 log2(2015.6/1975.6) = 34.70 cents.
	near(t, "13 with 20 mm", Throws{FirstMM: 12, ThirdMM: 8}.Reach(slot(t, "13/2"), 1480), 34.70, 0.01)
	for _, free := range []string{"0/2", "2/4", "4/2", "24/3"} {
		if got := (Throws{FirstMM: 30, ThirdMM: 30}).Reach(slot(t, free), 1480); got != 0 {
			t.Errorf("%s has no slide with a throw in its path, but reaches %g", free, got)
		}
	}
	if got := (Throws{FirstMM: -5}).Reach(slot(t, "1/2"), 1480); got != 0 {
		t.Errorf("a throw never raises, but reaches %g", got)
	}
}

// An open instrument whose written C sounds a whole tone higher is 2^(2/12)
// shorter: 1480 / 1.122462 = 1318.5 mm.
func TestOpenLength(t *testing.T) {
	near(t, "B flat", OpenLengthMM(-2), 1480, 1e-9)
	near(t, "C", OpenLengthMM(0), 1318.53, 0.01)
	near(t, "B-flat piccolo", OpenLengthMM(10), 740, 1e-9)
	throws, length := ForHorn(catalog.Horn{Key: pitch.KeyBb, Instrument: catalog.Piccolo, Throw1MM: 3, Throw3MM: 4})
	near(t, "length of a piccolo", length, 740, 1e-9)
	if throws != (Throws{3, 4}) {
		t.Errorf("throws are %v", throws)
	}
}

// Main tuning slide, same length model: 10 mm of pull are 23.2 cents.
func TestSlideMM(t *testing.T) {
	near(t, "pull for 23.2 cents", SlideMM(23.2, bbLengthMM), 10, 0.02)
	for _, length := range []float64{1480, 1318.5, 740} {
		travel := DefaultTravel(length)
		near(t, "pushed in", SlideMM(travel.MinCents, length), -pushInMM, 1e-9)
		near(t, "pulled out", SlideMM(travel.MaxCents, length), pullOutMM, 1e-9)
	}
}

// Three notes worked by hand. Open G4 +4, C5 0, and 13/2 (r = 2^(5/12)) +30
// with a reach of 10 and no limits. With 13 beyond its reach:
// t (1 + 1 + s^2) = 4 + 0 + 20 s, s = 1/r = 0.749154, so t = 18.98308/2.561231
// = 7.411700; left -3.411700, -7.411700, 20 - 5.552502 = 14.447498.
func TestSolveByHand(t *testing.T) {
	throw := 10.0
	mm := (math.Exp2(throw/1200) - 1) * 1480 * slot(t, "13/2").Valves.Ratio() / 2
	p := problem(t, slotsOf(t, "0/3", "0/4", "13/2"), Options{Throws: Throws{FirstMM: mm / 4, ThirdMM: 3 * mm / 4}, Travel: &Unlimited})
	r := p.Solve([]float64{4, 0, 30})
	near(t, "t", r.SlideCents, 7.411700, 1e-5)
	for j, want := range []float64{-3.411700, -7.411700, 14.447498} {
		near(t, r.Notes[j].Slot.String(), r.Notes[j].Left, want, 1e-5)
	}
	near(t, "slide's share of 13", r.Notes[2].Slide, 5.552502, 1e-5)
	near(t, "throw", r.Notes[2].Throw, 10, 1e-9)
	near(t, "error", r.ErrorCents, math.Sqrt((3.411700*3.411700+7.411700*7.411700+14.447498*14.447498)/3), 1e-5)
	if r.Worst != 2 || r.Sharpest != 2 || r.Flattest != 1 {
		t.Errorf("worst %d, sharpest %d, flattest %d; want 2, 2, 1", r.Worst, r.Sharpest, r.Flattest)
	}
	if r.Beyond != [3]int{2, 1, 0} {
		t.Errorf("beyond 5, 10, 15 are %v, want 2 1 0", r.Beyond)
	}
	if r.AtStop {
		t.Error("an unlimited slide is at a stop")
	}
}

func TestSolveStopsAtTheEndOfTravel(t *testing.T) {
	for _, c := range []struct{ d, want float64 }{{40, 12}, {-40, -8}} {
		p := problem(t, slotsOf(t, "0/2", "0/3"), Options{Travel: &Travel{-8, 12}})
		r := p.Solve([]float64{c.d, c.d})
		if r.SlideCents != c.want || !r.AtStop {
			t.Errorf("slide at %g, at stop %v; want %g at the stop", r.SlideCents, r.AtStop, c.want)
		}
		near(t, "left", r.ErrorCents, math.Abs(c.d-c.want), 1e-12)
	}
}

// When throws correct everything many slide positions are equally good; the one
// with the least throw is the furthest out.
func TestSolveUsesTheLeastThrow(t *testing.T) {
	p := problem(t, slotsOf(t, "1/2", "1/3"), Options{Throws: Throws{FirstMM: 30}})
	r := p.Solve([]float64{12, 10})
	ratio := slot(t, "1/2").Valves.Ratio()
	near(t, "t", r.SlideCents, 10*ratio, 1e-9)
	near(t, "throw of the first", r.Notes[0].Throw, 2, 1e-9)
	near(t, "throw of the second", r.Notes[1].Throw, 0, 1e-9)
	near(t, "error", r.ErrorCents, 0, 1e-9)
}

func TestTemperamentIsTakenOff(t *testing.T) {
	just, err := pitch.Just("C")
	if err != nil {
		t.Fatal(err)
	}
	slots := slotsOf(t, "0/4", "0/5", "0/6")
	p := problem(t, slots, Options{Temperament: just})
	d := make([]float64, len(slots))
	for j, s := range slots {
		d[j] = just.Target(s.Note())
	}
	if got := p.Error(d); got > 1e-9 {
		t.Errorf("a profile on its target is %g cents out", got)
	}
	near(t, "target of E5", p.Solve(d).Notes[1].Target, -13.686, 0.001)
}

func TestNewProblemRefuses(t *testing.T) {
	slots := slotsOf(t, "0/3", "13/2")
	nan := math.NaN()
	for name, o := range map[string]Options{
		"empty travel":       {Travel: &Travel{5, -5}},
		"travel not numbers": {Travel: &Travel{nan, nan}},
		"negative weight":    {Weights: Weights{67: -1, 55: 1}},
		"weight not number":  {Weights: Weights{67: nan}},
		"infinite weight":    {Weights: Weights{67: math.Inf(1)}},
		"no weight":          {Weights: Weights{60: 1}},
		"throw not number":   {Throws: Throws{FirstMM: nan}},
	} {
		if _, err := NewProblem(slots, o); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	if _, err := NewProblem(nil, Options{}); err == nil {
		t.Error("no slots: accepted")
	}
}

func TestNotesWithoutWeightDoNotCount(t *testing.T) {
	p := problem(t, slotsOf(t, "0/3", "0/4", "0/5"), Options{Weights: Weights{67: 1, 72: 3}})
	r := p.Solve([]float64{8, 0, -90})
	near(t, "t", r.SlideCents, 2, 1e-9) // (1*8 + 3*0)/4
	near(t, "error", r.ErrorCents, math.Sqrt((36+3*4)/4.), 1e-9)
	if r.Worst != 0 || r.Beyond != [3]int{1, 0, 0} {
		t.Errorf("worst %d, beyond %v: the note without a weight counts", r.Worst, r.Beyond)
	}
	near(t, "its left is told all the same", r.Notes[2].Left, -92, 1e-9)
}

func TestErrorsAllocatesNothing(t *testing.T) {
	p := problem(t, usual(), Options{Throws: Throws{15, 20}})
	draws := randomDraws(8, len(p.Slots()))
	dst := make([]float64, len(draws))
	if n := testing.AllocsPerRun(20, func() { p.Errors(dst, draws) }); n != 0 {
		t.Errorf("%g allocations", n)
	}
	for k, d := range draws {
		near(t, "error of a draw", dst[k], p.Solve(d).ErrorCents, 1e-9)
	}
}

func TestPresets(t *testing.T) {
	low, high := pitch.RangeLow, pitch.RangeHigh
	if Emphasis(RegisterEven, low, high) != nil {
		t.Error("even is not nil")
	}
	counts := map[Register]int{}
	for _, r := range Registers[1:] {
		for n := low; n <= high; n++ {
			if Emphasis(r, low, high).Of(n) == RegisterEmphasis {
				counts[r]++
			}
		}
	}
	if counts[RegisterLow] != 13 || counts[RegisterMiddle] != 12 || counts[RegisterHigh] != 6 {
		t.Errorf("the registers have %v notes, want 13, 12, 6", counts)
	}
	if r, err := ParseRegister(" Middle "); err != nil || r != RegisterMiddle {
		t.Errorf("middle reads as %q, %v", r, err)
	}
	if _, err := ParseRegister("treble"); err == nil {
		t.Error("treble is accepted")
	}
}

func randomDraws(n, slots int) [][]float64 {
	r := rand.New(rand.NewPCG(1, 2))
	out := make([][]float64, n)
	for k := range out {
		out[k] = make([]float64, slots)
		for j := range out[k] {
			out[k][j] = 12 * r.NormFloat64()
		}
	}
	return out
}

// BenchmarkErrors is what a ranking of 3,000 candidates with 64 draws does.
func BenchmarkErrors(b *testing.B) {
	p := problem(b, usual(), Options{Throws: Throws{15, 20}})
	draws := randomDraws(64, len(p.Slots()))
	dst := make([]float64, len(draws))
	b.ReportAllocs()
	for b.Loop() {
		p.Errors(dst, draws)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(draws)), "ns/draw")
}
