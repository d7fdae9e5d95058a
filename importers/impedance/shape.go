package impedance

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
)

// poleShape is Z(x) = a/(x - p) + b + c x, complex. Parameters: real and
// imaginary part of p, a, b, c.
type poleShape struct {
	x []float64
	z []complex128
}

func (poleShape) coefficients(p []float64) (pole, a, b, c complex128) {
	return complex(p[0], p[1]), complex(p[2], p[3]), complex(p[4], p[5]), complex(p[6], p[7])
}

func (s poleShape) residuals(p, dst []float64) {
	pole, a, b, c := s.coefficients(p)
	for i, x := range s.x {
		x := complex(x, 0)
		r := s.z[i] - (a/(x-pole) + b + c*x)
		dst[2*i], dst[2*i+1] = real(r), imag(r)
	}
}

func (s poleShape) top(p []float64) (x, height float64, ok bool) {
	pole, a, b, c := s.coefficients(p)
	at := func(x float64) complex128 { return a/(complex(x, 0)-pole) + b + c*complex(x, 0) }
	x, ok = crest(func(x float64) float64 {
		d := complex(x, 0) - pole
		return real(cmplx.Conj(at(x)) * (c - a/(d*d)))
	})
	return x, cmplx.Abs(at(x)), ok
}

func (poleShape) pole(p []float64) (x, width float64) { return p[0], math.Abs(p[1]) }

func (s poleShape) observations() int { return 2 * len(s.x) }

// start is the best a, b, c for a pole.
func (s poleShape) start(x, width float64) []float64 {
	pole := complex(x, width)
	design, want := mat.NewDense(2*len(s.x), 6, nil), mat.NewVecDense(2*len(s.x), nil)
	for i, x := range s.x {
		for j, f := range []complex128{1 / (complex(x, 0) - pole), 1, complex(x, 0)} {
			design.Set(2*i, 2*j, real(f))
			design.Set(2*i, 2*j+1, -imag(f))
			design.Set(2*i+1, 2*j, imag(f))
			design.Set(2*i+1, 2*j+1, real(f))
		}
		want.SetVec(2*i, real(s.z[i]))
		want.SetVec(2*i+1, imag(s.z[i]))
	}
	return linearStart(design, want, real(pole), imag(pole))
}

// magnitudeShape is |Z(x)|^2 = (c0 + c1 x + c2 x^2) / ((x - re p)^2 + (im p)^2).
// Parameters: re p, im p, c0, c1, c2.
type magnitudeShape struct{ x, m []float64 }

func (s magnitudeShape) square(p []float64, x float64) float64 {
	d := x - p[0]
	return (p[2] + p[3]*x + p[4]*x*x) / (d*d + p[1]*p[1])
}

func (s magnitudeShape) residuals(p, dst []float64) {
	for i, x := range s.x {
		dst[i] = s.m[i] - math.Sqrt(max(s.square(p, x), 1e-12))
	}
}

func (s magnitudeShape) top(p []float64) (x, height float64, ok bool) {
	x, ok = crest(func(x float64) float64 {
		d := x - p[0]
		return (p[3]+2*p[4]*x)*(d*d+p[1]*p[1]) - (p[2]+p[3]*x+p[4]*x*x)*2*d
	})
	return x, math.Sqrt(max(s.square(p, x), 0)), ok
}

func (magnitudeShape) pole(p []float64) (x, width float64) { return p[0], math.Abs(p[1]) }

func (s magnitudeShape) observations() int { return len(s.x) }

// start is the best c0, c1, c2 for a pole.
func (s magnitudeShape) start(x, width float64) []float64 {
	design, want := mat.NewDense(len(s.x), 3, nil), mat.NewVecDense(len(s.x), nil)
	for i, at := range s.x {
		under := (at-x)*(at-x) + width*width
		weight := 1 / (under * max(s.m[i], 1e-3))
		for j, f := range []float64{1, at, at * at} {
			design.Set(i, j, weight*f)
		}
		want.SetVec(i, weight*s.m[i]*s.m[i]*under)
	}
	return linearStart(design, want, x, width)
}

// parabolaShape is ln |Z(x)| = c0 + c1 x + c2 x^2. Parameters: c0, c1, c2.
type parabolaShape struct{ x, m []float64 }

func (s parabolaShape) residuals(p, dst []float64) {
	for i, x := range s.x {
		dst[i] = math.Log(max(s.m[i], 1e-12)) - (p[0] + p[1]*x + p[2]*x*x)
	}
}

func (parabolaShape) top(p []float64) (x, height float64, ok bool) {
	if !(p[2] < 0) {
		return 0, 0, false
	}
	x = -p[1] / (2 * p[2])
	return x, math.Exp(p[0] + p[1]*x/2), math.Abs(x) <= reach
}

// pole is that of the Lorentz curve with the same bend at its top.
func (parabolaShape) pole(p []float64) (x, width float64) {
	return -p[1] / (2 * p[2]), 1 / math.Sqrt(-2*p[2])
}

func (s parabolaShape) observations() int { return len(s.x) }

func (s parabolaShape) start(float64, float64) []float64 {
	design, want := mat.NewDense(len(s.x), 3, nil), mat.NewVecDense(len(s.x), nil)
	for i, x := range s.x {
		design.SetRow(i, []float64{1, x, x * x})
		want.SetVec(i, math.Log(max(s.m[i], 1e-12)))
	}
	return linearStart(design, want)
}

// linearStart puts the coefficients that fit best behind those that are given;
// nil when there is no such fit.
func linearStart(design *mat.Dense, want *mat.VecDense, given ...float64) []float64 {
	var qr mat.QR
	qr.Factorize(design)
	var best mat.VecDense
	if !(qr.Cond() < 1e12) || qr.SolveVecTo(&best, false, want) != nil {
		return nil
	}
	return append(given, best.RawVector().Data...)
}

// reach is how far beyond the window, which is -1..1, a maximum may lie to be
// called one.
const reach = 1.05

// crest finds where a slope goes from rising to falling, nearest to 0.
func crest(slope func(x float64) float64) (x float64, ok bool) {
	const steps = 84
	nearest := math.Inf(1)
	last, before := -reach, slope(-reach)
	for i := 1; i <= steps; i++ {
		at := -reach + 2*reach*float64(i)/steps
		now := slope(at)
		if before > 0 && now <= 0 {
			if root := bisect(slope, last, at); math.Abs(root) < math.Abs(nearest) {
				nearest = root
			}
		}
		last, before = at, now
	}
	return nearest, !math.IsInf(nearest, 0)
}

// bisect finds the root of a function that is positive at low and not at high.
func bisect(f func(float64) float64, low, high float64) float64 {
	for range 60 {
		if mid := (low + high) / 2; f(mid) > 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}
