package aircolumn

import (
	"math"
	"math/cmplx"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

func genericSetup(t testing.TB) Setup {
	t.Helper()
	s, err := Generic(catalog.Trumpet, pitch.KeyBb)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

var seven = []pitch.Valves{0, 2, 1, 3, 6, 5, 7} // open, 2, 1, 12, 23, 13, 123

// telegraph integrates the line's two equations from the open end to the rim by
// the Runge-Kutta method of fourth order, with radii straight from the bore and
// losses by the integral of Bessel functions: no cones, no matrices, nothing of
// the solver but the radiation at the end. It is slow.
type telegraph struct {
	bore   Bore
	air    Air
	losses map[[2]float64]complex128
}

func (q *telegraph) loss(size float64) complex128 {
	if size > 40 { // the integrand gets too narrow; 8.451 and 9.7.1 of the tables
		s := complex(size, 0) * cmplx.Sqrt(1i)
		i0, i1, term0, term1 := complex128(1), complex128(1), complex128(1), complex128(1)
		for k := 1; k <= 12; k++ {
			odd := float64((2*k - 1) * (2*k - 1))
			term0 *= complex(odd/float64(8*k), 0) / s
			term1 *= complex((odd-4)/float64(8*k), 0) / s
			i0, i1 = i0+term0, i1+term1
		}
		return 2 * i1 / (s * i0)
	}
	return lossByIntegral(size)
}

// derivative is dp/dx and dU/dx at a radius, x towards the mouth.
func (q *telegraph) derivative(omega, r float64, s state) state {
	key := [2]float64{omega, r}
	layer := r * math.Sqrt(omega*q.air.DensityKgM3/q.air.ViscosityPaS)
	fv, ok := q.losses[key]
	if !ok {
		fv = q.loss(layer)
		q.losses[key] = fv
	}
	thermal := [2]float64{-omega, r}
	ft, ok := q.losses[thermal]
	if !ok {
		ft = q.loss(layer * math.Sqrt(q.air.Prandtl))
		q.losses[thermal] = ft
	}
	area := math.Pi * r * r
	z := complex(0, omega*q.air.DensityKgM3/area) / (1 - fv)
	y := complex(0, omega*area/(q.air.DensityKgM3*q.air.SpeedMS*q.air.SpeedMS)) * (1 + complex(q.air.HeatRatio-1, 0)*ft)
	return state{-z * s.u, -y * s.p}
}

// level is ln|Zin|.
func (q *telegraph) level(hz float64) float64 {
	omega := 2 * math.Pi * hz
	s := state{radiation(q.air, omega, q.bore[len(q.bore)-1].EndMM/2000), 1}
	step := func(s state, d state, h float64) state {
		return state{s.p + complex(h, 0)*d.p, s.u + complex(h, 0)*d.u}
	}
	for i := len(q.bore) - 1; i >= 0; i-- {
		p := q.bore[i]
		length := p.LengthMM / 1000
		if p.Part == Bell {
			length = math.Hypot(length, (p.EndMM-p.StartMM)/2000)
		}
		n := max(4, int(length/0.002))
		h := -length / float64(n)
		for k := range n {
			radius := func(x float64) float64 { // x in steps from the end
				return (p.EndMM + (p.StartMM-p.EndMM)*x/float64(n)) / 2000
			}
			at := float64(k)
			d1 := q.derivative(omega, radius(at), s)
			d2 := q.derivative(omega, radius(at+0.5), step(s, d1, h/2))
			d3 := q.derivative(omega, radius(at+0.5), step(s, d2, h/2))
			d4 := q.derivative(omega, radius(at+1), step(s, d3, h))
			s.p += complex(h/6, 0) * (d1.p + 2*d2.p + 2*d3.p + d4.p)
			s.u += complex(h/6, 0) * (d1.u + 2*d2.u + 2*d3.u + d4.u)
		}
	}
	return math.Log(cmplx.Abs(s.p / s.u))
}

// An independent integration of the line's equations finds the same peaks to
// 0.05 cent: three points at the peak that the model found and 1 cent to either
// side make a parabola, whose top is compared.
func TestAgainstIntegration(t *testing.T) {
	setup := genericSetup(t)
	a, err := MoistAir(22, 0.4)
	if err != nil {
		t.Fatal(err)
	}
	in := setup.Instrument()
	q := &telegraph{bore: in.Bore, air: a, losses: map[[2]float64]complex128{}}
	for _, r := range openPeaks(t, in.Bore, a, 10) {
		switch r.Slot.Partial {
		case 2, 5, 8, 10:
		default:
			continue
		}
		const wide = 1.0
		up, down := q.level(pitch.Shift(r.FrequencyHz, wide)), q.level(pitch.Shift(r.FrequencyHz, -wide))
		middle := q.level(r.FrequencyHz)
		cents := wide / 2 * (down - up) / (down - 2*middle + up)
		if math.Abs(cents) > 0.05 || math.Abs(middle-math.Log(r.Magnitude)) > 2e-4 {
			t.Errorf("partial %d: the integration has its peak %.4f cents beside, height %.6g of %.6g", r.Slot.Partial, cents, math.Exp(middle), r.Magnitude)
		}
	}
}

// Slices twice and five times as fine move no resonance by 0.001 cent.
func TestSlicingConverges(t *testing.T) {
	a := dryAir(25)
	b := genericSetup(t).Instrument().Bore
	coarse := openPeaks(t, b, a, 10)
	for _, everyMM := range []float64{5, 2} {
		fine := openPeaks(t, b.split(everyMM), a, 10)
		for i, r := range coarse {
			if cents := 1200 * math.Log2(fine[i].FrequencyHz/r.FrequencyHz); math.Abs(cents) > 0.001 {
				t.Errorf("slices of %g mm move partial %d by %.5f cents", everyMM, i+1, cents)
			}
		}
	}
}

// A bell of 120 straight walls is that of 640 to 0.1 cent.
func TestWallsOfBell(t *testing.T) {
	h := genericSetup(t).Horn
	bell := func(n int) Bore {
		q := math.Pow(h.MouthMM/h.BoreMM, 1/h.Flare)
		behind := 1 / (q - 1)
		return append(Bore{{Leadpipe, 235, 8.7, 11.68}, {Tube, 600, 11.68, 11.68}}, curve(Bell, h.BellMM, n,
			func(share float64) float64 { return 1 + behind - behind*math.Pow(q, 1-share) },
			func(xi float64) float64 { return h.MouthMM / 2 * math.Pow((1+behind-xi)/behind, -h.Flare) })...)
	}
	coarse, fine := openPeaks(t, bell(bellPieces), dryAir(25), 10), openPeaks(t, bell(640), dryAir(25), 10)
	for i, r := range coarse {
		if cents := 1200 * math.Log2(fine[i].FrequencyHz/r.FrequencyHz); math.Abs(cents) > 0.1 {
			t.Errorf("partial %d moves by %.3f cents", i+1, cents)
		}
	}
}

// Between its points the table is the line itself.
func TestTableIsExact(t *testing.T) {
	m := mustModel(t, genericSetup(t).Instrument(), dryAir(25))
	low, high := m.searchRange(seven, 12)
	table := m.newTable(low, high)
	for _, v := range []pitch.Valves{0, 7} {
		f := fingered{m, table, v}
		for hz := low; hz < high; hz *= 1.013 {
			if got, want := f.level(hz), math.Log(cmplx.Abs(m.Impedance(v, hz))); math.Abs(got-want) > 1e-8 {
				t.Fatalf("valves %v, %.2f Hz: ln|Z| %.12f by the table, %.12f by the line", v, hz, got, want)
			}
		}
	}
}

// A resonance is where the line itself, not the table, has its maximum.
func TestPeaksAreMaxima(t *testing.T) {
	m := mustModel(t, genericSetup(t).Instrument(), dryAir(25))
	list, err := m.Resonances(seven, 10)
	if err != nil {
		t.Fatal(err)
	}
	if len(list) != 70 {
		t.Fatalf("%d resonances, expected 70", len(list))
	}
	for _, r := range list {
		middle := cmplx.Abs(m.Impedance(r.Slot.Valves, r.FrequencyHz))
		if math.Abs(middle/r.Magnitude-1) > 1e-8 {
			t.Errorf("%v: height %g, by the line %g", r.Slot, r.Magnitude, middle)
		}
		// 0.01 cent beside, the curve is lower on both sides by about 2 Q^2 (df/f)^2.
		for _, cents := range []float64{-0.01, 0.01} {
			if beside := cmplx.Abs(m.Impedance(r.Slot.Valves, pitch.Shift(r.FrequencyHz, cents))); beside >= middle {
				t.Errorf("%v: |Z| is higher %g cents beside the peak", r.Slot, cents)
			}
		}
	}
}

// Loops are cylinders at the end of the tube: the same as a longer tube.
func TestLoopsLengthenTheTube(t *testing.T) {
	in := genericSetup(t).Instrument()
	longer := Instrument{Bore: append(Bore{}, in.Bore...)}
	for i := range longer.Bore {
		if longer.Bore[i].Part == Tube {
			longer.Bore[i].LengthMM += in.Loops[0] + in.Loops[2]
		}
	}
	list, err := mustModel(t, in, dryAir(25)).Resonances([]pitch.Valves{5}, 10)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range openPeaks(t, longer.Bore, dryAir(25), 10) {
		if r.Slot.Partial != list[i].Slot.Partial || math.Abs(1200*math.Log2(r.FrequencyHz/list[i].FrequencyHz)) > 1e-4 {
			t.Errorf("%v at %.4f Hz, with a longer tube %.4f", list[i].Slot, list[i].FrequencyHz, r.FrequencyHz)
		}
	}
}

// Where a peak has vanished its number stays free and the others keep theirs:
// the tops of a small horn under a big mouthpiece.
func TestMissingPeaksKeepTheirNumbers(t *testing.T) {
	s, err := Generic(catalog.Piccolo, pitch.KeyBb)
	if err != nil {
		t.Fatal(err)
	}
	list := openPeaks(t, s.Instrument().Bore, dryAir(25), 12)
	for i, r := range list {
		// Up to 9 each lies within a third of a spacing of its multiple of 466/2 Hz,
		// the sounding Bb4; higher ones spread, and by ear nobody counts them.
		if harmonic := float64(r.Slot.Partial) * 233.08; r.Slot.Partial > 1 && r.Slot.Partial <= 9 && math.Abs(r.FrequencyHz-harmonic) > 80 {
			t.Errorf("partial %d at %.1f Hz", r.Slot.Partial, r.FrequencyHz)
		}
		if i > 0 && r.Slot.Partial <= list[i-1].Slot.Partial {
			t.Errorf("partial %d after %d", r.Slot.Partial, list[i-1].Slot.Partial)
		}
	}
	if len(list) == 12 {
		t.Error("no peak is missing: the case tests nothing")
	}
}
