package tuning

import (
	"math"
)

// maxSteps bounds the search for t. Newton's method settles each linear piece
// of the derivative at one visit and needs 3 steps as a rule; where it leaves
// the bracket, halving takes over, which no double outlasts this long.
const maxSteps = 200

// Slide is the exact minimiser t, in cents of open notes, for the deviations d
// (cents, one a slot, finite). Where several t are equally good, which takes a
// profile that throws correct entirely, it is the one with the least throw.
// It allocates nothing. It panics when d has the wrong length.
func (p *Problem) Slide(d []float64) float64 {
	t, _ := p.solve(d, 0)
	return t
}

// Error is the weighted root mean square of what is left of the deviations d
// (cents, one a slot, finite) after the best slide and throws, in cents. It
// allocates nothing. It panics when d has the wrong length.
func (p *Problem) Error(d []float64) float64 {
	_, sum := p.solve(d, 0)
	return math.Sqrt(sum / p.sumW)
}

// Errors writes the error of each of n profiles (cents) to dst, which must hold
// n. Profiles may go on behind the slots of the problem. It allocates nothing.
func (p *Problem) Errors(dst []float64, profiles [][]float64) {
	start := 0.0
	for k, d := range profiles {
		t, sum := p.solve(d[:len(p.slots)], start)
		if k == 0 {
			start = t // draws of one setup lie close to one another
		}
		dst[k] = math.Sqrt(sum / p.sumW)
	}
}

// solve gives the best t, searched from start, and the sum of squares left.
func (p *Problem) solve(d []float64, start float64) (t, sum float64) {
	if len(d) != len(p.slots) {
		panic("tuning: profile and problem have different slots")
	}
	if p.plain {
		return p.solvePlain(d)
	}
	if !p.unique {
		if t, ok := p.leastThrow(d); ok {
			return t, 0
		}
	}
	lo, hi := p.travel.MinCents, p.travel.MaxCents
	loSeen, hiSeen := false, false // whether an end is known to lie on its side
	t = min(max(start, lo), hi)
	for range maxSteps {
		pull, stiff, left := p.pull(d, t)
		sum = left
		if pull > 0 {
			lo, loSeen = t, true
		} else {
			hi, hiSeen = t, true
		}
		if pull == 0 || stiff == 0 || lo >= hi {
			break
		}
		next := t + pull/stiff
		switch {
		case math.Abs(next-t) <= 1e-13*(1+math.Abs(t)):
			return t, sum
		case next >= hi && !hiSeen:
			next = hi
		case next <= lo && !loSeen:
			next = lo
		case next <= lo || next >= hi:
			next = lo + (hi-lo)/2
		}
		if next == t {
			break
		}
		t = next
	}
	return t, sum
}

// solvePlain solves a problem without throws: the slide is a weighted least
// squares fit, held within its travel.
func (p *Problem) solvePlain(d []float64) (t, sum float64) {
	slope, weight := p.slope[:len(d)], p.weight[:len(d)]
	target, pulls := p.target[:len(d)], p.pulls[:len(d)]
	pull := 0.0
	for j, dj := range d {
		pull += pulls[j] * (dj - target[j])
	}
	t = min(max(pull/p.stiff, p.travel.MinCents), p.travel.MaxCents)
	for j, dj := range d {
		x := dj - target[j] - slope[j]*t
		sum += weight[j] * x * x
	}
	return t, sum
}

// Floor is the square of Error to some 1e-9 of itself and 1e-9 cents squared, or
// a little less, found in less time: the sum of squares comes from sums over the
// deviations where nothing hinders the slide. It allocates nothing.
func (p *Problem) Floor(d []float64) float64 {
	if !p.plain {
		_, sum := p.solve(d, 0)
		return sum / p.sumW
	}
	weight, target, pulls := p.weight[:len(d)], p.target[:len(d)], p.pulls[:len(d)]
	pull, square := 0.0, 0.0
	for j, dj := range d {
		x := dj - target[j]
		pull += pulls[j] * x
		square += weight[j] * x * x
	}
	return max(0, square-pull*pull/p.stiff) / p.sumW
}

// pull gives minus half the derivative of the objective at t (positive: more
// slide is wanted), half its second derivative, and the objective.
func (p *Problem) pull(d []float64, t float64) (pull, stiff, sum float64) {
	slope, weight := p.slope[:len(d)], p.weight[:len(d)]
	reach, target := p.reach[:len(d)], p.target[:len(d)]
	pulls, stiffs := p.pulls[:len(d)], p.stiffs[:len(d)]
	for j, dj := range d {
		x := dj - target[j] - slope[j]*t
		if x > 0 {
			if x -= reach[j]; x <= 0 {
				continue
			}
		}
		pull += pulls[j] * x
		stiff += stiffs[j]
		sum += weight[j] * x * x
	}
	return pull, stiff, sum
}

// leastThrow reports whether slide and throws can correct every note that
// counts, and the largest t that does: there the throws are least.
func (p *Problem) leastThrow(d []float64) (float64, bool) {
	lo, hi := p.travel.MinCents, p.travel.MaxCents
	for j, dj := range d {
		if p.weight[j] == 0 {
			continue
		}
		x := dj - p.target[j]
		lo = max(lo, (x-p.reach[j])/p.slope[j])
		hi = min(hi, x/p.slope[j])
	}
	return hi, lo <= hi
}
