package tuning

import (
	"math"
	"slices"
	"testing"

	"centwise/catalog/pitch"
)

// harmonicProfile makes every resonance of the fingerings an exact multiple of
// the first: its deviation is that of the harmonic series itself (1200 log2 n
// against equal temperament: +1.955 for 3, -13.686 for 5, -31.174 for 7).
func harmonicProfile(s pitch.Slot) (float64, bool) { return pitch.HarmonicCents(s.Partial), true }

func TestExactlyHarmonicIsOne(t *testing.T) {
	for p := 1; p <= pitch.MaxPartial/2; p++ {
		for _, v := range pitch.ThreeValveCombinations {
			got, ok := Support(pitch.Slot{Valves: v, Partial: p}, harmonicProfile)
			if !ok || math.Abs(got-1) > 1e-12 {
				t.Errorf("%s/%d: support %g, %v", v, p, got, ok)
			}
		}
	}
	if got, ok := MeanSupport(usual(), harmonicProfile); !ok || math.Abs(got-1) > 1e-12 {
		t.Errorf("mean support %g, %v", got, ok)
	}
}

// By hand: partial 2 in tune, its octave 25 cents sharp, partial 6 on the exact
// twelfth, partial 8 unknown. Terms: k = 2: 1/2 x 1/sqrt 2; k = 3: 1/3 x 1.
// Support = (0.353553 + 0.333333) / (1/2 + 1/3) = 0.824264.
func TestSupportByHand(t *testing.T) {
	d := map[pitch.Slot]float64{{Partial: 2}: 0, {Partial: 4}: 25, {Partial: 6}: 1.955000865387}
	look := func(s pitch.Slot) (float64, bool) { v, ok := d[s]; return v, ok }
	got, ok := Support(pitch.Slot{Partial: 2}, look)
	if !ok {
		t.Fatal("unknown")
	}
	near(t, "support", got, 0.824264, 1e-6)
	mean, ok := MeanSupport([]pitch.Slot{{Partial: 2}, {Partial: 6}}, look)
	if !ok {
		t.Fatal("mean unknown")
	}
	near(t, "mean over the known", mean, 0.824264, 1e-6)
}

func TestSupportUnknown(t *testing.T) {
	only := func(known ...int) func(pitch.Slot) (float64, bool) {
		return func(s pitch.Slot) (float64, bool) {
			for _, p := range known {
				if s.Partial == p {
					return 0, true
				}
			}
			return 0, false
		}
	}
	for name, c := range map[string]struct {
		partial int
		known   []int
	}{
		"no harmonic measured":     {2, []int{2, 3, 5}},
		"the note itself unknown":  {2, []int{4, 6}},
		"harmonics above the last": {8, []int{8, 9, 10, 11, 12}},
	} {
		if got, ok := Support(pitch.Slot{Partial: c.partial}, only(c.known...)); ok {
			t.Errorf("%s: support %g", name, got)
		}
	}
	if got, ok := MeanSupport(usual(), only()); ok {
		t.Errorf("mean support of nothing is %g", got)
	}
}

// uses says whether the note of a slot uses a resonance: its own, or one that
// carries a harmonic of it. By hand: the note on partial 2 feeds 4, 6 and 8, that
// on 3 feeds 6, 9 and 12, that on 4 feeds 8 and 12, 5 feeds 10, 6 feeds 12.
func uses(note, resonance int) bool {
	feeds := map[int][]int{1: {2, 3, 4}, 2: {4, 6, 8}, 3: {6, 9, 12}, 4: {8, 12}, 5: {10}, 6: {12}}
	return note == resonance && feeds[note] != nil || slices.Contains(feeds[note], resonance)
}

// One mistuned resonance in a harmonic column lowers the support of exactly the
// notes that use it, and of none on other valves.
func TestOneMistunedResonanceLowersTheNotesThatUseIt(t *testing.T) {
	for wrong := 1; wrong <= pitch.MaxPartial; wrong++ {
		for _, off := range []float64{-30, 0.5, 12} {
			mistuned := func(s pitch.Slot) (float64, bool) {
				d, _ := harmonicProfile(s)
				if s.Valves == 1 && s.Partial == wrong {
					d += off
				}
				return d, true
			}
			for p := 1; p <= pitch.MaxPartial/2; p++ {
				same, _ := Support(pitch.Slot{Valves: 1, Partial: p}, mistuned)
				if lowered := same < 1-1e-9; lowered != uses(p, wrong) {
					t.Errorf("resonance %d off by %g: the note on %d has support %.12g", wrong, off, p, same)
				}
				if other, _ := Support(pitch.Slot{Valves: 2, Partial: p}, mistuned); math.Abs(other-1) > 1e-12 {
					t.Errorf("resonance %d of other valves: the note on %d has support %.12g", wrong, p, other)
				}
			}
		}
	}
}
