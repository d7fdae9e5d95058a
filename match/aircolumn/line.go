package aircolumn

import (
	"math"
	"math/cmplx"
)

// Slices of a wall are no longer than sliceM and no steeper than a change of
// radius by sliceRatio: in each the boundary layer is that of the mean radius.
// Halving both moves no resonance by 0.001 cent (TestSlicingConverges).
const (
	sliceM     = 0.010
	cylinderM  = 0.020 // of a cylinder, which is exact anyhow, for its gradient and for counting nodes
	sliceRatio = 0.06  // natural logarithm
)

// slice is a short cone, lengths in m along the axis that sound takes.
type slice struct {
	r1, r2, l float64
	piece     int     // that it is cut from
	from, to  float64 // where, as shares of the piece's length
}

// state is pressure (Pa) and volume flow (m^3/s) across the bore, amplitudes
// with the time factor exp(j omega t).
type state struct{ p, u complex128 }

// matrix takes the state at the far end of a stretch to that at its near end:
// p1 = A p2 + B U2, U1 = C p2 + D U2. Its determinant is 1.
type matrix struct{ a, b, c, d complex128 }

func (m matrix) back(s state) state { return state{m.a*s.p + m.b*s.u, m.c*s.p + m.d*s.u} }

// then is the matrix of m followed, away from the rim, by n.
func (m matrix) then(n matrix) matrix {
	return matrix{m.a*n.a + m.b*n.c, m.a*n.b + m.b*n.d, m.c*n.a + m.d*n.c, m.c*n.b + m.d*n.d}
}

// medium is the air at one frequency.
type medium struct {
	omega   float64
	layer   float64 // sqrt(omega rho/mu), 1/m: |s| per radius
	prandtl float64 // sqrt(Pr)
	zeta    float64 // omega rho: series impedance per length is j zeta/(1-Fv)/S
	eta     float64 // omega/(rho c^2): shunt admittance per length is j eta (1+(gamma-1)Ft) S
	gamma1  float64 // gamma - 1
}

func (a Air) at(hz float64) medium {
	omega := 2 * math.Pi * hz
	return medium{
		omega:   omega,
		layer:   math.Sqrt(omega * a.DensityKgM3 / a.ViscosityPaS),
		prandtl: math.Sqrt(a.Prandtl),
		zeta:    omega * a.DensityKgM3,
		eta:     omega / (a.DensityKgM3 * a.SpeedMS * a.SpeedMS),
		gamma1:  a.HeatRatio - 1,
	}
}

// constants are the line's z = Zs S and y = Yt/S at a radius r (m).
func (m *medium) constants(r float64) (z, y complex128) {
	fv, ft := loss(r*m.layer), loss(r*m.layer*m.prandtl)
	series := inverse(1 - fv)
	return complex(-m.zeta*imag(series), m.zeta*real(series)), complex(-m.eta*m.gamma1*imag(ft), m.eta*(1+m.gamma1*real(ft)))
}

// changes are r dz/dr and r dy/dr.
func (m *medium) changes(r float64, z complex128) (dz, dy complex128) {
	sv, st := r*m.layer, r*m.layer*m.prandtl
	fv, ft := loss(sv), loss(st)
	return z * inverse(1-fv) * lossSlope(sv, fv), complex(0, m.eta*m.gamma1) * lossSlope(st, ft)
}

// inverse is 1/c, without the care for infinities that division takes.
func inverse(c complex128) complex128 {
	d := 1 / (real(c)*real(c) + imag(c)*imag(c))
	return complex(real(c)*d, -imag(c)*d)
}

// hyperbolic gives cosh x and sinh x / x for x^2, by their series where that
// converges at once.
func hyperbolic(square complex128) (cosh, sinhc complex128) {
	re, im := real(square), imag(square)
	size := math.Abs(re) + math.Abs(im)
	if size > 1 {
		x := cmplx.Sqrt(square)
		grow, fall := cmplx.Exp(x), cmplx.Exp(-x)
		return (grow + fall) / 2, (grow - fall) / (2 * x)
	}
	terms := len(evenFactors)
	if size < 0.05 {
		terms = 5
	}
	evenRe, evenIm, oddRe, oddIm := 1.0, 0.0, 1.0, 0.0
	for k := terms - 1; k >= 0; k-- {
		e, o := evenFactors[k], oddFactors[k]
		evenRe, evenIm = 1+e*(re*evenRe-im*evenIm), e*(re*evenIm+im*evenRe)
		oddRe, oddIm = 1+o*(re*oddRe-im*oddIm), o*(re*oddIm+im*oddRe)
	}
	return complex(evenRe, evenIm), complex(oddRe, oddIm)
}

// evenFactors and oddFactors are the ratios of successive terms of cosh x and
// sinh x / x: 1/((2k+1)(2k+2)) and 1/((2k+2)(2k+3)).
var evenFactors, oddFactors = func() (even, odd [8]float64) {
	for k := range even {
		n := float64(2 * k)
		even[k], odd[k] = 1/((n+1)*(n+2)), 1/((n+2)*(n+3))
	}
	return even, odd
}()

// matrix is the exact matrix of Webster's equation in a cone whose boundary
// layer is that of its mean radius. With m = (r2-r1)/L, G^2 = z y, ch and sh of
// G L (cones: Mapes-Riordan 1993, J. Audio Eng. Soc. 41, 471-483):
//
//	A = (r2/r1) ch - m sh/(G r1)       B = z sh/(pi r1 r2 G)
//	C = (pi/z) (r1 r2 G sh + m^2 (L ch - sh/G))
//	D = (r1/r2) ch + m sh/(G r2)
func (c slice) matrix(m *medium) matrix {
	z, y := m.constants((c.r1 + c.r2) / 2)
	ch, sinhc := hyperbolic(times(c.l*c.l, z*y))
	sg := times(c.l, sinhc) // sh/G
	slope := (c.r2 - c.r1) / c.l
	area := math.Pi * c.r1 * c.r2
	out := matrix{
		a: times(c.r2/c.r1, ch),
		b: times(1/area, z*sg),
		c: times(area, y*sg),
		d: times(c.r1/c.r2, ch),
	}
	if slope != 0 {
		out.a -= times(slope/c.r1, sg)
		out.c += times(math.Pi*slope*slope, (times(c.l, ch)-sg)*inverse(z))
		out.d += times(slope/c.r2, sg)
	}
	return out
}

// times is w c for a real w.
func times(w float64, c complex128) complex128 { return complex(w*real(c), w*imag(c)) }

// cut cuts a piece into slices, away from the rim, and appends them.
func (p Piece) cut(number int, to []slice) []slice {
	r1, r2, length := p.StartMM/2000, p.EndMM/2000, p.LengthMM/1000
	if length == 0 {
		return to
	}
	longest := sliceM
	if r1 == r2 {
		longest = cylinderM
	}
	if p.Part == Bell {
		length = math.Hypot(length, r2-r1)
	}
	n := math.Ceil(max(length/longest, math.Abs(math.Log(r2/r1))/sliceRatio, 1))
	for i := range int(n) {
		from, end := float64(i)/n, float64(i+1)/n
		to = append(to, slice{r1 + (r2-r1)*from, r1 + (r2-r1)*end, length / n, number, from, end})
	}
	return to
}
