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

// shufflesPerSlot is how many changes are tried for each slot of a round. 20
// would do: by then the share of notes that still follow their neighbour in the
// scale is that of a shuffle.
const shufflesPerSlot = 60

// Rounds gives an order of the slots for each round. It is random, so that the
// ear is not led from note to note, but can be sung: no leap is wider than an
// [Octave], within a round or from one round to the next, as long as no two
// neighbours among the slots are more than half an octave apart. The same note
// does not come twice in a row where that can be helped, and the first note lies
// in the middle of the compass.
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
	var before *pitch.Slot
	for k := range rounds {
		p := newPath(scale, before)
		p.shuffle(rand.New(rand.NewPCG(uint64(seed), uint64(k))))
		out = append(out, p.slots)
		before = &p.slots[len(p.slots)-1]
	}
	return out
}

// path is the order of one round, and the slot that was read before it.
type path struct {
	slots  []pitch.Slot
	before *pitch.Slot // nil at the beginning of a session
}

// newPath starts from the scale, up, down or about the slot before, whichever
// has the fewest wide leaps.
func newPath(scale []pitch.Slot, before *pitch.Slot) *path {
	down := slices.Clone(scale)
	slices.Reverse(down)
	best := &path{slices.Clone(scale), before}
	for _, other := range []*path{{down, before}, {about(scale, before), before}} {
		if other.wideLeaps() < best.wideLeaps() {
			best = other
		}
	}
	return best
}

// about begins at the slot nearest to the one before, goes down by every other
// slot, comes back by those in between, and goes on upwards: no step is wider
// than two of the scale.
func about(scale []pitch.Slot, before *pitch.Slot) []pitch.Slot {
	start := 0
	for i := range scale {
		if before != nil && leap(scale[i], *before) < leap(scale[start], *before) {
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
	return slices.Concat(down, up, scale[min(start+1, len(scale)):])
}

func leap(a, b pitch.Slot) int {
	return max(int(a.Note()-b.Note()), int(b.Note()-a.Note()))
}

// flaws are what an order should not have: leaps wider than an octave above
// all, then notes that come twice in a row or a first note out of the middle.
type flaws struct{ wide, dull int }

// step adds the flaws of the step to place i, from place i-1 or the slot before
// the round.
func (p *path) step(i int, f *flaws) {
	if i < 0 || i >= len(p.slots) {
		return
	}
	from := p.before
	if i > 0 {
		from = &p.slots[i-1]
	}
	switch {
	case from == nil:
		if n := p.slots[i].Note(); n < middleLow || n > middleHigh {
			f.dull++
		}
	case leap(*from, p.slots[i]) > Octave:
		f.wide++
	case from.Note() == p.slots[i].Note():
		f.dull++
	}
}

func (p *path) wideLeaps() int {
	var f flaws
	for i := range p.slots {
		p.step(i, &f)
	}
	return f.wide
}

// shuffle turns stretches round and exchanges slots at random, and takes back
// what adds a flaw.
func (p *path) shuffle(random *rand.Rand) {
	n := len(p.slots)
	for range shufflesPerSlot * n {
		i, j := random.IntN(n), random.IntN(n)
		if i > j {
			i, j = j, i
		}
		change := func() { slices.Reverse(p.slots[i : j+1]) }
		touched := []int{i, j + 1}
		if random.IntN(2) == 0 {
			change = func() { p.slots[i], p.slots[j] = p.slots[j], p.slots[i] }
			touched = []int{i, i + 1, j, j + 1}
		}
		was := p.flawsAt(touched)
		change()
		if now := p.flawsAt(touched); now.wide > was.wide || now.dull > was.dull {
			change()
		}
	}
}

// flawsAt are the flaws of the steps to some places, each counted once; a
// stretch turned round changes no step inside it.
func (p *path) flawsAt(places []int) (f flaws) {
	for k, i := range places {
		if !slices.Contains(places[:k], i) {
			p.step(i, &f)
		}
	}
	return f
}
