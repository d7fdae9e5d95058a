package fit

import (
	"math"

	"centwise/catalog/pitch"

	"gonum.org/v1/gonum/mat"
)

// structure is a family of covariance matrices of a group of effects, p x p in
// cents^2: a weighted sum of known patterns, and around it a free matrix that
// the catalog may learn as far as it has seen enough effects of the group.
// In the metric of the patterned matrix, directions whose variance differs from
// one by no more than chance explains are held as if the pattern were worth
// strength effects; those that stand out are believed almost at once.
type structure struct {
	patterns []square
	weights  []float64 // variance given to each pattern
	prior    []float64 // the weights' prior medians
	spread   float64   // sd of log weight around log prior
	strength float64
	k        square // the covariance in use
}

func newStructure(patterns []square, prior []float64, spread, strength float64) *structure {
	s := &structure{patterns: patterns, prior: prior, spread: spread, strength: strength}
	s.weights = append([]float64(nil), prior...)
	s.k = s.patterned(s.weights)
	return s
}

// patterned is the sum of the patterns with the given weights.
func (s *structure) patterned(weights []float64) square {
	k := newSquare(s.patterns[0].n)
	for i, p := range s.patterns {
		axpy(weights[i], p.a, k.a)
	}
	return k
}

// learn takes one expectation-maximisation step: second is the expected sum of
// u u' over the n effects seen, and over-relaxation beyond a plain step is
// set by stretch (1 = none).
func (s *structure) learn(second square, n, stretch float64) {
	if n == 0 {
		return
	}
	for range 3 {
		s.scoreWeights(second, n)
	}
	target := s.patterned(s.weights)
	if !math.IsInf(s.strength, 1) {
		target = s.shrink(target, second, n)
	}
	s.k = geodesic(s.k, target, stretch)
}

// standsOut and quickStrength say how far beyond the sampling spread of a
// variance a direction has to be, and how many effects the pattern is worth
// against it then.
const (
	standsOut     = 1.2
	quickStrength = 20
)

// shrink moves the patterned covariance towards second/n, direction by
// direction in its own metric. The log eigenvalues of a sample covariance of n
// vectors of length p spread over about +-2 sqrt(p/n) by chance
// (V. A. Marchenko and L. A. Pastur, "Distribution of eigenvalues for some sets
// of random matrices", 1967).
func (s *structure) shrink(target, second square, n float64) square {
	sample := newSquare(target.n)
	axpy(1/n, second.a, sample.a)
	chance := standsOut * 2 * math.Sqrt(float64(target.n)/n)
	return relativeTo(target, sample, func(v float64) float64 {
		strength := s.strength
		if math.Abs(math.Log(v)) > chance {
			strength = quickStrength
		}
		return 1 + n/(n+strength)*(v-1)
	})
}

// scoreWeights moves the log weights by one Fisher-scoring step of the
// expected log likelihood -n/2 log|K| - tr(K^-1 S)/2 plus the log prior.
func (s *structure) scoreWeights(second square, n float64) {
	p, c := second.n, len(s.patterns)
	inv := s.patterned(s.weights)
	scaleRidge(inv)
	if !inv.invertSPD() {
		return
	}
	// Each pattern between two inverses: G_k = K^-1 C_k.
	g := make([]square, c)
	excess := newSquare(p) // K^-1 S K^-1 - n K^-1
	half := newSquare(p)
	mul(half.a, inv.a, second.a, p, p, p)
	mul(excess.a, half.a, inv.a, p, p, p)
	axpy(-n, inv.a, excess.a)
	gradient := mat.NewVecDense(c, nil)
	fisher := mat.NewSymDense(c, nil)
	for k := range s.patterns {
		g[k] = newSquare(p)
		mul(g[k].a, inv.a, s.patterns[k].a, p, p, p)
		slope := s.weights[k] * dot(excess.a, s.patterns[k].a) / 2
		gradient.SetVec(k, slope-math.Log(s.weights[k]/s.prior[k])/(s.spread*s.spread))
		for l := range k + 1 {
			fisher.SetSym(k, l, s.weights[k]*s.weights[l]*n/2*traceOfProduct(g[k], g[l]))
		}
		fisher.SetSym(k, k, fisher.At(k, k)+1/(s.spread*s.spread))
	}
	var chol mat.Cholesky
	if !chol.Factorize(fisher) {
		return
	}
	var step mat.VecDense
	if chol.SolveVecTo(&step, gradient) != nil {
		return
	}
	for k := range s.weights {
		s.weights[k] *= math.Exp(math.Max(-1, math.Min(1, step.AtVec(k))))
	}
}

// scaleRidge adds to the diagonal what keeps a nearly singular covariance
// invertible in floating point.
func scaleRidge(k square) {
	trace := 0.0
	for i := range k.n {
		trace += k.a[i*k.n+i]
	}
	k.addDiagonal(1e-9 * trace / float64(k.n))
}

