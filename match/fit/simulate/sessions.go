package simulate

import (
	"fmt"
	"math"
	"math/rand/v2"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Noise of readings and how often things go wrong.
const (
	PlainNoiseSD  = 3.75 // cents; the harder kind has 2..6 by contributor
	GrossShare    = 0.02
	GrossFactor   = 6.0
	wrongShare    = 0.01 // sessions, harder kind only
	missingShare  = 0.06 // of the slots of a session
	cutShare      = 0.20 // of the sessions lack their top notes
	repeatSession = 0.12 // of the sessions read most slots twice
	repeatSlot    = 0.70
)

// makeSessions pairs the items part by part, then plays every session.
func (w *World) makeSessions(p plan, o Options) {
	deal := degrees
	if o.Even {
		deal = evenDegrees
	}
	rng := stream(w.Seed, "graph")
	horns, mouthpieces := places(w.Horns), places(w.Mouthpieces)
	players := map[int][]int{}
	for i, player := range w.Players {
		players[player.Part] = append(players[player.Part], i)
	}
	for part, n := range partSizes(p.sessions, islandCount(p.horns)) {
		hs, ms := horns[part], mouthpieces[part]
		misfit := func(h, m int) float64 { return Spread(w.Truth(hs[h], ms[m]), Throwless) }
		pairs := pairUp(rng, deal(rng, len(hs), n), deal(rng, len(ms), n), o.Look, misfit)
		who := stubs(deal(rng, len(players[part]), n))
		rng.Shuffle(len(who), func(i, j int) { who[i], who[j] = who[j], who[i] })
		for i, pair := range pairs {
			player := players[part][who[i]]
			w.Sessions = append(w.Sessions, Session{Horn: hs[pair.Horn], Mouthpiece: ms[pair.Mouthpiece],
				Player: player, Contributor: w.Players[player].Contributor})
		}
	}
	rng.Shuffle(len(w.Sessions), func(i, j int) { w.Sessions[i], w.Sessions[j] = w.Sessions[j], w.Sessions[i] })
	for i := range w.Sessions {
		s := &w.Sessions[i]
		s.Name = fmt.Sprintf("S%06d", i+1)
		w.play(s, stream(w.Seed, "session", uint64(i)), p.full)
		w.Horns[s.Horn].Measured++
		w.Mouthpieces[s.Mouthpiece].Measured++
	}
}

// places lists the items of each part.
func places(items []Item) map[int][]int {
	out := map[int][]int{}
	for i, item := range items {
		out[item.Part] = append(out[item.Part], i)
	}
	return out
}

// play reads one session on slots that chance chooses.
func (w *World) play(s *Session, rng *rand.Rand, full float64) {
	w.read(s, rng, func() []Reading { return chooseSlots(rng, full) })
}

// read reads one session on the slots of a sheet, which is chosen after the day.
func (w *World) read(s *Session, rng *rand.Rand, sheet func() []Reading) {
	by := w.Contributors[s.Contributor]
	s.Offset, s.Slide = SessionOffsetSD*rng.NormFloat64(), SlideSD*rng.NormFloat64()
	deviation := w.Truth(s.Horn, s.Mouthpiece)
	w.nature.process[OfWiggle].draw(rng, deviation)
	for j := range deviation {
		deviation[j] += w.Players[s.Player].Truth[j] + s.Offset + by.Tuner + s.Slide*shorter[j]
	}
	if w.Kind == Harder && rng.Float64() < wrongShare {
		s.Wrong = []string{"sign-flipped", "wrong-key"}[rng.IntN(2)]
	}
	step := 2 - 4*rng.IntN(2)
	for _, read := range sheet() {
		noise := by.NoiseSD
		if rng.Float64() < GrossShare {
			noise *= GrossFactor
		}
		read.Cents = deviation[read.Slot] + noise*rng.NormFloat64()
		if keep := spoil(&read, s.Wrong, step); !keep {
			continue
		}
		read.Cents = math.Round(read.Cents/by.Step) * by.Step
		if read.Cents < catalog.MinCents || read.Cents > catalog.MaxCents {
			continue // nobody writes that down
		}
		s.Readings = append(s.Readings, read)
	}
}

// spoil turns a reading into what it is in a wrong session: the sign turned
// round, or typed under the note step semitones away. False if that note is
// off the sheet.
func spoil(r *Reading, wrong string, step int) bool {
	switch wrong {
	case "sign-flipped":
		r.Cents = -r.Cents
	case "wrong-key":
		note := Slots[r.Slot].Note()
		if usual, _ := pitch.UsualSlot(note, 3); usual != Slots[r.Slot] {
			return false
		}
		moved, _ := pitch.UsualSlot(note+pitch.Note(step), 3)
		j, ok := SlotIndex(moved)
		if !ok {
			return false
		}
		r.Slot = j
	}
	return true
}

// chooseSlots says which slots a session reads: all 45 or the 31 usual ones,
// some of them missing, some sessions without their top notes, some twice.
func chooseSlots(rng *rand.Rand, full float64) []Reading {
	slots := Usual
	if rng.Float64() < full {
		slots = make([]int, len(Slots))
		for j := range slots {
			slots[j] = j
		}
	}
	top := pitch.RangeHigh
	if rng.Float64() < cutShare {
		top -= pitch.Note(1 + rng.IntN(8))
	}
	repeats := rng.Float64() < repeatSession
	var out []Reading
	for _, j := range slots {
		if rng.Float64() < missingShare || Slots[j].Note() > top && rng.Float64() < 0.9 && top < pitch.RangeHigh {
			continue
		}
		out = append(out, Reading{Slot: j, Repeat: 1})
		if repeats && rng.Float64() < repeatSlot {
			out = append(out, Reading{Slot: j, Repeat: 2})
		}
	}
	return out
}
