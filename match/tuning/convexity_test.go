package tuning

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// point is a slide position with throws, as far as they reach.
func (i instance) drawPoint(t *rapid.T) (slide float64, throws []float64) {
	slide = rapid.Float64Range(max(-100, i.o.Travel.MinCents), min(100, i.o.Travel.MaxCents)).Draw(t, "slide")
	for j := range i.d {
		throws = append(throws, i.p.reach[j]*rapid.Float64Range(0, 1).Draw(t, "throw"))
	}
	return slide, throws
}

// With any weights and any target the objective is convex in slide and throws
// together: between two points it lies on or below the straight line.
func TestObjectiveIsConvex(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		i := drawInstance(t)
		a, u := i.drawPoint(t)
		b, v := i.drawPoint(t)
		share := rapid.Float64Range(0, 1).Draw(t, "share")
		w := make([]float64, len(u))
		for j := range w {
			w[j] = share*u[j] + (1-share)*v[j]
		}
		between := i.objective(share*a+(1-share)*b, w)
		line := share*i.objective(a, u) + (1-share)*i.objective(b, v)
		if between > line+1e-9*(1+line) {
			t.Fatalf("%.12g between two points, %.12g on the line", between, line)
		}
		// No point is better than the solution.
		if best := i.p.Error(i.d); best*best*i.p.sumW > line+1e-9*(1+line) {
			t.Fatalf("the solution leaves %.12g, points leave %.12g", best*best*i.p.sumW, line)
		}
	})
}

// What is left after the best slide and throws is convex in the profile too,
// being the distance from a convex set.
func TestErrorIsConvexInTheProfile(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		i := drawInstance(t)
		other, between := make([]float64, len(i.d)), make([]float64, len(i.d))
		share := rapid.Float64Range(0, 1).Draw(t, "share")
		for j := range other {
			other[j] = rapid.Float64Range(-60, 60).Draw(t, "other")
			between[j] = share*i.d[j] + (1-share)*other[j]
		}
		line := share*i.p.Error(i.d) + (1-share)*i.p.Error(other)
		if got := i.p.Error(between); got > line+1e-7*(1+line) {
			t.Fatalf("an error of %.12g between two profiles, %.12g on the line", got, line)
		}
	})
}

// A target is the same as a profile that is lower by it.
func TestTargetIsTakenOffTheProfile(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		i := drawInstance(t)
		plain := i.o
		plain.Temperament.Cents, plain.Temperament.Notes = [12]float64{}, nil
		p, err := NewProblem(i.p.slots, plain)
		if err != nil {
			t.Fatal(err)
		}
		lower := make([]float64, len(i.d))
		for j := range lower {
			lower[j] = i.off(j)
		}
		a, b := i.p.Solve(i.d), p.Solve(lower)
		if math.Abs(a.ErrorCents-b.ErrorCents) > 1e-9*(1+a.ErrorCents) || math.Abs(a.SlideCents-b.SlideCents) > 1e-7 {
			t.Fatalf("with a target %.12g at %.9g, without %.12g at %.9g", a.ErrorCents, a.SlideCents, b.ErrorCents, b.SlideCents)
		}
		for j := range a.Notes {
			n := a.Notes[j]
			if math.Abs(n.Deviation-n.Target-n.Slide-n.Throw-n.Left) > 1e-9 || math.Abs(n.Left-b.Notes[j].Left) > 1e-7 {
				t.Fatalf("%v: %+v, without a target left %g", n.Slot, n, b.Notes[j].Left)
			}
			// Fingered gives the same shares for a slot of the problem.
			if f := i.p.Fingered(n.Slot, n.Deviation, a.SlideCents); f != n {
				t.Fatalf("%+v by itself, %+v in the solution", f, n)
			}
		}
	})
}

// A note that counts n times is n notes: whole weights against the problem with
// every note repeated.
func TestWeightsCountNotes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		i := drawInstance(t)
		whole, each := i.o, i.o
		whole.Weights, each.Weights = Weights{}, Weights{}
		var slots, once = i.p.slots[:0:0], i.p.slots[:0:0]
		var many, d []float64
		for j, s := range i.p.slots {
			if _, seen := whole.Weights[s.Note()]; seen {
				continue
			}
			n := rapid.IntRange(1, 4).Draw(t, "times")
			whole.Weights[s.Note()], each.Weights[s.Note()] = float64(n), 1
			once, d = append(once, s), append(d, i.d[j])
			for range n {
				slots, many = append(slots, s), append(many, i.d[j])
			}
		}
		a, err := NewProblem(once, whole)
		if err != nil {
			t.Fatal(err)
		}
		b, err := NewProblem(slots, each)
		if err != nil {
			t.Fatal(err)
		}
		if x, y := a.Error(d), b.Error(many); math.Abs(x-y) > 1e-9*(1+x) {
			t.Fatalf("weights give %.12g, repeated notes %.12g", x, y)
		}
	})
}
