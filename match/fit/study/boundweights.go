package main

import (
	"math"

	"centwise/match/fit/simulate"
	"gonum.org/v1/gonum/mat"
)

// reweigh works out anew how likely each reading is gross, given the present
// effects, and merges the sessions' readings under the new weights. It returns
// the mean change of those chances.
//
// A reading's squared error has the expectation r^2 + v: r its distance from
// effects and day, v the variance of the two at its slot. For the effects v
// takes their own blocks' variances.
func (b *bound) reweigh() float64 {
	effects := b.effects(b.z)
	variances := b.blockVariances()
	changes, counts := make([]float64, len(b.cells)), make([]float64, len(b.cells))
	parallel(len(b.cells), func(i int) {
		c, s := &b.cells[i], b.w.Sessions[i]
		if len(c.gross) == 0 {
			return
		}
		expected, v := make([]float64, len(simulate.Slots)), make([]float64, len(simulate.Slots))
		b.addEffects(expected, effects, i)
		b.addEffects(v, variances, i)
		b.addDay(expected, v, i)
		known := b.known[s.Mouthpiece]
		for k, r := range s.Readings {
			e := r.Cents - expected[r.Slot]
			if known != nil {
				e -= known[r.Slot]
			}
			now := grossChance(e*e+v[r.Slot], b.noise(i))
			changes[i] += math.Abs(now - c.gross[k])
			counts[i]++
			c.gross[k] = now
		}
		b.gather(i)
	})
	change, count := 0.0, 0.0
	for i := range changes {
		change += changes[i]
		count += counts[i]
	}
	return change / max(count, 1)
}

// grossChance is the chance that a reading is gross: the posterior of a mixture
// of two normals, the gross one wider, for an expected squared error.
func grossChance(square, variance float64) float64 {
	wide := simulate.GrossFactor * simulate.GrossFactor
	good := math.Log(1-simulate.GrossShare) - square/(2*variance)
	bad := math.Log(simulate.GrossShare) - math.Log(wide)/2 - square/(2*variance*wide)
	return 1 / (1 + math.Exp(good-bad))
}

// addDay adds what is known of the session's day to the expected readings, and
// its remaining variance to v. The day is U x with x standard normal;
// given the effects its mean is U U'R^-1 (y - effects) and its covariance
// U (I + U'D U)^-1 U'.
func (b *bound) addDay(expected, v []float64, session int) {
	c := &b.cells[session]
	n, rank := b.day.Dims()
	rest, weighed := make([]float64, n), make([]float64, n)
	for j, p := range c.precision {
		if p > 0 {
			rest[j] = c.mean[j] - expected[j]
		}
	}
	c.weigh(weighed, rest)
	var x, day mat.VecDense
	x.MulVec(b.day.T(), mat.NewVecDense(n, weighed))
	day.MulVec(b.day, &x)
	for j, p := range c.precision {
		expected[j] += day.AtVec(j)
		for k := range rank {
			if p > 0 { // a row of V is p times a row of U (I + U'DU)^-1/2
				u := c.v[j*rank+k] / p
				v[j] += u * u
			}
		}
	}
}

// blockVariances is the variance of every effect on every slot when all other
// effects are known: the diagonal of L B^-1 L' with B its block.
func (b *bound) blockVariances() []rows {
	out := make([]rows, len(b.families))
	for i, f := range b.families {
		out[i] = newRows(f.count)
		parallel(f.count, func(e int) {
			variance := out[i].row(e)
			var half mat.Dense
			half.Mul(f.loading, f.blocks[e])
			for j := range variance {
				variance[j] = mat.Dot(half.RowView(j), f.loading.RowView(j))
			}
		})
	}
	return out
}
