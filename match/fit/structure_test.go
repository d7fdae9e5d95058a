package fit

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// expectedLogLikelihood is -n/2 log|K| - tr(K^-1 S)/2 plus the log prior of the
// weights, worked out with mat.
func (s *structure) expectedLogLikelihood(t *testing.T, weights []float64, second square, n float64) float64 {
	t.Helper()
	k := s.patterned(weights)
	scaleRidge(k)
	var chol mat.Cholesky
	if !chol.Factorize(mat.NewSymDense(k.n, k.a)) {
		t.Fatal("not positive definite")
	}
	var solved mat.Dense
	if err := chol.SolveTo(&solved, mat.NewDense(k.n, k.n, second.a)); err != nil {
		t.Fatal(err)
	}
	sum := -n/2*chol.LogDet() - mat.Trace(&solved)/2
	for i, w := range weights {
		d := math.Log(w/s.prior[i]) / s.spread
		sum -= d * d / 2
	}
	return sum
}

// logGradient is the gradient over the log weights by central differences.
func (s *structure) logGradient(t *testing.T, second square, n float64) *mat.VecDense {
	t.Helper()
	const h = 1e-4
	g := mat.NewVecDense(len(s.weights), nil)
	for i := range s.weights {
		at := func(step float64) float64 {
			w := append([]float64(nil), s.weights...)
			w[i] *= math.Exp(step)
			return s.expectedLogLikelihood(t, w, second, n)
		}
		g.SetVec(i, (at(h)-at(-h))/(2*h))
	}
	return g
}

// fisher is the expected information about the log weights, plus the prior's:
// n/2 tr(K^-1 w_k C_k K^-1 w_l C_l) + [k=l]/spread^2, with mat.
func (s *structure) fisher(t *testing.T, n float64) *mat.SymDense {
	t.Helper()
	k := s.patterned(s.weights)
	scaleRidge(k)
	var inv mat.Dense
	if err := inv.Inverse(mat.NewDense(k.n, k.n, k.a)); err != nil {
		t.Fatal(err)
	}
	out := mat.NewSymDense(len(s.weights), nil)
	for a := range s.weights {
		for b := range a + 1 {
			var x, y, xy mat.Dense
			x.Mul(&inv, mat.NewDense(k.n, k.n, s.patterns[a].a))
			y.Mul(&inv, mat.NewDense(k.n, k.n, s.patterns[b].a))
			xy.Mul(&x, &y)
			out.SetSym(a, b, n/2*s.weights[a]*s.weights[b]*mat.Trace(&xy))
		}
		out.SetSym(a, a, out.At(a, a)+1/(s.spread*s.spread))
	}
	return out
}

// secondMomentOf draws n vectors with covariance k and sums their squares.
func secondMomentOf(t *testing.T, k square, n int, seed uint64) square {
	t.Helper()
	root := choleskyRoot(t, mat.NewSymDense(k.n, append([]float64(nil), k.a...)))
	rng, out := seeded(seed), newSquare(k.n)
	for range n {
		z, v := mat.NewVecDense(k.n, nil), mat.NewVecDense(k.n, nil)
		for i := range k.n {
			z.SetVec(i, rng.NormFloat64())
		}
		v.MulVec(root, z)
		for i := range k.n {
			axpy(v.AtVec(i), v.RawVector().Data, out.row(i))
		}
	}
	return out
}

func structures(strength float64) map[string]*structure {
	of := func(patterns []square, variances []float64) *structure {
		return newStructure(patterns, variances, 1, strength)
	}
	return map[string]*structure{
		"horn": of(hornPatterns(StandardSlots())), "mouthpiece": of(mouthpiecePatterns()), "player": of(playerPatterns()),
	}
}

// A step of learning the weights is the Fisher-scoring step made of the
// gradient of the expected log likelihood, here by finite differences.
func TestWeightStepFollowsTheGradient(t *testing.T) {
	for name, s := range structures(math.Inf(1)) {
		other := append([]float64(nil), s.weights...)
		for i := range other {
			other[i] *= 0.8 + 0.15*float64(i%4)
		}
		const n = 30
		second := secondMomentOf(t, s.patterned(other), n, 5)
		gradient, before := s.logGradient(t, second, n), append([]float64(nil), s.weights...)
		var want mat.VecDense
		var chol mat.Cholesky
		if !chol.Factorize(s.fisher(t, n)) {
			t.Fatal("the information is singular")
		}
		if err := chol.SolveVecTo(&want, gradient); err != nil {
			t.Fatal(err)
		}
		s.scoreWeights(second, n)
		for i, w := range s.weights {
			step := math.Max(-1, math.Min(1, want.AtVec(i)))
			if got := math.Log(w / before[i]); math.Abs(got-step) > 1e-4*(1+math.Abs(step)) {
				t.Errorf("%s: log weight %d moves by %.6f, the scoring step is %.6f", name, i, got, step)
			}
		}
	}
}

