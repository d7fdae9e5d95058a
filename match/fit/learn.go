package fit

import (
	"context"
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
)

// step takes one Monte-Carlo EM step from the current solution: every
// component is moved towards its expected complete-data maximum, the draws
// supplying the posterior spread. It returns the largest relative change of a
// standard deviation.
func (e *engine) step(stretch float64) float64 {
	before := e.spreads()
	for _, l := range e.sys.levels {
		if l.shape == nil {
			continue
		}
		n := float64(l.seenCount())
		if l.loads != nil {
			n = dimensionCount
		}
		old := square{l.p, append([]float64(nil), l.chol.a...)}
		l.shape.learn(e.secondMoment(l), n, stretch)
		l.setCovariance(l.shape.k)
		e.rewhiten(l, old)
	}
	e.learnSmooth(stretch)
	e.learnSessionTerms()
	e.reweigh(true)
	change := 0.0
	for i, v := range e.spreads() {
		change = math.Max(change, math.Abs(math.Log(v/before[i])))
	}
	return change
}

// spreads are the standard deviations whose settling is watched.
func (e *engine) spreads() []float64 {
	c := e.comp
	out := []float64{c.Noise, c.Wiggle, c.Interaction, c.Offset, c.Slide}
	for _, l := range e.sys.levels {
		trace := 0.0
		for i := range l.p {
			trace += l.cov.a[i*l.p+i]
		}
		out = append(out, math.Sqrt(trace/float64(l.p)))
	}
	return out
}

// secondMoment is the expected sum of c c' over the level's seen blocks, c
// their coefficients.
func (e *engine) secondMoment(l *level) square {
	white := newSquare(l.p)
	accumulate := func(u []float64, weight float64) {
		for b := range l.blocks {
			if !l.seen[b] {
				continue
			}
			blas64.Syrk(blas.Trans, weight, general(l.q()/l.p, l.p, u[l.first+b*l.q():][:l.q()]), 1,
				blas64.Symmetric{N: l.p, Stride: l.p, Data: white.a, Uplo: blas.Lower})
		}
	}
	accumulate(e.answer.u, 1)
	deviation := make([]float64, e.sys.unknowns)
	for k := range e.draws {
		st := &e.draws[k]
		for i := l.first; i < l.first+l.blocks*l.q(); i++ {
			deviation[i] = st.u[i] - st.truth.u[i]
		}
		accumulate(deviation, 1/float64(len(e.draws)))
	}
	white.mirror()
	half, out := newSquare(l.p), newSquare(l.p)
	mul(half.a, l.chol.a, white.a, l.p, l.p, l.p)
	mulTrans(out.a, half.a, l.chol.a, l.p, l.p, l.p)
	return out
}

// learnSmooth updates the sizes of the wiggle of the day and of the pairs'
// interaction.
func (e *engine) learnSmooth(stretch float64) {
	if e.comp.Interaction == 0 && e.comp.Wiggle == 0 {
		return
	}
	wiggle, interaction := e.smoothSquares(&e.answer, nil)
	for k := range e.draws {
		w, i := e.smoothSquares(&e.draws[k], e.draws[k].truth)
		wiggle += w / float64(len(e.draws))
		interaction += i / float64(len(e.draws))
	}
	n := smoothKnots * float64(len(e.sys.terms.pairs))
	m := smoothKnots * float64(e.sys.sessions)
	e.comp.Interaction = interactionPrior.learn(e.comp.Interaction, interaction, n, stretch)
	e.comp.Wiggle = wigglePrior.learn(e.comp.Wiggle, wiggle, m, stretch)
}

// smoothSquares sums, over sessions and pairs, the squares of the wiggle's and
// the interaction's coefficients in st, less those of truth if given.
func (e *engine) smoothSquares(st, truth *state) (wiggle, interaction float64) {
	t := e.sys.terms
	less := func(a, b []float64, i int) float64 {
		if truth == nil {
			return a[i]
		}
		return a[i] - b[i]
	}
	var none state
	if truth == nil {
		truth, none = nil, state{}
	}
	other := &none
	if truth != nil {
		other = truth
	}
	for p, pair := range t.pairs {
		for k := range smoothKnots {
			kappa := less(st.pair, other.pair, p*smoothKnots+k)
			interaction += kappa * kappa
			for s := int(pair.first); s < int(pair.last); s++ {
				own := less(st.own, other.own, s*t.own+2+k)
				w := e.comp.Wiggle * own
				if !pair.repeated() { // own is the sum of both
					w = math.Hypot(e.comp.Wiggle, e.comp.Interaction)*own - kappa
				}
				wiggle += w * w
			}
		}
	}
	return wiggle, interaction
}

// learnSessionTerms updates the covariance of the sessions' offset and slide.
func (e *engine) learnSessionTerms() {
	if e.comp.Offset == 0 && e.comp.Slide == 0 {
		return
	}
	t, c := e.sys.terms, e.comp.sessionChol
	var oo, os, ss float64
	sum := func(own, truth []float64, weight float64) {
		for s := range e.sys.sessions {
			w0, w1 := own[s*t.own], own[s*t.own+1]
			if truth != nil {
				w0, w1 = w0-truth[s*t.own], w1-truth[s*t.own+1]
			}
			offset, slide := c[0]*w0, c[1]*w0+c[2]*w1
			oo += weight * offset * offset
			os += weight * offset * slide
			ss += weight * slide * slide
		}
	}
	sum(e.answer.own, nil, 1)
	for k := range e.draws {
		sum(e.draws[k].own, e.draws[k].truth.own, 1/float64(len(e.draws)))
	}
	e.comp.learnSession(oo, os, ss, float64(e.sys.sessions))
}

// plan is how much work a fit takes.
type plan struct {
	steps, drawsWhileLearning, draws int
	learnTolerance                   float64
	tolerance, drawTolerance         float64
	limit                            int // iterations of one solve
	stretch                          float64
	settled                          float64 // stop learning at this change
	fine                             bool    // slot-by-slot differences of mouthpieces and players
}

// learn runs EM steps until the components settle or the plan ends.
func (e *engine) learn(ctx context.Context, p plan, report func(done int)) (steps int, change float64, err error) {
	e.startCells()
	e.refresh()
	for range p.drawsWhileLearning {
		e.draws = append(e.draws, e.newDraw())
	}
	for steps = 0; steps < p.steps; steps++ {
		if err := e.solveAll(ctx, p.learnTolerance, p.limit); err != nil {
			return steps, change, err
		}
		change = e.step(p.stretch)
		e.refresh()
		report(steps + 1)
		if change < p.settled {
			return steps + 1, change, nil
		}
	}
	return steps, change, nil
}
