package impedance

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"
)

// Air at 20 C by the constants of Chaigne & Kergomard (c = 343.364 m/s, rho =
// 1.20474 kg/m3, mu = 1.80706e-5 kg/(m s); gamma 1.402 and Prandtl's number 0.71
// from memory).
const (
	airC, airRho, airMu = 343.364, 1.20474, 1.80706e-5
	airGamma, airPr     = 1.402, 0.71
)

// segment is a piece of bore, straight-walled, lengths in mm.
type segment struct{ length, from, to float64 }

// bore is a wind instrument's bore from the plane of measurement on.
type bore []segment

// lossFunction is 2 J1/(z J0) of a wide tube by its series in 1/s (Zwikker &
// Kosten 1949), s = radius sqrt(j omega rho/mu), thermal times sqrt(Pr).
func lossFunction(s complex128) complex128 {
	ratio := 1 - 1/(2*s) - 1/(8*s*s) - 1/(8*s*s*s) - 25/(128*s*s*s*s)
	return 2 * ratio / s
}

// input is the input impedance, Pa s/m3, of the bore radiating from an unflanged
// end (Silva et al. 2009, causal fit): slices of cylinders as transmission lines.
func (b bore) input(hz float64) complex128 {
	omega := 2 * math.Pi * hz
	last := b[len(b)-1].to / 1000
	ka := complex(0, omega/airC*last)
	reflection := -(1 + 0.167*ka) / (1 + 1.393*ka + 0.457*ka*ka)
	z := complex(airRho*airC/(math.Pi*last*last), 0) * (1 + reflection) / (1 - reflection)
	for i := len(b) - 1; i >= 0; i-- {
		slices := 1
		if b[i].from != b[i].to {
			slices = max(1, int(b[i].length/4))
		}
		for k := slices - 1; k >= 0; k-- {
			r := (b[i].from + (b[i].to-b[i].from)*(float64(k)+0.5)/float64(slices)) / 1000
			z = cylinder(z, omega, r, b[i].length/1000/float64(slices))
		}
	}
	return z
}

// cylinder carries an impedance through a lossy cylinder, r and l in m.
func cylinder(z complex128, omega, r, l float64) complex128 {
	s := complex(r, 0) * cmplx.Sqrt(complex(0, omega*airRho/airMu))
	series := complex(0, omega*airRho/(math.Pi*r*r)) / (1 - lossFunction(s))
	parallel := complex(0, omega*math.Pi*r*r/(airRho*airC*airC)) * (1 + (airGamma-1)*lossFunction(s*complex(math.Sqrt(airPr), 0)))
	gamma, zc := cmplx.Sqrt(series*parallel), cmplx.Sqrt(series/parallel)
	t := cmplx.Tanh(gamma * complex(l, 0))
	return zc * (z + zc*t) / (zc + z*t)
}

// lanternTrumpet is an invented trumpet in B flat with its mouthpiece; valves add
// tube of a length in mm.
func lanternTrumpet(addMM float64) bore {
	b := bore{{5, 8, 7}, {5, 7, 1.9}, {10, 1.83, 1.83}, {62, 1.83, 4.2}, {250, 4.4, 5.83}, {540 + addMM, 5.83, 5.83}}
	// A bell that flares like a Bessel horn (exponent 0.7), 500 mm long.
	const length, mouth, exponent = 500.0, 61.0, 0.7
	offset := length / (math.Pow(mouth/5.83, 1/exponent) - 1)
	radius := func(x float64) float64 { return mouth * math.Pow(offset/(length-x+offset), exponent) }
	for x := 0.0; x < length; {
		step := min(12, max(1, (length-x)/12), length-x)
		b = append(b, segment{step, radius(x), radius(x + step)})
		x += step
	}
	return b
}

// tops are the exact maxima of |Zin| between two frequencies: bracketed on a fine
// grid and narrowed by golden section.
func (b bore) tops(low, high float64) (hz, height []float64) {
	m := func(f float64) float64 { return cmplx.Abs(b.input(f)) }
	const step = 1.0
	before, here := m(low-step), m(low)
	for f := low; f < high; f += step {
		next := m(f + step)
		if here > before && here >= next {
			x := golden(m, f-step, f+step)
			hz, height = append(hz, x), append(height, m(x))
		}
		before, here = here, next
	}
	return hz, height
}

func golden(f func(float64) float64, a, b float64) float64 {
	const g = 0.6180339887498949
	c, d := b-g*(b-a), a+g*(b-a)
	fc, fd := f(c), f(d)
	for range 60 {
		if fc > fd {
			b, d, fd = d, c, fc
			c = b - g*(b-a)
			fc = f(c)
		} else {
			a, c, fc = c, d, fd
			d = a + g*(b-a)
			fd = f(d)
		}
	}
	return (a + b) / 2
}

// grid is frequencies from low to high, step Hz apart.
func grid(low, high, step float64) (out []float64) {
	for f := low; f <= high+1e-9; f += step {
		out = append(out, f)
	}
	return out
}

// sweep is a measured curve of a bore: each point is off by a share of its
// magnitude, in any direction of the complex plane.
func (b bore) sweep(hz []float64, share float64, seed uint64) []complex128 {
	rng := rand.New(rand.NewPCG(seed, 7))
	out := make([]complex128, len(hz))
	for i, f := range hz {
		z := b.input(f)
		size := share * cmplx.Abs(z) / math.Sqrt2
		out[i] = z + complex(size*rng.NormFloat64(), size*rng.NormFloat64())
	}
	return out
}

// Ways to write a curve.
func asMagnitude(hz []float64, z []complex128) string {
	var s strings.Builder
	s.WriteString("Frequency (Hz),|Z| (MOhm)\n")
	for i, f := range hz {
		fmt.Fprintf(&s, "%.4f,%.6f\n", f, cmplx.Abs(z[i])/1e6)
	}
	return s.String()
}

func asComplex(hz []float64, z []complex128) string {
	var s strings.Builder
	s.WriteString("f/Hz\tRe(Z)/(Pa s/m3)\tIm(Z)/(Pa s/m3)\n")
	for i, f := range hz {
		fmt.Fprintf(&s, "%.4f\t%.6e\t%.6e\n", f, real(z[i]), imag(z[i]))
	}
	return s.String()
}

func mustRead(t testing.TB, text string) *Curve {
	t.Helper()
	c, err := Read("curve.txt", strings.NewReader(text), nil)
	if err != nil {
		t.Fatal(err)
	}
	return c
}
