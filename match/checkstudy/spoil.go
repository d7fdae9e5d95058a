package main

import (
	"math/rand/v2"

	"centwise/catalog/pitch"
	"centwise/match"
	"centwise/match/fit/simulate"
)

// treatment is what is done to a session that was cut.
type treatment struct {
	name  string
	kind  string     // of the finding that would be right, "" = none
	shift pitch.Note // semitones by which notes are entered too high
	flip  bool
}

// right leaves a session as it is.
var right = treatment{name: "right"}

// treatments are the ways to enter a session wrongly.
var treatments = []treatment{
	{name: "sharp and flat swapped", kind: match.FindSignFlipped, flip: true},
	{name: "2 semitones too high", kind: match.FindWrongKey, shift: 2},
	{name: "2 semitones too low", kind: match.FindWrongKey, shift: -2},
	{name: "1 semitone too high", kind: match.FindWrongKey, shift: 1},
	{name: "1 semitone too low", kind: match.FindWrongKey, shift: -1},
}

// spoil cuts a share of a world's sessions to so many notes, every second of them
// wrongly entered, one way after the other, and tells by place which.
func spoil(w *simulate.World, notes int, share float64) map[int]treatment {
	rng := rand.New(rand.NewPCG(w.Seed, uint64(notes)))
	out := map[int]treatment{}
	for _, i := range rng.Perm(len(w.Sessions)) {
		if float64(len(out)) >= share*float64(len(w.Sessions)) {
			break
		}
		t := right
		if n := len(out); n%2 == 1 {
			t = treatments[n/2%len(treatments)]
		}
		if s := &w.Sessions[i]; s.Wrong == "" {
			if readings := t.enter(rng, s.Readings, notes); readings != nil {
				s.Readings = readings
				out[i] = t
			}
		}
	}
	return out
}

// enter gives so many readings of usual notes, each note once, as they are entered;
// nil if there are not as many.
func (t treatment) enter(rng *rand.Rand, readings []simulate.Reading, notes int) []simulate.Reading {
	var out []simulate.Reading
	seen := map[int]bool{}
	for _, k := range rng.Perm(len(readings)) {
		r := readings[k]
		slot := simulate.Slots[r.Slot]
		usual, ok := pitch.UsualSlot(slot.Note(), 3)
		if !ok || usual != slot || seen[r.Slot] {
			continue
		}
		entered, ok := pitch.UsualSlot(slot.Note()+t.shift, 3)
		at, known := simulate.SlotIndex(entered)
		if !ok || !known {
			continue
		}
		seen[r.Slot] = true
		cents := r.Cents
		if t.flip {
			cents = -cents
		}
		if out = append(out, simulate.Reading{Slot: at, Cents: cents}); len(out) == notes {
			return out
		}
	}
	return nil
}
