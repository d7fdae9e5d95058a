// Package protocol is how a session is measured: in which order the notes are
// read ([Rounds]), what may be typed ([ParseEntry]), what has been entered so
// far ([Sitting]), and which readings are so far from the others that they are
// asked for again. It keeps nothing and draws nothing.
//
// Readings are cents, + sharp. Nothing here knows what a fit predicts: whoever
// plays or reads the tuner should not hear what is expected of them.
package protocol

import (
	"math/rand/v2"
	"slices"

	"centwise/catalog/pitch"
)

// Octave is the widest leap between successive notes, in semitones.
const Octave = 12

// The first note lies in the middle of the compass, where lips warm up (common
// practice, no source): written C4 to C5.
const middleLow, middleHigh pitch.Note = 60, 72

// longestStay is how many notes in a row may lie in one half of the compass, so
// that neither half is read warm and the other tired.
const longestStay = 6

// shufflesPerSlot is how many changes are tried for each slot of a round: enough
// that no trace of the scale is left, within a millisecond.
const shufflesPerSlot = 60

// Rounds gives an order of the slots for each round. It is random, so that the
// ear is not led from note to note, but can be sung: no leap is wider than an
// [Octave], within a round or from one round to the next, as long as no two
// neighbours among the slots are more than half an octave apart. The same note
// does not come twice in a row, no more than six notes in a row lie in one half of the
// compass, and the first note lies in its middle, where that can be helped.
//
// The orders depend on the slots, whatever order they come in, and on the seed;
// a round's order does not depend on how many follow. Slots are neither changed
// nor kept.
func Rounds(slots []pitch.Slot, rounds int, seed int64) [][]pitch.Slot {
	scale := slices.Clone(slots)
	slices.SortFunc(scale, pitch.Slot.Compare)
	var out [][]pitch.Slot
	if len(scale) == 0 {
		return make([][]pitch.Slot, rounds)
	}
	var before pitch.Note
	for k := range rounds {
		p := newPath(scale, before)
		p.shuffle(rand.New(rand.NewPCG(uint64(seed), uint64(k))))
		out = append(out, p.slots)
		before = p.notes[len(p.notes)-1]
	}
	return out
}

// path is the order of one round, and the note that was read before it.
type path struct {
	slots  []pitch.Slot
	notes  []pitch.Note // of the slots
	before pitch.Note   // nought at the beginning of a session
	middle pitch.Note   // half of the slots do not lie above it
}

// newPath starts from the scale, up, down or about the note before, whichever
// has the fewest wide leaps.
func newPath(scale []pitch.Slot, before pitch.Note) *path {
	down := slices.Clone(scale)
	slices.Reverse(down)
	var best *path
	for _, order := range [][]pitch.Slot{slices.Clone(scale), down, about(scale, before)} {
		p := &path{slots: order, before: before, middle: scale[(len(scale)-1)/2].Note()}
		for _, s := range order {
			p.notes = append(p.notes, s.Note())
		}
		if best == nil || p.flaws().wide < best.flaws().wide {
			best = p
		}
	}
	return best
}

// about begins at the slot nearest to the note before, goes down by every other
// slot, comes back by those in between, and goes on upwards: no step is wider
// than two of the scale.
func about(scale []pitch.Slot, before pitch.Note) []pitch.Slot {
	start := 0
	for i := range scale {
		if leap(scale[i].Note(), before) < leap(scale[start].Note(), before) {
			start = i
		}
	}
	var down, up []pitch.Slot
	for i := start; i >= 0; i-- {
		if (start-i)%2 == 0 {
			down = append(down, scale[i])
		} else {
			up = append(up, scale[i])
		}
	}
	slices.Reverse(up)
	return slices.Concat(down, up, scale[start+1:])
}

func leap(a, b pitch.Note) pitch.Note { return max(a-b, b-a) }

// flaws are what an order should not have: leaps wider than an octave above
// all; then notes that come twice in a row, a first note out of the middle, and
// long stays in one half of the compass.
type flaws struct{ wide, dull int }

func (p *path) flaws() (f flaws) {
	last, stay := p.before, 0
	for i, note := range p.notes {
		switch {
		case last == 0:
			if note < middleLow || note > middleHigh {
				f.dull++
			}
		case leap(last, note) > Octave:
			f.wide++
		case last == note:
			f.dull++
		}
		if i > 0 && (last > p.middle) != (note > p.middle) {
			stay = 0
		}
		if stay++; stay > longestStay {
			f.dull++
		}
		last = note
	}
	return f
}

// shuffle turns stretches round and exchanges slots at random, and takes back
// what adds a flaw.
func (p *path) shuffle(random *rand.Rand) {
	n := len(p.slots)
	was := p.flaws()
	for range shufflesPerSlot * n {
		i, j := random.IntN(n), random.IntN(n)
		if i > j {
			i, j = j, i
		}
		change := p.turn
		if random.IntN(2) == 0 {
			change = p.exchange
		}
		change(i, j)
		if now := p.flaws(); now.wide > was.wide || now.dull > was.dull {
			change(i, j)
		} else {
			was = now
		}
	}
}

// turn turns the stretch from i to j round; twice is as before.
func (p *path) turn(i, j int) {
	slices.Reverse(p.slots[i : j+1])
	slices.Reverse(p.notes[i : j+1])
}

func (p *path) exchange(i, j int) {
	p.slots[i], p.slots[j] = p.slots[j], p.slots[i]
	p.notes[i], p.notes[j] = p.notes[j], p.notes[i]
}
