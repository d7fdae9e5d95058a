package impedance

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"centwise/catalog/pitch"
)

// finds fails unless the resonances are at the given places, within a tolerance
// in cents.
func finds(t *testing.T, what string, found []Resonance, hz []float64, tolerance float64) {
	t.Helper()
	if len(found) != len(hz) {
		t.Errorf("%s: %d resonances, want %d", what, len(found), len(hz))
		return
	}
	for i, r := range found {
		if d := pitch.Cents(r.Hz, hz[i]); !(math.Abs(d) <= tolerance) {
			t.Errorf("%s: the resonance at %.2f Hz is %+.3f cents off, more than %g", what, hz[i], d, tolerance)
		}
	}
}

// A closed cylinder of 1.48 m and radius 5.83 mm in air at 20 C: maxima of |Zin|
// and their heights, 1e7 Pa s/m3. Calculated elsewhere by another program
// (published values, section 5: Zwikker-Kosten losses by Bessel functions,
// non-causal radiation).
func TestCylinder(t *testing.T) {
	want := []struct{ hz, height float64 }{
		{55.76, 6.76}, {169.94, 3.92}, {284.61, 3.04}, {399.47, 2.57}, {514.45, 2.27}, {629.50, 2.06}, {744.62, 1.89}, {859.78, 1.76}, {974.98, 1.66},
	}
	b := bore{{1480, 5.83, 5.83}}
	hz := grid(20, 1030, 1)
	z := b.sweep(hz, 0, 1)
	for form, text := range map[string]string{"magnitude": asMagnitude(hz, z), "complex": asComplex(hz, z)} {
		c := mustRead(t, text)
		found, rejected, within := c.Resonances()
		if len(found) != len(want) || len(rejected) > 0 || within > 0 {
			t.Fatalf("%s: found %v, rejected %v, %d more", form, found, rejected, within)
		}
		for i, w := range want {
			// The list has 0.01 Hz and three digits.
			if math.Abs(found[i].Hz-w.hz) > 0.02 || math.Abs(found[i].Height*c.PaSPerM3/1e7-w.height) > 0.012 {
				t.Errorf("%s: resonance %.3f Hz of %.4g Pa s/m3, want %g and %ge7", form, found[i].Hz, found[i].Height*c.PaSPerM3, w.hz, w.height)
			}
		}
		// Q of the first by hand: k/(2 alpha) with the wide-tube formula of the same
		// list (section 6), alpha = (omega/c)(1.045/rv + 1.080/rv^2) = 0.0396 Np/m at rv
		// = 28.0, k = omega/v = 1.059/m; radiation takes next to nothing: 13.4.
		if q := found[0].Q; math.Abs(q-13.4) > 0.2 {
			t.Errorf("%s: Q %.2f of the first resonance", form, q)
		}
	}
}

// Without noise, whatever the spacing, the maxima of a trumpet are found where a
// search of the exact curve has them. Between high, low maxima the model is a
// little wrong; the standard error allows for it.
func TestTrumpetWithoutNoise(t *testing.T) {
	b := lanternTrumpet(0)
	hz, height := b.tops(50, 1280)
	uneven := []float64{}
	for f, i := 50.0, 0; f < 1280; i++ {
		uneven = append(uneven, f)
		f *= []float64{1.0008, 1.0021, 1.0013}[i%3]
	}
	for what, frequencies := range map[string][]float64{"0.5 Hz": grid(50, 1280, 0.5), "2 Hz": grid(50, 1280, 2), "4 Hz": grid(50, 1280, 4), "uneven": uneven} {
		z := b.sweep(frequencies, 0, 1)
		for form, text := range map[string]string{"magnitude": asMagnitude(frequencies, z), "complex": asComplex(frequencies, z)} {
			c := mustRead(t, text)
			found, _, _ := c.Resonances()
			finds(t, what+" "+form, found, hz, 1)
			low := found[:min(6, len(found))]
			finds(t, what+" "+form+", low ones", low, hz[:len(low)], 0.2)
			for i, r := range found {
				if d := pitch.Cents(r.Hz, hz[i]); math.Abs(d) > 0.02+6*r.SD {
					t.Errorf("%s %s: %.1f Hz is off by %.3f cents, and its standard error is %.3f", what, form, hz[i], d, r.SD)
				}
				if got := r.Height * c.PaSPerM3; math.Abs(got/height[i]-1) > 0.01 {
					t.Errorf("%s %s: height %.4g at %.1f Hz, want %.4g", what, form, got, hz[i], height[i])
				}
			}
		}
	}
}

// With noise, errors are as large as they are said to be: over many sweeps their
// root mean square is the standard error, within what 15 sweeps of 8 resonances
// can tell (about 7 %) and the error of the model.
func TestStandardErrors(t *testing.T) {
	b := lanternTrumpet(0)
	hz, _ := b.tops(150, 1050)
	frequencies := grid(150, 1050, 1.5)
	for form, write := range map[string]func([]float64, []complex128) string{"magnitude": asMagnitude, "complex": asComplex} {
		squares, n, worst := 0.0, 0.0, 0.0
		for seed := range uint64(15) {
			found, _, _ := mustRead(t, write(frequencies, b.sweep(frequencies, 0.01, seed))).Resonances()
			finds(t, form, found, hz, 5)
			for i, r := range found {
				d := pitch.Cents(r.Hz, hz[i]) / r.SD
				squares, n, worst = squares+d*d, n+1, max(worst, math.Abs(d))
			}
		}
		if rms := math.Sqrt(squares / n); rms < 0.8 || rms > 1.3 || worst > 6 {
			t.Errorf("%s: errors are %.2f standard errors on the mean, at most %.1f", form, rms, worst)
		}
	}
}

