package tuning

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog/pitch"
)

// instance is a drawn problem with a profile.
type instance struct {
	p *Problem
	o Options
	d []float64
}

// drawWeight draws what a file of weights may hold: nought, small whole numbers,
// or seconds that a part was counted to sound.
func drawWeight(t *rapid.T) float64 {
	return rapid.OneOf(rapid.SampledFrom([]float64{0, 0.2, 1, 3}), rapid.Float64Range(0.01, 500)).Draw(t, "weight")
}

// drawTarget draws equal temperament, or a table by pitch class and by note.
func drawTarget(t *rapid.T, slots []pitch.Slot) pitch.Temperament {
	if rapid.Bool().Draw(t, "equal") {
		return pitch.Temperament{}
	}
	cents := rapid.Float64Range(-50, 50)
	table := pitch.Temperament{Name: "table", Notes: map[pitch.Note]float64{}}
	for class := range table.Cents {
		table.Cents[class] = cents.Draw(t, "cents of a class")
	}
	for _, s := range slots {
		if rapid.Bool().Draw(t, "its own") {
			table.Notes[s.Note()] = cents.Draw(t, "cents of a note")
		}
	}
	return table
}

func drawInstance(t *rapid.T) instance {
	all := pitch.UsualSlots(pitch.RangeLow, pitch.TopUsual, 3)
	n := rapid.IntRange(1, 12).Draw(t, "notes")
	var slots []pitch.Slot
	weights := Weights{}
	for range n {
		s := rapid.SampledFrom(all).Draw(t, "slot")
		slots = append(slots, s)
		weights[s.Note()] = drawWeight(t)
	}
	weights[slots[0].Note()] = 1
	cents := rapid.Float64Range(-60, 60)
	o := Options{
		Weights: weights, Temperament: drawTarget(t, slots),
		Throws: Throws{rapid.SampledFrom([]float64{0, 4, 15}).Draw(t, "throw 1"), rapid.SampledFrom([]float64{0, 9, 25}).Draw(t, "throw 3")},
		Travel: &Travel{-rapid.SampledFrom([]float64{5, 24, math.Inf(1)}).Draw(t, "in"), rapid.SampledFrom([]float64{0, 20, 58, math.Inf(1)}).Draw(t, "out")},
	}
	i := instance{o: o, d: make([]float64, n)}
	for j := range i.d {
		i.d[j] = cents.Draw(t, "d")
	}
	p, err := NewProblem(slots, o)
	if err != nil {
		t.Fatal(err)
	}
	i.p = p
	return i
}

// off is how far slot j lies above what is aimed for, by the definition.
func (i instance) off(j int) float64 {
	n := i.p.slots[j].Note()
	if own, ok := i.o.Temperament.Notes[n]; ok {
		return i.d[j] - own
	}
	return i.d[j] - i.o.Temperament.Cents[int(n)%12]
}

// objective is the definition, with the throws as free variables.
func (i instance) objective(t float64, u []float64) float64 {
	sum := 0.0
	for j := range i.d {
		left := i.off(j) - t/i.p.slots[j].Valves.Ratio() - u[j]
		sum += i.p.weight[j] * left * left
	}
	return sum
}

// gridBest is the least objective over a grid of slide positions between lo and
// hi and, for each note on its own, a grid of throws.
func (i instance) gridBest(lo, hi float64) (at, best float64) {
	const slideSteps, throwSteps = 400, 60
	best = math.Inf(1)
	for a := range slideSteps + 1 {
		t := lo + (hi-lo)*float64(a)/slideSteps
		sum := 0.0
		for j := range i.d {
			x, least := i.off(j)-t/i.p.slots[j].Valves.Ratio(), math.Inf(1)
			for b := range throwSteps + 1 {
				left := x - i.p.reach[j]*float64(b)/throwSteps
				least = min(least, i.p.weight[j]*left*left)
			}
			sum += least
		}
		if sum < best {
			at, best = t, sum
		}
	}
	return at, best
}

func TestNoGridIsBetter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		i := drawInstance(t)
		r := i.p.Solve(i.d)
		u := make([]float64, len(r.Notes))
		for j, n := range r.Notes {
			u[j] = n.Throw
		}
		ours := i.objective(r.SlideCents, u)
		lo, hi := max(i.o.Travel.MinCents, -120), min(i.o.Travel.MaxCents, 120)
		at, coarse := i.gridBest(lo, hi)
		step := (hi - lo) / 400
		_, best := i.gridBest(max(lo, at-step), min(hi, at+step))
		if ours > best+1e-9*(1+best) {
			t.Fatalf("t = %g gives %.12g, the grid %.12g", r.SlideCents, ours, best)
		}
		// And the grid comes as near as its steps allow: the value is no fluke.
		worst := 0.0
		for j := range i.d {
			throwStep := i.p.reach[j] / 60
			worst += i.p.weight[j] * math.Pow(step/400+throwStep+1e-6, 2)
		}
		slack := worst + 2*math.Sqrt(worst*ours)
		if min(best, coarse) > ours+slack+1e-6 {
			t.Fatalf("t = %g gives %.12g, but the grid finds only %.12g", r.SlideCents, ours, best)
		}
		near := math.Abs(math.Sqrt(ours/i.p.sumW) - r.ErrorCents)
		if near > 1e-9 {
			t.Fatalf("error is %g, the objective says otherwise by %g", r.ErrorCents, near)
		}
	})
}

