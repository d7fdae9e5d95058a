package fit

import (
	"math"
	"runtime"
	"sync"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/gonum"
	"gonum.org/v1/gonum/mat"
)

var lapack gonum.Implementation

// square is an n x n matrix in row-major order, for the hot paths where a
// mat.Dense would allocate.
type square struct {
	n int
	a []float64
}

func newSquare(n int) square { return square{n, make([]float64, n*n)} }

func (m square) row(i int) []float64 { return m.a[i*m.n : (i+1)*m.n] }

// cholesky replaces m by its lower Cholesky factor with the upper triangle
// cleared. It reports false when m is not positive definite.
func (m square) cholesky() bool {
	if !lapack.Dpotrf(blas.Lower, m.n, m.a, m.n) {
		return false
	}
	for i := range m.n {
		clear(m.a[i*m.n+i+1 : (i+1)*m.n])
	}
	return true
}

// solveBy replaces x by the solution of the equations whose matrix c has factored.
// Cholesky.SolveVecTo takes the vector for a matrix of one column, which costs ten
// times as much.
func solveBy(c *mat.Cholesky, x []float64) {
	upper := c.RawU().(mat.RawTriangular).RawTriangular()
	blas64.Trsv(blas.Trans, upper, vector(x))
	blas64.Trsv(blas.NoTrans, upper, vector(x))
}

// invertSPD replaces a symmetric positive definite m, of which only the lower
// triangle is read, by its full inverse. It reports false when m is not
// positive definite.
func (m square) invertSPD() bool {
	if !lapack.Dpotrf(blas.Lower, m.n, m.a, m.n) || !lapack.Dpotri(blas.Lower, m.n, m.a, m.n) {
		return false
	}
	m.mirror()
	return true
}

// mirror copies the lower triangle to the upper one.
func (m square) mirror() {
	for i := range m.n {
		for j := range i {
			m.a[j*m.n+i] = m.a[i*m.n+j]
		}
	}
}

func (m square) addDiagonal(v float64) {
	for i := range m.n {
		m.a[i*m.n+i] += v
	}
}

func general(rows, cols int, a []float64) blas64.General {
	return blas64.General{Rows: rows, Cols: cols, Stride: cols, Data: a}
}

// mul sets c = a b for row-major a (n x k) and b (k x m).
func mul(c, a, b []float64, n, k, m int) {
	blas64.Gemm(blas.NoTrans, blas.NoTrans, 1, general(n, k, a), general(k, m, b), 0, general(n, m, c))
}

// mulTrans sets c = a b' for row-major a (n x k) and b (m x k).
func mulTrans(c, a, b []float64, n, k, m int) {
	blas64.Gemm(blas.NoTrans, blas.Trans, 1, general(n, k, a), general(m, k, b), 0, general(n, m, c))
}

// transMul sets c = a' b for row-major a (k x n) and b (k x m).
func transMul(c, a, b []float64, n, k, m int) {
	blas64.Gemm(blas.Trans, blas.NoTrans, 1, general(k, n, a), general(k, m, b), 0, general(n, m, c))
}

// dot is the inner product of two vectors of equal length.
func dot(x, y []float64) float64 {
	y = y[:len(x)]
	var s0, s1, s2, s3 float64
	i := 0
	for ; i+4 <= len(x); i += 4 {
		s0 += x[i] * y[i]
		s1 += x[i+1] * y[i+1]
		s2 += x[i+2] * y[i+2]
		s3 += x[i+3] * y[i+3]
	}
	for ; i < len(x); i++ {
		s0 += x[i] * y[i]
	}
	return (s0 + s1) + (s2 + s3)
}

// axpy adds a x to y.
func axpy(a float64, x, y []float64) {
	y = y[:len(x)]
	for i, v := range x {
		y[i] += a * v
	}
}

// add adds x to y.
func add(x, y []float64) {
	y = y[:len(x)]
	for i, v := range x {
		y[i] += v
	}
}

// parallel runs f over 0..n-1 on the processors at hand, in ranges; f must
// write only what belongs to its own range, so the result does not depend on
// the number of processors.
func parallel(n int, f func(lo, hi int)) {
	workers := min(runtime.GOMAXPROCS(0), n)
	if workers <= 1 {
		f(0, n)
		return
	}
	const grain = 8 // ranges per worker, so that uneven work evens out
	chunk := max(1, n/(workers*grain))
	var wg sync.WaitGroup
	next := make(chan int)
	for range workers {
		wg.Go(func() {
			for lo := range next {
				f(lo, min(lo+chunk, n))
			}
		})
	}
	for lo := 0; lo < n; lo += chunk {
		next <- lo
	}
	close(next)
	wg.Wait()
}

// relativeTo gives, of a symmetric b seen in the metric of the positive definite
// a, the matrix whose eigenvalues there are f of b's: L Q f(lambda) Q' L' with
// a = L L' and L^-1 b L^-T = Q lambda Q'. It is a itself when f is 1 and b when
// f is the identity. Should b be unusable, the result is a.
func relativeTo(a, b square, f func(lambda float64) float64) square {
	n := a.n
	chol := square{n, append([]float64(nil), a.a...)}
	scaleRidge(chol)
	if !chol.cholesky() {
		return a
	}
	l := mat.NewTriDense(n, mat.Lower, chol.a)
	var inverse mat.TriDense
	if inverse.InverseTri(l) != nil {
		return a
	}
	var inner mat.Dense
	inner.Product(&inverse, mat.NewDense(n, n, append([]float64(nil), b.a...)), inverse.T())
	sym := mat.NewSymDense(n, nil)
	for i := range n {
		for j := range i + 1 {
			sym.SetSym(i, j, (inner.At(i, j)+inner.At(j, i))/2)
		}
	}
	var eig mat.EigenSym
	if !eig.Factorize(sym, true) {
		return a
	}
	var q, lq mat.Dense
	eig.VectorsTo(&q)
	lq.Mul(l, &q)
	out := newSquare(n)
	for k, v := range eig.Values(nil) {
		scale := f(math.Max(v, 1e-8))
		for i := range n {
			axpy(scale*lq.At(i, k), column(&lq, k), out.row(i))
		}
	}
	return out
}

// geodesic is the point at t on the path from a (t = 0) through b (t = 1) in
// the space of positive definite matrices: a^(1/2) (a^(-1/2) b a^(-1/2))^t a^(1/2).
// Beyond t = 1 it extrapolates and stays positive definite
// (R. Bhatia, Positive Definite Matrices, 2007, section 6.1).
func geodesic(a, b square, t float64) square {
	return relativeTo(a, b, func(lambda float64) float64 { return math.Pow(lambda, t) })
}

func column(m *mat.Dense, k int) []float64 { return mat.Col(nil, k, m) }
