package impedance

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// shape is a local model of a curve. Frequencies are scaled so that the window
// lies about -1..1 and the largest magnitude is 1.
type shape interface {
	// residuals fills dst with what is observed less what the parameters give.
	residuals(params, dst []float64)
	// top is the place of the maximum of the magnitude nearest to the middle of
	// the window, and the magnitude there; false if there is none.
	top(params []float64) (x, height float64, ok bool)
	// pole is the place of the pole and its distance from the axis.
	pole(params []float64) (x, width float64)
}

// solution is what least squares found.
type solution struct {
	params     []float64
	covariance *mat.SymDense // of the parameters
	residuals  []float64
	sd         float64 // of a residual
}

var errNoFit = errors.New("no fit")

// minimise finds the parameters with the least sum of squared residuals, from a
// start, by the method of Levenberg (1944, Q. Appl. Math. 2, 164) and Marquardt
// (1963, J. SIAM 11, 431). Derivatives are central differences. The
// covariance is s^2 (J'J)^-1 f/(f - 2), s^2 the mean square over f degrees of
// freedom.
func minimise(s shape, start []float64, observations int) (*solution, error) {
	n, k := observations, len(start)
	if n <= k {
		return nil, errNoFit
	}
	p := append([]float64(nil), start...)
	r, trial := make([]float64, n), make([]float64, n)
	s.residuals(p, r)
	now := sumOfSquares(r)
	jacobian := mat.NewDense(n, k, nil)
	damping := 1e-3
	for range maxIterations {
		derive(s, p, jacobian)
		step, ok := damped(jacobian, r, damping)
		for ok && damping < 1e12 {
			next := make([]float64, k)
			for i := range next {
				next[i] = p[i] + step[i]
			}
			s.residuals(next, trial)
			if then := sumOfSquares(trial); then <= now {
				settled := now-then <= 1e-14*now
				p, now, r, trial = next, then, trial, r
				damping = max(damping/10, 1e-12)
				if settled {
					return solved(s, p, r, jacobian)
				}
				break
			}
			damping *= 10
			step, ok = damped(jacobian, r, damping)
		}
		if !ok {
			return nil, errNoFit
		}
		if damping >= 1e12 { // no step improves it any more
			break
		}
	}
	return solved(s, p, r, jacobian)
}

const maxIterations = 100

func sumOfSquares(v []float64) (sum float64) {
	for _, x := range v {
		sum += x * x
	}
	return sum
}

// derive fills the derivatives of the residuals.
func derive(s shape, p []float64, jacobian *mat.Dense) {
	n, _ := jacobian.Dims()
	up, down := make([]float64, n), make([]float64, n)
	at := append([]float64(nil), p...)
	for j := range p {
		h := 1e-6 * max(1, math.Abs(p[j]))
		at[j] = p[j] + h
		s.residuals(at, up)
		at[j] = p[j] - h
		s.residuals(at, down)
		at[j] = p[j]
		for i := range up {
			jacobian.Set(i, j, (up[i]-down[i])/(2*h))
		}
	}
}

// damped is the step that lowers the residuals, held back by the damping in each
// parameter's own scale.
func damped(jacobian *mat.Dense, r []float64, damping float64) ([]float64, bool) {
	_, k := jacobian.Dims()
	var normal mat.SymDense
	normal.SymOuterK(1, jacobian.T())
	for j := range k {
		d := normal.At(j, j)
		if !(d > 0) || math.IsInf(d, 0) {
			return nil, false
		}
		normal.SetSym(j, j, d*(1+damping))
	}
	var slope, step mat.VecDense
	slope.MulVec(jacobian.T(), mat.NewVecDense(len(r), r))
	var chol mat.Cholesky
	if !chol.Factorize(&normal) || chol.SolveVecTo(&step, &slope) != nil && chol.Cond() > 1e15 {
		return nil, false
	}
	out := make([]float64, k)
	for j := range out {
		out[j] = -step.AtVec(j)
	}
	return out, true
}

// solved adds the covariance.
func solved(s shape, p, r []float64, jacobian *mat.Dense) (*solution, error) {
	n, k := len(r), len(p)
	derive(s, p, jacobian)
	var normal mat.SymDense
	normal.SymOuterK(1, jacobian.T())
	var chol mat.Cholesky
	if !chol.Factorize(&normal) || chol.Cond() > 1e14 {
		return nil, errNoFit
	}
	out := &solution{params: p, residuals: r, covariance: mat.NewSymDense(k, nil)}
	if err := chol.InverseTo(out.covariance); err != nil && chol.Cond() > 1e14 {
		return nil, errNoFit
	}
	// Few residuals say little about their own variance: that of Student's law.
	free := float64(n - k)
	variance := sumOfSquares(r) / free
	if free > 2 {
		variance *= free / (free - 2)
	} else {
		variance *= 3
	}
	out.sd = math.Sqrt(variance)
	out.covariance.ScaleSym(variance, out.covariance)
	return out, nil
}

// topSD is the standard error of the maximum's place.
func (o *solution) topSD(s shape) (float64, bool) {
	k := len(o.params)
	slope := mat.NewVecDense(k, nil)
	at := append([]float64(nil), o.params...)
	for j := range k {
		h := 1e-5 * max(1e-2, math.Abs(at[j]))
		at[j] = o.params[j] + h
		up, _, ok1 := s.top(at)
		at[j] = o.params[j] - h
		down, _, ok2 := s.top(at)
		at[j] = o.params[j]
		if !ok1 || !ok2 {
			return 0, false
		}
		slope.SetVec(j, (up-down)/(2*h))
	}
	return math.Sqrt(mat.Inner(slope, o.covariance, slope)), true
}
