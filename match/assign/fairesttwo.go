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
	Worst        float64 // the greatest cost
	// WorstBound is what the greatest cost of every solution is at least.
	WorstBound float64
}

// FairestTwo makes the greatest cost small, then the next greatest, and so on.
// From a solution, such as that of [SolveTwo], it gives things out by [Fairest]
// with the extras as they are, then extras with the things as they are, until
// neither makes it fairer. There may be a fairer one; the bound is the greatest
// cost if extras had no limit.
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
	out := FairTwo{Thing: things, Extra: extras, Total: t.total(things, extras), Worst: math.Inf(-1)}
	if len(costs) > 0 {
		out.Worst = t.descending(things, extras)[0]
	}
	out.WorstBound = min(out.Worst, t.freeWorst())
	return out
}

// descending are the costs of persons, the greatest first.
func (t *Two) descending(things, extras []int) []float64 {
	out := make([]float64, t.Persons)
	for i := range out {
		out[i] = t.cost(i, things[i], extras[i])
	}
	slices.SortFunc(out, func(a, b float64) int { return cmp.Compare(b, a) })
	return out
}

// freeWorst is the greatest cost that can't be avoided even without limits of
// extras.
func (t *Two) freeWorst() float64 {
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
	worst := math.Inf(-1)
	for i, j := range s.Of {
		worst = max(worst, c.At(i, j))
	}
	return worst
}