// The problem is convex, so these conditions (Karush, Kuhn, Tucker) are enough:
// each throw is clamped where it is for a reason, and the slide's derivative is
// nought, or pushes against the stop.
func TestOptimalityConditions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		i := drawInstance(t)
		r := i.p.Solve(i.d)
		pull, size := 0.0, 0.0
		for j, n := range r.Notes {
			if n.Throw < 0 || n.Throw > n.Reach {
				t.Fatalf("throw %g outside 0..%g", n.Throw, n.Reach)
			}
			switch {
			case n.Left > 1e-9 && n.Throw < n.Reach:
				t.Fatalf("%v is left %g sharp with throw to spare", n.Slot, n.Left)
			case n.Left < -1e-9 && n.Throw > 0:
				t.Fatalf("%v is left %g flat with the slide thrown %g", n.Slot, n.Left, n.Throw)
			}
			g := i.p.weight[j] * n.Left / n.Slot.Valves.Ratio()
			pull += g
			size += math.Abs(g)
		}
		tolerance := 1e-10 * (1 + size)
		if r.SlideCents < i.o.Travel.MinCents || r.SlideCents > i.o.Travel.MaxCents {
			t.Fatalf("slide at %g, outside %v", r.SlideCents, *i.o.Travel)
		}
		if pull > tolerance && r.SlideCents < i.o.Travel.MaxCents || pull < -tolerance && r.SlideCents > i.o.Travel.MinCents {
			t.Fatalf("the slide at %g is pulled by %g within %v", r.SlideCents, pull, *i.o.Travel)
		}
	})
}

func TestClosedFormWithoutThrows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		i := drawInstance(t)
		i.o.Throws, i.o.Travel = Throws{}, &Unlimited
		p, err := NewProblem(i.p.slots, i.o)
		if err != nil {
			t.Fatal(err)
		}
		var num, den float64
		for j, s := range p.slots {
			w, r := p.weight[j], s.Valves.Ratio()
			num += w * i.off(j) / r
			den += w / (r * r)
		}
		if got := p.Slide(i.d); math.Abs(got-num/den) > 1e-10*(1+math.Abs(got)) {
			t.Fatalf("t = %.15g, least squares give %.15g", got, num/den)
		}
	})
}

// Moving a profile along the slide vector moves the slide and nothing else.
func TestShiftInvariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		i := drawInstance(t)
		i.o.Travel = &Unlimited
		p, err := NewProblem(i.p.slots, i.o)
		if err != nil {
			t.Fatal(err)
		}
		shift := rapid.Float64Range(-80, 80).Draw(t, "shift")
		moved := make([]float64, len(i.d))
		for j, s := range p.slots {
			moved[j] = i.d[j] + shift/s.Valves.Ratio()
		}
		a, b := p.Solve(i.d), p.Solve(moved)
		if math.Abs(b.SlideCents-a.SlideCents-shift) > 1e-8 || math.Abs(a.ErrorCents-b.ErrorCents) > 1e-8 {
			t.Fatalf("moved by %g the slide goes from %g to %g, the error from %g to %g", shift, a.SlideCents, b.SlideCents, a.ErrorCents, b.ErrorCents)
		}
		for j := range a.Notes {
			if math.Abs(a.Notes[j].Left-b.Notes[j].Left) > 1e-8 {
				t.Fatalf("%v is left %g, then %g", a.Notes[j].Slot, a.Notes[j].Left, b.Notes[j].Left)
			}
		}
	})
}

func TestMoreReachIsNeverWorse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		i := drawInstance(t)
		more := i.o
		more.Throws.FirstMM += rapid.Float64Range(0, 30).Draw(t, "more 1")
		more.Throws.ThirdMM += rapid.Float64Range(0, 30).Draw(t, "more 3")
		p, err := NewProblem(i.p.slots, more)
		if err != nil {
			t.Fatal(err)
		}
		if a, b := i.p.Error(i.d), p.Error(i.d); b > a+1e-9 {
			t.Fatalf("longer throws raise the error from %g to %g", a, b)
		}
	})
}

func TestOnlyProportionsOfWeightsMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		i := drawInstance(t)
		factor := rapid.Float64Range(0.01, 100).Draw(t, "factor")
		scaled := i.o
		scaled.Weights = Weights{}
		for n, w := range i.o.Weights {
			scaled.Weights[n] = factor * w
		}
		p, err := NewProblem(i.p.slots, scaled)
		if err != nil {
			t.Fatal(err)
		}
		if a, b := i.p.Error(i.d), p.Error(i.d); math.Abs(a-b) > 1e-9*(1+a) {
			t.Fatalf("weights times %g change the error from %g to %g", factor, a, b)
		}
	})
}

// The start of the search must not matter.
func TestStartDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		i := drawInstance(t)
		a, sumA := i.p.solve(i.d, 0)
		b, sumB := i.p.solve(i.d, rapid.Float64Range(-300, 300).Draw(t, "start"))
		if math.Abs(a-b) > 1e-9*(1+math.Abs(a)) || math.Abs(sumA-sumB) > 1e-9*(1+sumA) {
			t.Fatalf("t = %.15g or %.15g, sums %.15g and %.15g", a, b, sumA, sumB)
		}
	})
}
