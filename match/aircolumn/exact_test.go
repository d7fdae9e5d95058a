package aircolumn

import (
	"math"
	"math/cmplx"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog/pitch"
)

// A closed cylinder with an ideal open end resonates at (2n-1) c/4L, a complete
// cone at n c/2L: exact series of the lossless line (textbook). The end is
// ideal, so the state there is (0, 1), and the apex is cut off at a thousandth.
func TestExactSeries(t *testing.T) {
	a := lossless(dryAir(20))
	const length = 1.0
	for _, tc := range []struct {
		name  string
		piece Piece
		hz    func(n int) float64
	}{
		{"cylinder", Piece{Tube, 1000, 12, 12}, func(n int) float64 { return float64(2*n-1) * a.SpeedMS / (4 * length) }},
		{"cone", Piece{Tube, 1000, 0.6, 600}, func(n int) float64 { return float64(n) * a.SpeedMS / (2 * length * 600 / 599.4) }},
	} {
		slices := tc.piece.cut(0, nil)
		admittance := func(hz float64) float64 {
			at, s := a.at(hz), state{0, 1}
			for i := len(slices) - 1; i >= 0; i-- {
				s = slices[i].matrix(&at).back(s)
			}
			return imag(s.u / s.p)
		}
		for n := 1; n <= 10; n++ {
			want := tc.hz(n)
			low, high := want*(1-4e-4), want*(1+4e-4) // a cone's pole is 1e-3 above
			if admittance(low) > 0 == (admittance(high) > 0) {
				t.Errorf("%s: no resonance near %.2f Hz", tc.name, want)
				continue
			}
			rises := admittance(high) > 0
			for range 60 {
				if middle := (low + high) / 2; admittance(middle) > 0 == rises {
					high = middle
				} else {
					low = middle
				}
			}
			if cents := 1200 * math.Log2(low/want); math.Abs(cents) > 2e-3 {
				t.Errorf("%s: resonance %d is %.5f cents beside %.3f Hz", tc.name, n, cents, want)
			}
		}
	}
}

// With the open end of a thin pipe the cylinder is longer by 0.6133 a (Levine &
// Schwinger 1948), as long as ka is small.
func TestEndCorrectionOfCylinder(t *testing.T) {
	a := lossless(dryAir(20))
	for _, r := range openPeaks(t, Bore{{Tube, 1480, 11.66, 11.66}}, a, 4) {
		want := float64(2*r.Slot.Partial-1) * a.SpeedMS / (4 * (1.48 + 0.6133*0.00583))
		if cents := 1200 * math.Log2(r.FrequencyHz/want); math.Abs(cents) > 0.01 {
			t.Errorf("partial %d is %.4f cents beside %.3f Hz", r.Slot.Partial, cents, want)
		}
	}
}

func drawSlice(t *rapid.T) slice {
	mm := rapid.Float64Range(1, 65)
	return slice{r1: mm.Draw(t, "r1") / 1000, r2: mm.Draw(t, "r2") / 1000, l: rapid.Float64Range(0.001, 0.6).Draw(t, "length")}
}

// A passive two-port without flow is reciprocal: its determinant is 1, and
// turned around A and D change places.
func TestReciprocity(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawSlice(t)
		at := dryAir(25).at(rapid.Float64Range(20, 3000).Draw(t, "hz"))
		m := c.matrix(&at)
		if det := m.a*m.d - m.b*m.c; cmplx.Abs(det-1) > 1e-10*(1+cmplx.Abs(m.a*m.d)) {
			t.Fatalf("determinant %v", det)
		}
		r := slice{r1: c.r2, r2: c.r1, l: c.l}.matrix(&at)
		near := func(x, y complex128) bool { return cmplx.Abs(x-y) <= 1e-10*(1+cmplx.Abs(x)) }
		if !near(r.a, m.d) || !near(r.d, m.a) || !near(r.b/m.b, 1) || !near(r.c/m.c, 1) {
			t.Fatalf("%+v turned around is %+v", m, r)
		}
	})
}

// Two slices of a wall are the whole, where the boundary layer is nought.
func TestConesJoin(t *testing.T) {
	a := lossless(dryAir(20))
	rapid.Check(t, func(t *rapid.T) {
		c := drawSlice(t)
		at := a.at(rapid.Float64Range(20, 3000).Draw(t, "hz"))
		cut := rapid.Float64Range(0.05, 0.95).Draw(t, "cut")
		middle := c.r1 + (c.r2-c.r1)*cut
		whole := c.matrix(&at)
		both := slice{r1: c.r1, r2: middle, l: c.l * cut}.matrix(&at).then(slice{r1: middle, r2: c.r2, l: c.l * (1 - cut)}.matrix(&at))
		for _, pair := range [][2]complex128{{whole.a, both.a}, {whole.b, both.b}, {whole.c, both.c}, {whole.d, both.d}} {
			if cmplx.Abs(pair[0]-pair[1]) > 1e-8*(cmplx.Abs(pair[0])+1e-12) && cmplx.Abs(pair[0]-pair[1]) > 1e-8*cmplx.Abs(whole.a*whole.d) {
				t.Fatalf("%+v in one, %+v in two", whole, both)
			}
		}
	})
}

