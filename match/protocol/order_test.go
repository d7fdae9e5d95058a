package protocol_test

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog/pitch"
	"centwise/match/fit"
	"centwise/match/protocol"
)

// anySlots draws slots whose neighbours are at most half an octave apart.
func anySlots() *rapid.Generator[[]pitch.Slot] {
	return rapid.Custom(func(t *rapid.T) []pitch.Slot {
		note := pitch.Note(rapid.IntRange(54, 70).Draw(t, "lowest"))
		var out []pitch.Slot
		for range rapid.IntRange(1, 45).Draw(t, "slots") {
			if all := pitch.SlotsFor(note, 3); len(all) > 0 {
				s := rapid.SampledFrom(all).Draw(t, "slot")
				if !slices.Contains(out, s) {
					out = append(out, s)
				}
			}
			if note += pitch.Note(rapid.IntRange(0, 6).Draw(t, "step")); note > pitch.TopUsual {
				break
			}
		}
		if len(out) == 0 {
			out = []pitch.Slot{{Partial: 2}}
		}
		return out
	})
}

func singable(t interface{ Fatalf(string, ...any) }, rounds [][]pitch.Slot, slots []pitch.Slot) {
	want := slices.SortedFunc(slices.Values(slots), pitch.Slot.Compare)
	var before *pitch.Slot
	for k, round := range rounds {
		if got := slices.SortedFunc(slices.Values(round), pitch.Slot.Compare); !reflect.DeepEqual(got, want) {
			t.Fatalf("round %d has the slots %v, not %v", k, got, want)
		}
		for i := range round {
			if before != nil {
				if d := int(before.Note() - round[i].Note()); d > 12 || d < -12 {
					t.Fatalf("round %d leaps %d semitones from %s to %s", k, d, before.Note(), round[i].Note())
				}
			}
			before = &round[i]
		}
	}
}

func TestRoundsAreSingable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		slots := anySlots().Draw(t, "slots")
		n, seed := rapid.IntRange(1, 4).Draw(t, "rounds"), rapid.Int64().Draw(t, "seed")
		rounds := protocol.Rounds(slots, n, seed)
		singable(t, rounds, slots)
		// The same again, from slots in another order; and rounds that follow
		// change nothing before them.
		mixed := slices.Clone(slots)
		rand.Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
		if again := protocol.Rounds(mixed, n+1, seed); !reflect.DeepEqual(again[:n], rounds) {
			t.Fatalf("another order: %v, not %v", again, rounds)
		}
	})
}

// The notes that people measure: begun in the middle, no note twice in a row,
// and no order that follows the scale.
func TestRoundsOfUsualNotes(t *testing.T) {
	usual := pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3)
	all := slices.SortedFunc(slices.Values(fit.StandardSlots()), pitch.Slot.Compare)
	for _, slots := range [][]pitch.Slot{usual, all, usual[8:20]} {
		steps, pairs, seen := 0, 0, map[string]bool{}
		for seed := range int64(60) {
			rounds := protocol.Rounds(slots, 3, seed)
			singable(t, rounds, slots)
			if n := rounds[0][0].Note(); n < 60 || n > 72 {
				t.Errorf("seed %d begins on %s", seed, n)
			}
			for k, round := range rounds {
				if n := longestStay(round, slots); n > 6 {
					t.Errorf("seed %d of %d slots: %d notes of round %d in one half of the compass", seed, len(slots), n, k+1)
				}
			}
			flat := slices.Concat(rounds...)
			for i := 1; i < len(flat); i++ {
				d := int(flat[i].Note() - flat[i-1].Note())
				if d == 0 {
					t.Errorf("seed %d of %d slots: %s twice in a row", seed, len(slots), flat[i].Note())
				}
				if d == 1 || d == -1 {
					steps++
				}
				pairs++
			}
			seen[fmt.Sprint(flat)] = true
		}
		// Of the notes within an octave of a note, 2 of 24 are its neighbours.
		if share := float64(steps) / float64(pairs); share > 0.2 || len(seen) != 60 {
			t.Errorf("%d slots: %.2f of the steps are semitones, %d different orders of 60", len(slots), share, len(seen))
		}
	}
}

// longestStay is how many slots in a row lie in one half of the compass.
func longestStay(round, slots []pitch.Slot) (longest int) {
	middle := slots[(len(slots)-1)/2].Note()
	n := 0
	for i := range round {
		if i > 0 && (round[i].Note() > middle) != (round[i-1].Note() > middle) {
			n = 0
		}
		n++
		longest = max(longest, n)
	}
	return longest
}

// Every slot comes early and late alike.
func TestRoundsFavourNoSlot(t *testing.T) {
	usual := pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3)
	const seeds = 200
	sum := map[pitch.Slot]float64{}
	for seed := range int64(seeds) {
		for i, s := range protocol.Rounds(usual, 2, seed)[1] {
			sum[s] += float64(i) / seeds
		}
	}
	for _, s := range usual {
		// 15 expected. The lowest and highest are often at an end, which may be
		// either; the standard error of such a mean is below 0.7.
		if sum[s] < 11 || sum[s] > 19 {
			t.Errorf("%s comes at place %.1f on average, want about 15", s.Note(), sum[s])
		}
	}
}

// Forms that were printed once are typed in with the seed on them, so orders
// must never change.
func TestRoundsStayAsTheyAre(t *testing.T) {
	var notes []string
	for _, s := range protocol.Rounds(pitch.UsualSlots(60, 72, 3), 2, 4711)[1] {
		notes = append(notes, s.Note().String())
	}
	const want = "C#4 F4 E4 Ab4 G4 Eb4 D4 C4 B4 C5 Bb4 A4 F#4"
	if got := strings.Join(notes, " "); got != want {
		t.Errorf("seed 4711 gives %s, want %s", got, want)
	}
}

func TestRoundsOfNothing(t *testing.T) {
	if got := protocol.Rounds(nil, 2, 1); len(got) != 2 || len(got[0]) != 0 {
		t.Errorf("%v", got)
	}
	if got := protocol.Rounds([]pitch.Slot{{Partial: 2}}, 0, 1); len(got) != 0 {
		t.Errorf("%v", got)
	}
}