func traceOfProduct(a, b square) float64 {
	sum := 0.0
	for i := range a.n {
		for j := range a.n {
			sum += a.a[i*a.n+j] * b.a[j*b.n+i]
		}
	}
	return sum
}

// pattern makes a matrix from a function of two indices.
func pattern(n int, f func(i, j int) float64) square {
	m := newSquare(n)
	for i := range n {
		for j := range n {
			m.a[i*n+j] = f(i, j)
		}
	}
	return m
}

func same(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

// hornPatterns are the ways horns differ, slot by slot: as a whole, by a
// setting of the tuning slide, by the length of each valve's slide, by each
// combination, by the partials' places (smoothly, finely, and the more the
// longer the valve tubing), smoothly in pitch, and freely.
func hornPatterns(slots []pitch.Slot) (patterns []square, variances []float64) {
	n := len(slots)
	x := make([]float64, n)
	logPartial := make([]float64, n)
	for j, s := range slots {
		x[j] = soundingOctave(s, bbTransposition)
		logPartial[j] = math.Log2(float64(s.Partial))
	}
	addPattern := func(variance float64, f func(i, j int) float64) {
		patterns = append(patterns, pattern(n, f))
		variances = append(variances, variance)
	}
	shorter := func(i int) float64 { return 1 / slots[i].Valves.Ratio() }
	added := func(i int) float64 { return slots[i].Valves.Ratio() - 1 }
	addPattern(4, func(i, j int) float64 { return 1 })
	addPattern(4, func(i, j int) float64 { return shorter(i) * shorter(j) })
	for v := 1; v <= 3; v++ {
		addPattern(6, func(i, j int) float64 {
			return same(slots[i].Valves.Uses(v) && slots[j].Valves.Uses(v)) * shorter(i) * shorter(j)
		})
	}
	addPattern(2, func(i, j int) float64 { return same(slots[i].Valves == slots[j].Valves) })
	addPattern(7, func(i, j int) float64 { return gauss(logPartial[i], logPartial[j], 0.6) })
	addPattern(2, func(i, j int) float64 { return gauss(logPartial[i], logPartial[j], 0.3) })
	addPattern(8, func(i, j int) float64 { return added(i) * added(j) * gauss(logPartial[i], logPartial[j], 0.6) })
	addPattern(2, func(i, j int) float64 { return same(slots[i].Partial == slots[j].Partial) })
	addPattern(6, func(i, j int) float64 { return gauss(x[i], x[j], 0.6) })
	addPattern(5, func(i, j int) float64 { return same(i == j) })
	return patterns, variances
}

// mouthpiecePatterns are the ways mouthpieces differ, on the coefficients of
// mouthpieceBasis: an offset, a lengthening of the tube, and two scales of
// smooth change with pitch.
func mouthpiecePatterns() (patterns []square, variances []float64) {
	at := knots(smoothKnots)
	n := 1 + len(at)
	addPattern := func(variance float64, f func(a, b float64) float64) {
		patterns = append(patterns, pattern(n, func(i, j int) float64 {
			if i == 0 || j == 0 {
				return 0
			}
			return f(at[i-1], at[j-1])
		}))
		variances = append(variances, variance)
	}
	patterns = append(patterns, pattern(n, func(i, j int) float64 { return same(i == 0 && j == 0) }))
	variances = append(variances, 1)
	addPattern(4, func(a, b float64) float64 { return 1 })
	addPattern(8, func(a, b float64) float64 { return gauss(a, b, 1.5) })
	addPattern(1.5, func(a, b float64) float64 { return gauss(a, b, 0.6) })
	addPattern(0.1, func(a, b float64) float64 { return same(a == b) })
	return patterns, variances
}

// playerPatterns are the ways players' habits differ, on the coefficients of
// smoothBasis: an offset, a slope over the range, a smooth curve, a little of
// everything.
func playerPatterns() (patterns []square, variances []float64) {
	at := knots(smoothKnots)
	middle := (at[0] + at[len(at)-1]) / 2
	addPattern := func(variance float64, f func(a, b float64) float64) {
		patterns = append(patterns, pattern(len(at), func(i, j int) float64 { return f(at[i], at[j]) }))
		variances = append(variances, variance)
	}
	addPattern(2, func(a, b float64) float64 { return 1 })
	addPattern(6, func(a, b float64) float64 { return (a - middle) * (b - middle) })
	addPattern(8, func(a, b float64) float64 { return gauss(a, b, 0.7) })
	addPattern(0.5, func(a, b float64) float64 { return same(a == b) })
	return patterns, variances
}

// wigglePattern is the shape, with unit variance, of the small smooth
// differences that belong to a day or to one pair, on the coefficients of
// smoothBasis.
func wigglePattern() square {
	at := knots(smoothKnots)
	return pattern(len(at), func(i, j int) float64 { return gauss(at[i], at[j], 0.7) + 0.02*same(i == j) })
}
