package assign

import (
	"cmp"
	"math"
	"slices"
)

// FairTwo is who has which thing and extra, so that the worst is good.
type FairTwo struct {
	Thing, Extra []int
	Total        float64
	costs        []float64 // of persons, the greatest first
	bounds       []float64 // the same if extras had no limit
}

// Worst is the greatest cost but for the first so many, and what it is at least
// in every solution with the same first ones: -Inf if nothing is known of that,
// or nobody is left.
func (f FairTwo) Worst(but int) (cost, bound float64) {
	if but >= len(f.costs) {
		return math.Inf(-1), math.Inf(-1)
	}
	if !slices.Equal(f.costs[:but], f.bounds[:but]) {
		return f.costs[but], math.Inf(-1)
	}
	return f.costs[but], min(f.costs[but], f.bounds[but])
}

// FairestTwo makes the greatest cost small, then the next greatest, and so on.
// From a solution, such as that of [SolveTwo], it gives things out by [Fairest]
// with the extras as they are, then extras with the things as they are, until
// neither makes it fairer. There may be a fairer one; what costs would be if
// extras had no limit bounds them.
func FairestTwo(t *Two, from TwoSolution) FairTwo {
	things, extras := slices.Clone(from.Thing), slices.Clone(from.Extra)
	costs := t.descending(things, extras)
	for {
		s, err := Fairest(t.With(extras))
		if err != nil {
			panic(err) // the solution at hand is one
		}
		things = s.Of
		next, ok := t.extras(Fairest, nil, func(i, k int) float64 { return t.cost(i, things[i], k) })
		if !ok {
			panic("assign: the extras at hand do not fit") // they are one way to give them out
		}
		extras = next
		now := t.descending(things, extras)
		if slices.Compare(now, costs) >= 0 {
			break
		}
		costs = now
	}
	return FairTwo{Thing: things, Extra: extras, Total: t.total(things, extras), costs: t.descending(things, extras), bounds: t.freeCosts()}
}

// descending are the costs of persons, the greatest first.
func (t *Two) descending(things, extras []int) []float64 {
	out := make([]float64, t.Persons)
	for i := range out {
		out[i] = t.cost(i, things[i], extras[i])
	}
	return falling(out)
}

// freeCosts are those of a fairest solution without limits of extras, the
// greatest first.
func (t *Two) freeCosts() []float64 {
	c := NewCosts(t.Persons, t.Things)
	for i := range t.Persons {
		for j := range t.Things {
			c.Set(i, j, slices.Min(t.Cost[(i*t.Things+j)*t.Extras:][:t.Extras]))
		}
	}
	s, err := Fairest(c)
	if err != nil {
		panic(err) // a solution is at hand
	}
	out := make([]float64, t.Persons)
	for i, j := range s.Of {
		out[i] = c.At(i, j)
	}
	return falling(out)
}

// falling sorts costs, the greatest first.
func falling(costs []float64) []float64 {
	slices.SortFunc(costs, func(a, b float64) int { return cmp.Compare(b, a) })
	return costs
}
