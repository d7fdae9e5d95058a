package aircolumn

import (
	"math"
	"math/cmplx"
	"testing"

	"centwise/catalog/pitch"
)

// dryAir is air by the constants of Chaigne & Kergomard, Acoustics of Musical
// Instruments, chapter 5, page 241 (from memory).
func dryAir(temperatureC float64) Air {
	mu := 1.708e-5 * (1 + 0.0029*temperatureC)
	return Air{
		DensityKgM3: 1.2929 * 273.16 / (temperatureC + 273.15), SpeedMS: 331.45 * math.Sqrt((temperatureC+273.15)/273.16), ViscosityPaS: mu,
		HeatRatio: 1.402, Prandtl: mu * 240 / (5.77e-3 * (1 + 0.0033*temperatureC)),
	}
}

// lossless is air without viscosity and heat conduction.
func lossless(a Air) Air {
	a.ViscosityPaS, a.HeatRatio = 1e-30, 1
	return a
}

func mustModel(t testing.TB, in Instrument, a Air) *Model {
	t.Helper()
	m, err := New(in, a)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func openPeaks(t testing.TB, b Bore, a Air, upTo int) []Resonance {
	t.Helper()
	list, err := mustModel(t, Instrument{Bore: b}, a).Resonances([]pitch.Valves{0}, upTo)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// Kemp's trumpet bell, cut behind the valves: J. A. Kemp, Theoretical and
// experimental study of wave propagation in brass musical instruments, PhD,
// University of Edinburgh 2002, table 4.1. Radius in mm at z in cm.
var kempZ = []float64{0, 0.2, 0.7, 7.0, 11.02, 11.87, 16.21, 20.73, 25.0, 29.7, 34.5, 36.9, 39.0, 42.5, 45.4, 48.2, 49.7, 50.4}
var kempR = []float64{6.8, 6.5, 6.5, 6.5, 6.5, 6.72, 7.32, 8.25, 9.12, 10.07, 11.7, 12.7, 13.7, 16.2, 19.8, 32.7, 47.5, 64.5}

// kempBell has straight walls between the points; as tube, so that the axis is
// axial, as in the calculations below.
func kempBell() Bore {
	var b Bore
	for i := range len(kempZ) - 1 {
		b = append(b, Piece{Tube, 10 * (kempZ[i+1] - kempZ[i]), 2 * kempR[i], 2 * kempR[i+1]})
	}
	return b
}

// Derived by another program (1,000 slices, exact losses, unflanged end by the
// fit of Silva et al. 2009), air at 20 C by the constants of dryAir. The bell's
// fourth peak moves by 0.5 Hz from 500 to 1,000 slices there, and 0.2 to 2,000.
func TestAgainstAnotherProgram(t *testing.T) {
	a := dryAir(20)
	for _, tc := range []struct {
		name      string
		bore      Bore
		air       Air
		hz        []float64
		tolerance float64
	}{
		{"lossless cylinder", Bore{{Tube, 1480, 11.66, 11.66}}, lossless(a),
			[]float64{57.86, 173.58, 289.30, 405.03, 520.75, 636.47, 752.19, 867.92, 983.64}, 0.02},
		{"cylinder", Bore{{Tube, 1480, 11.66, 11.66}}, a,
			[]float64{55.76, 169.94, 284.61, 399.47, 514.45, 629.50, 744.62, 859.78, 974.98}, 0.0051},
		{"Kemp's bell", kempBell(), a, []float64{266.3, 576.8, 914.1, 1260.0}, 0.5},
		{"Kemp's bell, lossless", kempBell(), lossless(a), []float64{269.2, 581.0, 919.3, 1266.4}, 0.5},
		{"cylinder and Kemp's bell", append(Bore{{Tube, 976, 11.66, 11.66}}, kempBell()...), a,
			[]float64{69.2, 202.5, 316.9, 427.8, 541.3, 655.6, 777.5, 888.9, 997.1, 1121.4, 1237.2}, 0.2},
		{"cone", Bore{{Tube, 500, 10, 30}}, a, []float64{243.92, 542.38, 864.06, 1193.35, 1525.88}, 0.1},
	} {
		got := openPeaks(t, tc.bore, tc.air, len(tc.hz))
		if len(got) != len(tc.hz) {
			t.Errorf("%s: %d resonances instead of %d", tc.name, len(got), len(tc.hz))
			continue
		}
		for i, r := range got {
			if r.Slot.Partial != i+1 || math.Abs(r.FrequencyHz-tc.hz[i]) > tc.tolerance {
				t.Errorf("%s, partial %d: %.3f Hz, expected %.2f", tc.name, r.Slot.Partial, r.FrequencyHz, tc.hz[i])
			}
		}
	}
}

// Heights of the lossy cylinder's peaks, from the same program.
func TestHeightOfPeaks(t *testing.T) {
	want := []float64{6.76, 3.92, 3.04, 2.57, 2.27, 2.06, 1.89, 1.76, 1.66} // 1e7 Pa s/m^3
	for i, r := range openPeaks(t, Bore{{Tube, 1480, 11.66, 11.66}}, dryAir(20), 9) {
		if math.Abs(r.Magnitude/1e7-want[i]) > 0.0051 {
			t.Errorf("partial %d: %.4fe7, expected %.2fe7", i+1, r.Magnitude/1e7, want[i])
		}
	}
}

// In a lossy cylinder the wave decays by exp(-alpha x), so that its resonances
// have Q = omega/(2 alpha v) (textbook) less what radiation takes, which for
// this narrow pipe is a few per cent at most.
func TestQualityOfCylinder(t *testing.T) {
	a := dryAir(20)
	for _, r := range openPeaks(t, Bore{{Tube, 1480, 11.66, 11.66}}, a, 6) {
		at := a.at(r.FrequencyHz)
		z, y := at.constants(0.00583)
		gamma := cmplx.Sqrt(z * y)
		if want := imag(gamma) / (2 * real(gamma)); math.Abs(r.Q/want-1) > 0.04 {
			t.Errorf("partial %d: Q = %.2f, expected %.2f", r.Slot.Partial, r.Q, want)
		}
	}
}

// Derived from the formulas of Cramer 1993 (J. Acoust. Soc. Am. 93, 2510-2516),
// m/s at 101,325 Pa with 400 ppm of carbon dioxide: t in C, dry, 50 %, 100 %.
func TestSpeedOfSound(t *testing.T) {
	for _, row := range [][4]float64{
		{0, 331.448, 331.604, 331.759}, {10, 337.459, 337.781, 338.103}, {20, 343.359, 343.987, 344.613},
		{25, 346.268, 347.127, 347.984}, {30, 349.148, 350.310, 351.469},
	} {
		for k, humidity := range []float64{0, 0.5, 1} {
			a, err := MoistAir(row[0], humidity)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(a.SpeedMS-row[k+1]) > 0.00051 {
				t.Errorf("%g C, humidity %g: %.4f m/s, expected %.3f", row[0], humidity, a.SpeedMS, row[k+1])
			}
		}
	}
}

// Density and viscosity of dry air at 20 C and one atmosphere: 1.2041 kg/m^3 and
// 1.81e-5 Pa s (handbook values, from memory); Pr = 0.71.
func TestDryAir(t *testing.T) {
	a, err := MoistAir(20, 0)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(a.DensityKgM3-1.2041) > 0.002 || math.Abs(a.ViscosityPaS-1.81e-5) > 0.02e-5 || math.Abs(a.Prandtl-0.71) > 0.01 {
		t.Errorf("%+v", a)
	}
	moist, _ := MoistAir(20, 1)
	if moist.DensityKgM3 >= a.DensityKgM3 {
		t.Error("moist air is lighter than dry air")
	}
}

// "About three cents per degree C" (a brass player's teaching page); 3.14 at
// 20 C and 50 % humidity by Cramer's formula.
func TestTemperature(t *testing.T) {
	peaks := map[float64][]Resonance{}
	for _, celsius := range []float64{19.5, 20.5} {
		a, err := MoistAir(celsius, 0.5)
		if err != nil {
			t.Fatal(err)
		}
		peaks[celsius] = openPeaks(t, append(Bore{{Tube, 976, 11.66, 11.66}}, kempBell()...), a, 8)
	}
	for i, cold := range peaks[19.5] {
		if cents := 1200 * math.Log2(peaks[20.5][i].FrequencyHz/cold.FrequencyHz); math.Abs(cents-3.14) > 0.15 {
			t.Errorf("partial %d rises by %.2f cents a degree", i+1, cents)
		}
	}
}

func TestAirIsRefused(t *testing.T) {
	for _, tc := range [][2]float64{{60, 0.5}, {-20, 0.5}, {20, 1.1}, {20, -0.1}, {math.NaN(), 0}, {20, math.NaN()}} {
		if _, err := MoistAir(tc[0], tc[1]); err == nil {
			t.Errorf("%g C with humidity %g was taken", tc[0], tc[1])
		}
	}
}

// keefeAir is air at 20 C by Keefe 1984, J. Acoust. Soc. Am. 75, 58-62 (from
// memory).
func keefeAir() Air {
	const d = 20 - 26.85
	nu := 0.8410 * (1 - 0.0002*d)
	return Air{
		SpeedMS: 347.23 * (1 + 0.00166*d), DensityKgM3: 1.1769 * (1 - 0.00335*d), ViscosityPaS: 1.846e-5 * (1 + 0.0025*d),
		HeatRatio: 1.4017 * (1 - 0.00002*d), Prandtl: nu * nu,
	}
}

// Derived: attenuation, phase velocity and characteristic impedance of round
// tubes with exact losses, Keefe's air at 20 C, by another program.
func TestLossesOfTubes(t *testing.T) {
	for _, tc := range []struct {
		radiusMM, hz, alpha, v float64
		zc                     complex128
	}{
		{5.80, 100, 0.05249, 333.971, 1.00986 - 0.01069i},
		{5.80, 233.08, 0.07937, 337.124, 1.00646 - 0.00682i},
		{5.80, 932.33, 0.15730, 340.174, 1.00323 - 0.00332i},
		{1.83, 233.08, 0.26173, 324.533, 1.02043 - 0.02407i},
		{1.83, 932.33, 0.50848, 333.628, 1.01024 - 0.01113i},
	} {
		a := keefeAir()
		at := a.at(tc.hz)
		z, y := at.constants(tc.radiusMM / 1000)
		gamma, zc := cmplx.Sqrt(z*y), cmplx.Sqrt(z/y)/complex(a.DensityKgM3*a.SpeedMS, 0)
		if math.Abs(real(gamma)/tc.alpha-1) > 2e-4 || math.Abs(at.omega/imag(gamma)/tc.v-1) > 3e-6 || cmplx.Abs(zc-tc.zc) > 2e-5 {
			t.Errorf("%g mm at %g Hz: alpha %.5f, v %.3f, Zc %.5f; expected %v", tc.radiusMM, tc.hz, real(gamma), at.omega/imag(gamma), zc, tc)
		}
	}
}

// The integrals of Levine & Schwinger 1948 (Phys. Rev. 73, 383-406) by
// quadrature: |R| and l/a at ka. Quadrature and fit agree to 0.003 and 1.1 %.
func TestRadiationOfPipe(t *testing.T) {
	for _, row := range [][3]float64{
		{0.1, 0.99507, 0.611}, {0.3, 0.95868, 0.600}, {0.5, 0.89644, 0.582}, {1.0, 0.69510, 0.528},
		{1.5, 0.50079, 0.472}, {2.0, 0.34618, 0.417}, {3.0, 0.15433, 0.308},
	} {
		r := openEnd(row[0])
		if math.Abs(cmplx.Abs(r)-row[1]) > 0.003 {
			t.Errorf("ka = %g: |R| = %.5f, expected %.5f", row[0], cmplx.Abs(r), row[1])
		}
		if l := endCorrection(row[0] * row[0]); math.Abs(l/row[2]-1) > 0.025 {
			t.Errorf("ka = %g: l/a = %.4f, expected %.3f", row[0], l, row[2])
		}
	}
}

// At low frequencies Re Z/Zc = (ka)^2/4 and Im Z/Zc = 0.6133 ka (Levine &
// Schwinger 1948).
func TestRadiationAtLowFrequencies(t *testing.T) {
	a := dryAir(20)
	const ka, radius = 0.01, 0.06
	z := radiation(a, ka*a.SpeedMS/radius, radius) / complex(a.DensityKgM3*a.SpeedMS/(math.Pi*radius*radius), 0)
	if math.Abs(real(z)/(ka*ka/4)-1) > 1e-3 || math.Abs(imag(z)/ka/0.6133-1) > 1e-4 {
		t.Errorf("Z/Zc = %g at ka = %g", z, ka)
	}
}
