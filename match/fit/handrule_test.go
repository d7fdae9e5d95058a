package fit

import (
	"math"
	"testing"

	"centwise/catalog/pitch"
)

// What a careful person does by hand: one player measures a horn with the
// reference mouthpiece, the reference horn with it, and the reference horn with
// another mouthpiece; the horn with the other mouthpiece is
//
//	horn's vector + (mouthpiece's vector - reference mouthpiece's vector).
//
// With the session terms, the wiggle and the interaction off the fit comes to
// just that as the noise goes to zero, on every slot, whatever the profiles:
// what is missing shrinks with the square of the noise, about 250 noise^2 for
// profiles of 12 cents, until rounding stops it near 1e-7 cents of noise.
func TestHandRule(t *testing.T) {
	slots := StandardSlots()
	for seed := range uint64(4) {
		rng := seeded(seed)
		horn, reference, other := randomProfile(rng, len(slots), 12), randomProfile(rng, len(slots), 12), randomProfile(rng, len(slots), 12)
		d := rig(t, horn, reference, other)
		want, change := make([]float64, len(slots)), make([]float64, len(slots))
		for j := range slots {
			want[j] = horn[j] + other[j] - reference[j]
			change[j] = other[j] - reference[j]
		}
		for _, tc := range []struct{ noise, tolerance float64 }{{1e-3, 1e-3}, {1e-4, 1e-5}, {1e-6, 1e-9}} {
			m := solved(t, handRule(d, tc.noise), plan{draws: 4, tolerance: 1e-12, drawTolerance: 1e-12, limit: 5000}, true)
			if !m.Report.Exact {
				t.Fatal("not solved exactly")
			}
			got := predict(t, m, setup("Alder", "Dunlin 16.6", "reed-otter"), slots)
			if off := centredDistance(slots, got.Mean, want); off > tc.tolerance {
				t.Errorf("seed %d, noise %g: the prediction is %.2g cents from the sum of vectors", seed, tc.noise, off)
			}
			// Any player: what the mouthpiece changes.
			after, before := predict(t, m, setup("Alder", "Dunlin 16.6", ""), slots), predict(t, m, setup("Alder", "Plover 16.2", ""), slots)
			for j := range slots {
				after.Mean[j] -= before.Mean[j]
			}
			if off := centredDistance(slots, after.Mean, change); off > tc.tolerance {
				t.Errorf("seed %d, noise %g: the mouthpieces differ by %.2g cents from the difference of their vectors", seed, tc.noise, off)
			}
			for j, x := range got.Pair {
				if x != 0 {
					t.Fatalf("slot %s: the pair's share is %g though the interaction is off", slots[j], x)
				}
			}
		}
	}
}

// The rule comes from the zero noise: with ordinary noise the fit shrinks.
func TestHandRuleNeedsQuietReadings(t *testing.T) {
	slots := StandardSlots()
	rng := seeded(9)
	horn, reference, other := randomProfile(rng, len(slots), 12), randomProfile(rng, len(slots), 12), randomProfile(rng, len(slots), 12)
	m := solved(t, handRule(rig(t, horn, reference, other), 4), plan{draws: 4, tolerance: 1e-9, drawTolerance: 1e-9, limit: 1000}, true)
	got := predict(t, m, setup("Alder", "Dunlin 16.6", "reed-otter"), slots)
	sum := make([]float64, len(slots))
	for j := range slots {
		sum[j] = horn[j] + other[j] - reference[j]
	}
	if off := centredDistance(slots, got.Mean, sum); off < 1 {
		t.Errorf("with noise of 4 cents the prediction is still within %.2g cents of the plain sum", off)
	}
}

// rig is the three sessions of the rule: reference horn Rowan, reference
// mouthpiece Plover 16.2.
func rig(t *testing.T, horn, reference, other []float64) *Data {
	s := newShelf([]string{"Alder", "Rowan"}, []string{"Plover 16.2", "Dunlin 16.6"}, []string{"reed-otter"})
	at := func(v []float64) func(j int) float64 { return func(j int) float64 { return v[j] } }
	s.measure("Alder", "Plover 16.2", "reed-otter", StandardSlots(), at(horn))
	s.measure("Rowan", "Plover 16.2", "reed-otter", StandardSlots(), at(reference))
	s.measure("Rowan", "Dunlin 16.6", "reed-otter", StandardSlots(), at(other))
	return s.load(t)
}

// handRule is an engine with everything off but horns, mouthpieces and players
// slot by slot.
func handRule(d *Data, noise float64) *engine {
	c := DefaultComponents(len(d.Sources))
	c.Offset, c.Slide, c.Correlation, c.Wiggle, c.Interaction, c.GrossShare = 0, 0, 0, 0, 0, 0
	for i := range c.SourceNoise {
		c.SourceNoise[i] = noise
	}
	c.factorSession()
	return newEngine(d, c, 1, true)
}

// centredDistance is the greatest distance of two profiles, their means over
// the usual notes removed.
func centredDistance(slots []pitch.Slot, a, b []float64) float64 {
	mean := func(v []float64) float64 {
		sum := 0.0
		for _, u := range usualSlots() {
			for j, s := range slots {
				if s == u {
					sum += v[j]
				}
			}
		}
		return sum / float64(len(usualSlots()))
	}
	ma, mb, worst := mean(a), mean(b), 0.0
	for j := range a {
		worst = math.Max(worst, math.Abs(a[j]-ma-b[j]+mb))
	}
	return worst
}
