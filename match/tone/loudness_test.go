package tone

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

var rates = []int{8000, 11025, 16000, 22050, 44100, 48000, 88200, 96000, 192000}

// sine gives samples of amplitude a at f Hz.
func sine(rate int, f, a, seconds, phase float64) []float64 {
	out := make([]float64, int(seconds*float64(rate)))
	for i := range out {
		out[i] = a * math.Sin(2*math.Pi*f*float64(i)/float64(rate)+phase)
	}
	return out
}

func loudnessOf(rate int, parts ...[]float64) float64 {
	m := newMeter(rate)
	for _, p := range parts {
		m.write(p)
	}
	return m.loudness()
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %v, want %v within %v", what, got, want, tolerance)
	}
}

// ITU-R BS.1770-4, Annex 1 (from memory): a 0 dB FS sine of 997 Hz (it says 1 kHz in some
// editions) in one front channel reads -3.01 LKFS. At low rates the bilinear
// transform bends the shelf near half the rate, by up to 0.2 dB here.
func TestLoudnessOfTheStandardsSine(t *testing.T) {
	for _, rate := range rates {
		tolerance := 0.01
		if rate < 44100 {
			tolerance = 0.21
		}
		near(t, "loudness", loudnessOf(rate, sine(rate, 997, 1, 5, 0)), -3.01, tolerance)
	}
}

// The shape of K-weighting: about nought at 500 Hz relative to the -0.691 dB that
// the standard takes off at 997 Hz, +4 dB far above, and falling below 100 Hz
// (ITU-R BS.1770-4, figures 2 and 4, from memory: shelf of about 4 dB, high-pass about -6 dB
// near 40 Hz).
func TestLoudnessWeighsFrequencies(t *testing.T) {
	at := func(rate int, f float64) float64 {
		return loudnessOf(rate, sine(rate, f, 1, 5, 0)) - loudnessShift - 10*math.Log10(0.5)
	}
	near(t, "weight at 10 kHz", at(48000, 10000), 4, 0.1)
	near(t, "weight at 38.1 Hz", at(48000, 38.1), -6, 0.1)
	for _, rate := range rates {
		for _, f := range []float64{40, 60, 250, 1000, 2000} {
			near(t, "weight at another rate", at(rate, f), at(48000, f), 0.25)
		}
	}
}

// EBU Tech 3341 (2016), table 1, test signals 1 to 4 (from memory): sines of
// 1 kHz in two channels at -23 and -33 dBFS read -23 and -33 LUFS, and quiet
// parts before and after are gated out. One channel reads 3.01 less.
func TestLoudnessIsGated(t *testing.T) {
	const rate, one = 48000, 3.01
	level := func(db, seconds float64) []float64 { return sine(rate, 1000, math.Pow(10, db/20), seconds, 0) }
	near(t, "signal 1", loudnessOf(rate, level(-23, 20)), -23-one, 0.1)
	near(t, "signal 2", loudnessOf(rate, level(-33, 20)), -33-one, 0.1)
	near(t, "signal 3", loudnessOf(rate, level(-36, 10), level(-23, 60), level(-36, 10)), -23-one, 0.1)
	near(t, "signal 4", loudnessOf(rate, level(-72, 10), level(-36, 10), level(-23, 60), level(-36, 10), level(-72, 10)), -23-one, 0.1)
}

func TestLoudnessOfLittle(t *testing.T) {
	if got := loudnessOf(48000); !math.IsInf(got, -1) {
		t.Errorf("nothing has loudness %v", got)
	}
	if got := loudnessOf(48000, make([]float64, 48000)); !math.IsInf(got, -1) {
		t.Errorf("silence has loudness %v", got)
	}
	near(t, "a quarter of a second", loudnessOf(48000, sine(48000, 997, 1, 0.25, 0)), -3.01, 0.05)
}

// Twice the amplitude is 6.02 dB louder, whatever the blocks that the sound comes in.
func TestLoudnessScales(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rate := rapid.SampledFrom(rates[:6]).Draw(t, "rate")
		x := sine(rate, rapid.Float64Range(100, 3000).Draw(t, "hz"), 0.2, rapid.Float64Range(0.05, 2).Draw(t, "seconds"), 0)
		cut := rapid.IntRange(0, len(x)).Draw(t, "cut")
		doubled := make([]float64, len(x))
		for i := range x {
			doubled[i] = 2 * x[i]
		}
		a, b := loudnessOf(rate, x), loudnessOf(rate, doubled[:cut], doubled[cut:])
		if math.Abs(b-a-20*math.Log10(2)) > 1e-9 {
			t.Fatalf("%v, doubled %v", a, b)
		}
	})
}

// peakOf is the true peak of samples that are faded in and out, in dB.
func peakOf(samples []float64) float64 {
	const fade = 500
	for i := range min(fade, len(samples)/2) {
		samples[i] *= raisedCosine(float64(i), fade)
		samples[len(samples)-1-i] *= raisedCosine(float64(i), fade)
	}
	m := &peakMeter{}
	m.write(samples)
	return m.level()
}

// EBU Tech 3341 (2016), test signals 15 to 17 (from memory): a sine of a quarter
// of the rate, amplitude 0.5, reads -6.0 dBTP within +0.2 and -0.4 at phases 0,
// 45 and, at a sixth of the rate, 60 degrees, though its samples reach -9.0 only.
func TestTruePeakBetweenSamples(t *testing.T) {
	for _, c := range []struct{ divisor, degrees float64 }{{4, 0}, {4, 45}, {6, 60}, {8, 67.5}} {
		got := peakOf(sine(48000, 48000/c.divisor, 0.5, 1, c.degrees*math.Pi/180))
		if got > -5.8 || got < -6.4 {
			t.Errorf("1/%g of the rate at %g degrees: %v dB", c.divisor, c.degrees, got)
		}
	}
}

// The phases of the filter give the values between two samples.
func TestPeakPhases(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		share := rapid.Float64Range(0.001, 0.43).Draw(t, "share of the rate")
		at := func(x float64) float64 { return math.Sin(2 * math.Pi * share * x) }
		for p, taps := range peakPhases {
			sum := 0.0
			for i, c := range taps {
				sum += c * at(100-float64(i))
			}
			if want := at(100 - peakTaps/2 + float64(p+1)/4); math.Abs(sum-want) > 0.003 {
				t.Fatalf("phase %d gives %v, want %v", p, sum, want)
			}
		}
	})
}

// A sine of any frequency in the band is read between 0.1 dB above its amplitude
// and what four samples a step may miss: cos(pi f / (4 rate)) of it.
func TestTruePeakOfAnySine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		share := rapid.Float64Range(0.001, 0.43).Draw(t, "share of the rate")
		got := peakOf(sine(48000, share*48000, 1, 0.2, rapid.Float64Range(0, 6.3).Draw(t, "phase")))
		if low := 20*math.Log10(math.Cos(math.Pi*share/oversampling)) - 0.1; got < low || got > 0.1 {
			t.Fatalf("%v dB, want at least %v", got, low)
		}
	})
}

func TestTruePeakIsNeverBelowTheSamples(t *testing.T) {
	m := &peakMeter{}
	m.write([]float64{0, 0, -0.5})
	if got := m.level(); got < 20*math.Log10(0.5) {
		t.Errorf("a last sample of -0.5 gives %v dB", got)
	}
	if got := peakOf(make([]float64, 100)); !math.IsInf(got, -1) {
		t.Errorf("silence peaks at %v dB", got)
	}
}
