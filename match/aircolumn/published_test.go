package aircolumn

import (
	"math"
	"testing"

	"centwise/catalog/pitch"
)

// dryAir is air by the constants of Chaigne & Kergomard, Acoustics of Musical
// Instruments, chapter 5, page 241 (from memory).
func dryAir(temperatureC float64) Air {
	t := temperatureC + 273.15
	mu := 1.708e-5 * (1 + 0.0029*temperatureC)
	return Air{
		DensityKgM3: 1.2929 * 273.16 / t, SpeedMS: 331.45 * math.Sqrt(t/273.16), ViscosityPaS: mu,
		HeatRatio: 1.402, Prandtl: mu * 240 / (5.77e-3 * (1 + 0.0033*temperatureC)),
	}
}

func openPeaks(t *testing.T, b Bore, a Air, upTo int) []Resonance {
	t.Helper()
	m, err := New(Instrument{Bore: b}, a)
	if err != nil {
		t.Fatal(err)
	}
	list, err := m.Resonances([]pitch.Valves{0}, upTo)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// Derived: peaks of |Zin| of a cylinder 1.48 m long, r = 5.83 mm, at 20 C, exact
// losses, unflanged end by the fit of Silva et al. 2009, by another program.
func TestLossyCylinder(t *testing.T) {
	hz := []float64{55.76, 169.94, 284.61, 399.47, 514.45, 629.50, 744.62, 859.78, 974.98}
	height := []float64{6.76, 3.92, 3.04, 2.57, 2.27, 2.06, 1.89, 1.76, 1.66} // 1e7 Pa s/m^3
	got := openPeaks(t, Bore{{Tube, 1480, 11.66, 11.66}}, dryAir(20), 9)
	if len(got) != len(hz) {
		t.Fatalf("%d resonances", len(got))
	}
	for i, r := range got {
		if r.Slot.Partial != i+1 || math.Abs(r.FrequencyHz-hz[i]) > 0.0051 || math.Abs(r.Magnitude/1e7-height[i]) > 0.0051 {
			t.Errorf("partial %d: %.3f Hz, %.3fe7; expected %.2f, %.2fe7", r.Slot.Partial, r.FrequencyHz, r.Magnitude/1e7, hz[i], height[i])
		}
	}
}