// A curve that was interpolated to ten times its points is no surer than it was.
func TestInterpolationMakesNothingSurer(t *testing.T) {
	b := lanternTrumpet(0)
	frequencies := grid(150, 800, 2)
	z := b.sweep(frequencies, 0.01, 5)
	var dense []float64
	var between []complex128
	for i := 0; i+1 < len(z); i++ {
		for k := range 10 {
			part := float64(k) / 10
			dense = append(dense, frequencies[i]+part*2)
			between = append(between, z[i]*complex(1-part, 0)+z[i+1]*complex(part, 0))
		}
	}
	plain, _, _ := mustRead(t, asComplex(frequencies, z)).Resonances()
	filled, _, _ := mustRead(t, asComplex(dense, between)).Resonances()
	if len(plain) != len(filled) {
		t.Fatalf("%d resonances, interpolated %d", len(plain), len(filled))
	}
	for i := range plain {
		if filled[i].SD < 0.5*plain[i].SD {
			t.Errorf("%.1f Hz: standard error %.3f cents, interpolated %.3f", plain[i].Hz, plain[i].SD, filled[i].SD)
		}
	}
}

// Noise about a constant has no resonances, falling with frequency or not.
func TestNoResonances(t *testing.T) {
	frequencies := grid(100, 1200, 1)
	for seed := range uint64(5) {
		rng := rand.New(rand.NewPCG(seed, 3))
		z := make([]complex128, len(frequencies))
		for i, f := range frequencies {
			z[i] = complex(4e6*math.Sqrt(500/f)*(1+0.05*rng.NormFloat64()), 2e5*rng.NormFloat64())
		}
		for form, text := range map[string]string{"magnitude": asMagnitude(frequencies, z), "complex": asComplex(frequencies, z)} {
			if found, _, within := mustRead(t, text).Resonances(); len(found) > 0 || within == 0 {
				t.Errorf("%s, seed %d: found %v in noise, %d maxima passed over", form, seed, found, within)
			}
		}
	}
}

// Spikes at multiples of 50 Hz, as from the mains, are named and do not move the
// resonances beside them.
func TestSpikes(t *testing.T) {
	b := lanternTrumpet(0)
	hz, _ := b.tops(150, 1050)
	frequencies := grid(150, 1050, 0.5)
	z := b.sweep(frequencies, 0.003, 2)
	for i, f := range frequencies {
		if math.Mod(f, 50) == 0 {
			z[i] *= 1.8
		}
	}
	for form, text := range map[string]string{"magnitude": asMagnitude(frequencies, z), "complex": asComplex(frequencies, z)} {
		found, rejected, _ := mustRead(t, text).Resonances()
		finds(t, form, found, hz, 2)
		if len(rejected) < 5 {
			t.Errorf("%s: rejected only %v", form, rejected)
		}
		for _, r := range rejected {
			if off := math.Mod(r.Hz+25, 50) - 25; math.Abs(off) > 4 || r.Why == "" {
				t.Errorf("%s: rejected %+v", form, r)
			}
		}
	}
}

// Peaks with few points across them are refused, and it is said why.
func TestTooFewPoints(t *testing.T) {
	b := lanternTrumpet(0)
	hz, _ := b.tops(150, 1050)
	gap := slices.DeleteFunc(grid(150, 1050, 1), func(f float64) bool { return math.Abs(f-hz[1]) < 45 && f != math.Round(hz[1]) })
	_, rejected, _ := mustRead(t, asMagnitude(gap, b.sweep(gap, 0, 1))).Resonances()
	if len(rejected) != 1 || !strings.Contains(rejected[0].Why, "not sure enough") {
		t.Errorf("with one point on a peak: rejected %+v", rejected)
	}
	coarse := grid(150, 1050, 12)
	found, rejected, _ := mustRead(t, asMagnitude(coarse, b.sweep(coarse, 0, 1))).Resonances()
	if len(rejected) == 0 || !strings.Contains(rejected[0].Why, "points around it: more of them may help") {
		t.Errorf("every 12 Hz: found %+v, rejected %+v", found, rejected)
	}
}

// The magnitude between points is that of the curve.
func TestAt(t *testing.T) {
	b := lanternTrumpet(0)
	frequencies := grid(100, 1200, 2)
	c := mustRead(t, asComplex(frequencies, b.sweep(frequencies, 0, 1)))
	at := c.At()
	for _, f := range []float64{151, 233.3, 466.1, 699, 932.4, 1100.5} {
		if got, ok := at(f); !ok || math.Abs(got/cmplx.Abs(b.input(f))-1) > 0.02 {
			t.Errorf("|Z(%g)| = %.4g, %v; want %.4g", f, got, ok, cmplx.Abs(b.input(f)))
		}
	}
	for _, f := range []float64{99, 1201, 5000} {
		if v, ok := at(f); ok {
			t.Errorf("|Z(%g)| = %g outside the curve", f, v)
		}
	}
}