// Repeated steps end where the gradient is zero, and climb.
func TestWeightsComeToRest(t *testing.T) {
	for name, s := range structures(math.Inf(1)) {
		const n = 60
		truth := append([]float64(nil), s.weights...)
		for i := range truth {
			truth[i] *= []float64{3, 0.4, 1}[i%3]
		}
		second := secondMomentOf(t, s.patterned(truth), n, 6)
		start := s.expectedLogLikelihood(t, s.weights, second, n)
		for range 60 {
			s.scoreWeights(second, n)
		}
		end := s.expectedLogLikelihood(t, s.weights, second, n)
		if end <= start {
			t.Errorf("%s: the likelihood went from %.3f to %.3f", name, start, end)
		}
		if g := mat.Norm(s.logGradient(t, second, n), math.Inf(1)); g > 1e-3 {
			t.Errorf("%s: after many steps the gradient is still %.2g", name, g)
		}
	}
}

// Learning keeps a covariance positive definite and symmetric, and with very
// many effects comes to their covariance, whatever the patterns say.
func TestLearnedCovariances(t *testing.T) {
	for name, s := range structures(40) {
		n := s.k.n
		odd := pattern(n, func(i, j int) float64 { return 4*same(i == j) + 3*math.Cos(float64(2*i))*math.Cos(float64(2*j)) })
		second := newSquare(n)
		axpy(1e6, odd.a, second.a)
		for range 40 {
			s.learn(second, 1e6, 1.6)
		}
		for i := range n {
			for j := range n {
				if math.Abs(s.k.a[i*n+j]-odd.a[i*n+j]) > 0.01 {
					t.Fatalf("%s: entry %d, %d is learned as %.4f, a million effects have %.4f", name, i, j, s.k.a[i*n+j], odd.a[i*n+j])
				}
			}
		}
	}
	for name, s := range structures(40) {
		// Two effects in one direction only.
		second := pattern(s.k.n, func(i, j int) float64 { return 50 * same(i == 1 && j == 1) })
		for range 30 {
			s.learn(second, 2, 1.6)
			checkCovariance(t, name, s.k)
		}
	}
	s := structures(40)["horn"]
	before := append([]float64(nil), s.k.a...)
	s.learn(newSquare(s.k.n), 0, 1.6)
	for i, v := range s.k.a {
		if v != before[i] {
			t.Fatal("with no effect seen the covariance changes")
		}
	}
}

func checkCovariance(t *testing.T, name string, k square) {
	t.Helper()
	for i := range k.n {
		for j := range i {
			if d := math.Abs(k.a[i*k.n+j] - k.a[j*k.n+i]); !(d <= 1e-9*(math.Abs(k.a[i*k.n+i])+math.Abs(k.a[j*k.n+j]))) {
				t.Fatalf("%s: entries %d, %d differ by %g", name, i, j, d)
			}
		}
	}
	root := square{k.n, append([]float64(nil), k.a...)}
	scaleRidge(root)
	if !root.cholesky() {
		t.Fatalf("%s: not positive definite", name)
	}
}

// The geodesic (R. Bhatia, Positive Definite Matrices, 2007, section 6.1):
// a at 0, b at 1, the same in both directions and for inverses, log determinants
// on a straight line, positive definite beyond the ends too; powers of numbers
// where matrices are diagonal.
func TestGeodesic(t *testing.T) {
	a, b := structures(40)["player"].k, structures(40)["player"].k
	b = square{b.n, append([]float64(nil), b.a...)}
	b.addDiagonal(2)
	for i := range b.n {
		b.a[i*b.n+i] *= 1 + 0.3*float64(i)
	}
	equal := func(what string, got, want square) {
		t.Helper()
		for i := range got.a {
			if math.Abs(got.a[i]-want.a[i]) > 1e-7*(1+math.Abs(want.a[i])) { // the ridge of 1e-9 shows
				t.Errorf("%s: entry %d is %.12f, want %.12f", what, i, got.a[i], want.a[i])
			}
		}
	}
	equal("at 0", geodesic(a, b, 0), a)
	equal("at 1", geodesic(a, b, 1), b)
	equal("there and back", geodesic(a, b, 0.3), geodesic(b, a, 0.7))
	inverse := func(m square) square {
		out := square{m.n, append([]float64(nil), m.a...)}
		if !out.invertSPD() {
			t.Fatal("not positive definite")
		}
		return out
	}
	equal("of inverses", geodesic(inverse(a), inverse(b), 0.4), inverse(geodesic(a, b, 0.4)))
	equal("from a point to itself", geodesic(a, a, 1.6), a)
	logDet := func(m square) float64 {
		var chol mat.Cholesky
		if !chol.Factorize(mat.NewSymDense(m.n, append([]float64(nil), m.a...))) {
			t.Fatal("not positive definite")
		}
		return chol.LogDet()
	}
	for _, at := range []float64{-0.5, 0.25, 1.6, 2.5} {
		m := geodesic(a, b, at)
		checkCovariance(t, "on the geodesic", m)
		if got, want := logDet(m), (1-at)*logDet(a)+at*logDet(b); math.Abs(got-want) > 1e-7*math.Abs(want) {
			t.Errorf("at %g the log determinant is %.9f, want %.9f", at, got, want)
		}
	}
	p := pattern(3, func(i, j int) float64 { return float64(i+1) * same(i == j) })
	q := pattern(3, func(i, j int) float64 { return float64(7-2*i) * same(i == j) })
	equal("of diagonal matrices", geodesic(p, q, 1.6), pattern(3, func(i, j int) float64 {
		return same(i == j) * math.Pow(float64(i+1), -0.6) * math.Pow(float64(7-2*i), 1.6)
	}))
}
