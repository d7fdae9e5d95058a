package tuning

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog/pitch"
)

// drawProfile draws deviations of one fingering for the support.
func drawProfile(t *rapid.T) map[pitch.Slot]float64 {
	d := map[pitch.Slot]float64{}
	for p := 1; p <= pitch.MaxPartial; p++ {
		d[pitch.Slot{Partial: p}] = rapid.Float64Range(-40, 40).Draw(t, "d")
	}
	return d
}

func lookIn(d map[pitch.Slot]float64) func(pitch.Slot) (float64, bool) {
	return func(s pitch.Slot) (float64, bool) { v, ok := d[s]; return v, ok }
}

// The farther one resonance lies from the harmonic that it is to carry, on
// either side, the less support there is.
func TestSupportFallsWithMisfit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := pitch.Slot{Partial: rapid.IntRange(1, 6).Draw(t, "partial")}
		d := drawProfile(t)
		before, ok := Support(s, lookIn(d))
		if !ok || before <= 0 || before > 1 {
			t.Fatalf("support %g, %v", before, ok)
		}
		k := rapid.IntRange(2, min(4, pitch.MaxPartial/s.Partial)).Draw(t, "harmonic")
		h, _ := Harmonic(s, k)
		delta := d[h] - d[s] - pitch.HarmonicCents(h.Partial) + pitch.HarmonicCents(s.Partial)
		further := rapid.Float64Range(0.1, 30).Draw(t, "further")
		d[h] += math.Copysign(further, delta)
		after, _ := Support(s, lookIn(d))
		if after >= before {
			t.Fatalf("support rises from %g to %g", before, after)
		}
		d[h] -= 2 * math.Copysign(math.Abs(delta)+further, delta) // as far on the other side
		if other, _ := Support(s, lookIn(d)); math.Abs(other-after) > 1e-9 {
			t.Fatalf("support %g on one side, %g on the other", after, other)
		}
	})
}

// A shift of all deviations on the same valves changes no support.
func TestSupportIgnoresShifts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := pitch.Slot{Partial: rapid.IntRange(1, 6).Draw(t, "partial")}
		d := drawProfile(t)
		before, _ := Support(s, lookIn(d))
		shift := rapid.Float64Range(-50, 50).Draw(t, "shift")
		for slot := range d {
			d[slot] += shift
		}
		if after, _ := Support(s, lookIn(d)); math.Abs(after-before) > 1e-9 {
			t.Fatalf("support %g, shifted by %g it is %g", before, shift, after)
		}
	})
}
