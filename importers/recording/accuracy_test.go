package recording

import (
	"math"
	"testing"

	"centwise/catalog/pitch"
)

// The pitches that the targets name, in Hz.
var targetPitches = []float64{150, 164.81, 187.3, 233.08, 277.2, 349.9, 440, 523.25, 587.7, 698.46, 880, 1046.5, 1174.66, 1396.9, 1400}

// Extent and rate of vibratos, slow and fast.
func TestVibratoIsMeasured(t *testing.T) {
	for _, rate := range []float64{4, 5.5, 7, 8.5} {
		for _, hz := range []float64{164.81, 440, 1046.5} {
			sound := make([]float64, 2*22050)
			sing(sound, 22050, heardNote{start: 0.2, seconds: 1.6, hz: hz, vibrato: 15, rate: rate, amplitude: 0.2})
			kept := listen(t, wavOf(22050, 16, sound)).Kept()
			if len(kept) != 1 || math.Abs(kept[0].VibratoCents-15) > 0.3 || math.Abs(kept[0].VibratoHz-rate) > 0.05 {
				t.Errorf("%.0f Hz, 15 cents at %g Hz: heard %+v", hz, rate, kept)
			}
		}
	}
}

// heardCents is how far off the one tone of a sound is heard.
func heardCents(t *testing.T, sound []float64, rate, bits int, hz float64) float64 {
	t.Helper()
	kept := listen(t, wavOf(rate, bits, sound)).Kept()
	if len(kept) != 1 {
		t.Fatalf("%.1f Hz: %d tones heard, want 1", hz, len(kept))
	}
	return pitch.Cents(kept[0].Hz, hz)
}

// Clean steady tones, whose pitch is known: within 0.05 cents, from the lowest
// rate to the highest.
func TestCleanTones(t *testing.T) {
	for _, rate := range []int{8000, 11025, 16000, 22050, 44100, 48000, 96000, 192000} {
		pitches := targetPitches
		if rate > 48000 {
			pitches = []float64{150, 440, 1400}
		}
		for _, hz := range pitches {
			sound := make([]float64, int(1.4*float64(rate)))
			sing(sound, rate, heardNote{start: 0.2, seconds: 1, hz: hz, amplitude: 0.3})
			if off := heardCents(t, sound, rate, 24, hz); math.Abs(off) > 0.05 {
				t.Errorf("%.2f Hz at %d samples a second: heard %+.3f cents off", hz, rate, off)
			}
		}
	}
}

// Tones with vibrato of 15 cents at 5.5 Hz under noise 20 dB below them: over
// many of them the bias is below 0.3 cents and the standard deviation below 0.5,
// at each pitch.
func TestVibratoInNoise(t *testing.T) {
	const rate, tries = 22050, 6
	for _, hz := range targetPitches {
		sum, squares := 0.0, 0.0
		for k := range uint64(tries) {
			seconds := 1.2 + 0.13*float64(k)
			sound := make([]float64, int((seconds+0.4)*rate))
			sing(sound, rate, heardNote{start: 0.2, seconds: seconds, hz: hz, vibrato: 15, rate: 5.5, amplitude: 0.2})
			hiss(sound, 0.1*rms(sound[rate/2:rate]), k)
			off := heardCents(t, sound, rate, 16, hz)
			sum, squares = sum+off, squares+off*off
		}
		bias := sum / tries
		sd := math.Sqrt(squares/tries - bias*bias)
		t.Logf("%.1f Hz: bias %+.3f, sd %.3f cents", hz, bias, sd)
		if math.Abs(bias) > 0.3 || sd > 0.5 {
			t.Errorf("%.1f Hz: bias %+.3f, standard deviation %.3f cents; want below 0.3 and 0.5", hz, bias, sd)
		}
	}
}
