package belief

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/gonum"
)

var lapack gonum.Implementation

func general(rows, cols int, a []float64) blas64.General {
	return blas64.General{Rows: rows, Cols: cols, Stride: cols, Data: a}
}

func axpy(a float64, x, y []float64) {
	y = y[:len(x)]
	for i, v := range x {
		y[i] += a * v
	}
}

func dot(x, y []float64) float64 {
	y = y[:len(x)]
	sum := 0.0
	for i, v := range x {
		sum += v * y[i]
	}
	return sum
}

// factor gives the lower Cholesky factor of a symmetric n x n matrix that may be
// singular: a ridge of some 1e-9 of its trace keeps the factor real.
func factor(a []float64, n int) []float64 {
	trace := 0.0
	for i := range n {
		trace += a[i*n+i]
	}
	if math.IsNaN(trace) || math.IsInf(trace, 0) {
		panic("belief: a covariance is not finite")
	}
	for ridge := 1e-10 * (trace/float64(n) + 1e-12); ; ridge *= 10 {
		l := append([]float64(nil), a...)
		for i := range n {
			l[i*n+i] += ridge
		}
		if !lapack.Dpotrf(blas.Lower, n, l, n) {
			continue
		}
		for i := range n {
			clear(l[i*n+i+1 : (i+1)*n])
		}
		return l
	}
}

// solveLower sets x to L^-1 x.
func solveLower(l []float64, n int, x []float64) {
	blas64.Trsv(blas.NoTrans, blas64.Triangular{Uplo: blas.Lower, Diag: blas.NonUnit, N: n, Stride: n, Data: l}, blas64.Vector{N: n, Inc: 1, Data: x})
}

// solveUpper sets x to L'^-1 x.
func solveUpper(l []float64, n int, x []float64) {
	blas64.Trsv(blas.Trans, blas64.Triangular{Uplo: blas.Lower, Diag: blas.NonUnit, N: n, Stride: n, Data: l}, blas64.Vector{N: n, Inc: 1, Data: x})
}