// The closed form of a lossless cone, with x1 = r1 L/(r2-r1) and Zc = rho
// c/(pi r1^2): A = (x2/x1) cos kL - sin kL/(k x1), B = j Zc (x1/x2) sin kL (from
// memory, checked elsewhere against 4,000 cylinders).
func TestConeInClosedForm(t *testing.T) {
	a := lossless(dryAir(20))
	c := slice{r1: 0.005, r2: 0.015, l: 0.5}
	for _, hz := range []float64{50, 400, 1500} {
		at := a.at(hz)
		m := c.matrix(&at)
		k, x1 := at.omega/a.SpeedMS, 0.25
		x2 := x1 + c.l
		zc := a.DensityKgM3 * a.SpeedMS / (math.Pi * c.r1 * c.r1)
		wantA := x2/x1*math.Cos(k*c.l) - math.Sin(k*c.l)/(k*x1)
		wantB := complex(0, zc*x1/x2*math.Sin(k*c.l))
		if cmplx.Abs(m.a-complex(wantA, 0)) > 1e-10 || cmplx.Abs(m.b-wantB) > 1e-10*zc {
			t.Errorf("%g Hz: A = %v, B = %v; expected %v, %v", hz, m.a, m.b, wantA, wantB)
		}
	}
}

// A cavity with a neck is, where small against the wavelength, Helmholtz's
// resonator: f = c/(2 pi) sqrt(S/(V l)) (textbook), l with the end correction
// outside. Inside, the plane wave has none.
func TestHelmholtzResonator(t *testing.T) {
	a := lossless(dryAir(20))
	b := Bore{{Mouthpiece, 20, 40, 40}, {Tube, 30, 10, 10}}
	m := mustModel(t, Instrument{Bore: b}, a)
	area, volume := math.Pi*0.005*0.005, math.Pi*0.02*0.02*0.02
	want := a.SpeedMS / (2 * math.Pi) * math.Sqrt(area/(volume*(0.030+0.6133*0.005)))
	peaks, err := m.Resonances([]pitch.Valves{0}, 1)
	if err != nil || len(peaks) != 1 {
		t.Fatal(peaks, err)
	}
	// The lumped formula itself errs by a share of (kL)^2/6 or so, L the length of
	// either part: 2 %, which is 35 cents.
	if cents := 1200 * math.Log2(peaks[0].FrequencyHz/want); math.Abs(cents) > 40 {
		t.Errorf("%.2f Hz, expected about %.2f", peaks[0].FrequencyHz, want)
	}
}

// The series and the continued fraction are the same function where they meet,
// and the slope is the derivative.
func TestLossFunction(t *testing.T) {
	if a, b := lossBySeries(wideTube), lossByFraction(wideTube); cmplx.Abs(a-b) > 1e-7 {
		t.Errorf("the series gives %v, the fraction %v at %g", a, b, wideTube)
	}
	if f := loss(1e-3); cmplx.Abs(f-1) > 1e-6 {
		t.Errorf("F = %v in the narrowest tube, expected 1", f)
	}
	for _, s := range []float64{0.5, 3, 11.9, 12.1, 30, 400} {
		const h = 1e-5
		slope, up, down := lossSlope(s, loss(s)), loss(s*(1+h)), loss(s*(1-h))
		if numeric := (up - down) / complex(2*h, 0); cmplx.Abs(slope-numeric) > 2e-4*cmplx.Abs(slope) && !(s < wideTube && s*(1+h) >= wideTube) {
			t.Errorf("s = %g: slope %v, by differences %v", s, slope, numeric)
		}
	}
}

// F against Bessel functions by their integral, I_n(z) = 1/pi times the integral
// of exp(z cos t) cos nt over 0..pi (Abramowitz & Stegun 9.6.19).
func TestLossAgainstIntegrals(t *testing.T) {
	for _, s := range []float64{0.3, 2, 8, 11.9, 12, 12.1, 20, 45} {
		got := loss(s)
		if want := lossByIntegral(s); cmplx.Abs(got-want) > 2e-8 {
			t.Errorf("s = %g: %v, expected %v", s, got, want)
		}
	}
}

// lossByIntegral is F(s sqrt j) by the trapezoidal rule, which for a periodic
// function errs less than any power of the step.
func lossByIntegral(size float64) complex128 {
	s := complex(size, 0) * cmplx.Sqrt(1i)
	const n = 400
	var i0, i1 complex128
	for k := range n {
		theta := math.Pi * (float64(k) + 0.5) / n
		e := cmplx.Exp(s * complex(math.Cos(theta)-1, 0))
		i0 += e
		i1 += e * complex(math.Cos(theta), 0)
	}
	return 2 * i1 / (s * i0)
}
