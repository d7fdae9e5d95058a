package recording

import (
	"math"
	"math/rand/v2"
	"testing"

	"centwise/catalog/pitch"
)

// sitting is the chromatic range up and down, twice, as somebody plays it: some
// notes left out or played again, each slot off by its tendency and more.
type sitting struct {
	slots []pitch.Slot
	off   []float64 // cents, by note played
}

// sitDown plays: slots scatter by 8 cents about a tendency that is stronger than
// the alignment expects, a note by 3 more, and the horn as a whole by 15.
func sitDown(low, high pitch.Note, passes int, random *rand.Rand) sitting {
	var s sitting
	deviation := map[pitch.Slot]float64{}
	whole := 15 * random.NormFloat64()
	for _, slot := range pitch.UsualSlots(low, high, 3) {
		deviation[slot] = whole + 1.6*tendency(slot) + 8*random.NormFloat64()
	}
	play := func(slot pitch.Slot) {
		s.slots = append(s.slots, slot)
		s.off = append(s.off, deviation[slot]+3*random.NormFloat64())
	}
	for range passes {
		for _, slot := range UpAndDown(low, high, 3) {
			switch x := random.Float64(); {
			case x < 0.03: // left out
			case x < 0.06:
				play(slot)
				play(slot)
			default:
				play(slot)
			}
		}
	}
	return s
}

func (s sitting) hz(i int) float64 { return pitch.Shift((s.slots[i].Note() + bFlat).Hz(440), s.off[i]) }

// Many sittings: no note is taken for another one without a doubt, and hardly any
// is in doubt.
func TestSittingsAreAligned(t *testing.T) {
	notes, doubts := 0, 0
	for seed := range uint64(60) {
		s := sitDown(pitch.RangeLow, pitch.RangeHigh, 2, rand.New(rand.NewPCG(seed, 1)))
		tones := make([]Tone, len(s.slots))
		for i := range tones {
			tones[i].Hz = s.hz(i)
		}
		a := Align([][]Tone{tones}, Expected{Slots: UpAndDown(pitch.RangeLow, pitch.RangeHigh, 3), Transposition: bFlat, A4Hz: 440})
		for i, m := range a.Matches {
			notes++
			switch {
			case !m.Placed || len(m.Others) > 0:
				doubts++
			case m.Slot != s.slots[i]:
				t.Errorf("sitting %d, note %d: %s is taken for %s, %.0f cents off", seed, i+1, s.slots[i].Note(), m.Slot.Note(), m.Cents)
			}
		}
	}
	t.Logf("%d of %d notes in doubt", doubts, notes)
	if notes < 5000 || float64(doubts) > 0.01*float64(notes) {
		t.Errorf("%d of %d notes are in doubt, want at most 1 in 100", doubts, notes)
	}
}

// A sitting from sound to slots, in a room, over noise: every note is heard, and
// deviates by what it was played with.
func TestSittingInARoom(t *testing.T) {
	const each = 1.2
	random := rand.New(rand.NewPCG(4, 1))
	s := sitDown(pitch.RangeLow, 66, 1, random)
	sound := quiet(each*float64(len(s.slots)) + 2)
	for i := range s.slots {
		sing(sound, testRate, heardNote{start: 0.5 + each*float64(i), seconds: 0.98 + 0.1*random.Float64(), hz: s.hz(i), vibrato: 4 * random.Float64(), rate: 5,
			amplitude: 0.1 + 0.15*random.Float64(), attack: 0.02 + 0.03*random.Float64()})
	}
	sound = inRoom(sound, 0.4, 6)
	hiss(sound, 0.003, 8)
	r := listen(t, wavOf(testRate, 16, sound))
	kept := r.Kept()
	if len(kept) != len(s.slots) {
		t.Fatalf("%d notes are played, %d heard:\n  %s", len(s.slots), len(kept), describe(r))
	}
	a := Align([][]Tone{kept}, Expected{Slots: UpAndDown(pitch.RangeLow, 66, 3), Transposition: bFlat, A4Hz: 440})
	for i, m := range a.Matches {
		if m.Slot != s.slots[i] || len(m.Others) > 0 || math.Abs(m.Cents-s.off[i]) > 0.5 {
			t.Errorf("note %d: %s %+.2f cents is taken for %+v", i+1, s.slots[i].Note(), s.off[i], m)
		}
	}
}
