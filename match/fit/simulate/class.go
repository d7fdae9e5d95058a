package simulate

import (
	"cmp"
	"fmt"
)

// Class is students who are to have horns of the catalog, each with a mouthpiece
// of their own; items by their place in the world.
type Class struct {
	Students []ClassStudent
	Horns    []int // of the cupboard
}

// ClassStudent plays their own mouthpiece on a horn that chance gave them.
type ClassStudent struct{ Player, Mouthpiece, Horn int }

// ClassOptions decide a class: how many students and horns, how many sessions at
// home each student has with what they play now (0: never measured), how often
// each usual note is read there (0: HomeRounds), and which of the classes of a
// world it is.
type ClassOptions struct {
	Students, Horns, Sessions, Rounds int
	Number                            uint64
}

// HomeRounds is how often each usual note is read in a session at home unless
// told otherwise: as often as the measuring protocol has it.
const HomeRounds = 3

// AddClass adds players to the world, and their sessions at home, read by a
// contributor of the world. Horns and mouthpieces are
// of the largest part, where those live who have the students in their class. It
// panics when that has not enough of them.
func (w *World) AddClass(o ClassOptions) Class {
	rng := stream(w.Seed, "class", o.Number)
	horns, mouthpieces := measured(w.Horns), measured(w.Mouthpieces)
	if len(horns) < o.Horns || len(mouthpieces) < o.Students || o.Horns < o.Students {
		panic(fmt.Sprintf("simulate: no class of %d students and %d horns with %d horns and %d mouthpieces", o.Students, o.Horns, len(horns), len(mouthpieces)))
	}
	rounds := cmp.Or(o.Rounds, HomeRounds)
	var c Class
	for _, at := range rng.Perm(len(horns))[:o.Horns] {
		c.Horns = append(c.Horns, horns[at])
	}
	own := rng.Perm(len(mouthpieces))
	for i := range o.Students {
		p := Player{Label: fmt.Sprintf("S%d-%02d", o.Number, i+1), Contributor: rng.IntN(len(w.Contributors)), Truth: make([]float64, len(Slots))}
		w.nature.process[OfPlayer].draw(rng, p.Truth)
		w.Players = append(w.Players, p)
		s := ClassStudent{Player: len(w.Players) - 1, Mouthpiece: mouthpieces[own[i]], Horn: c.Horns[i]}
		c.Students = append(c.Students, s)
		for k := range o.Sessions {
			w.addHome(s, fmt.Sprintf("%s at home %d", p.Label, k+1), rounds)
		}
	}
	return c
}

// measured lists the items of the largest part that were measured.
func measured(items []Item) []int {
	var out []int
	for i, item := range items {
		if item.Measured > 0 && item.Part == 0 {
			out = append(out, i)
		}
	}
	return out
}

// addHome plays a session of a student.
func (w *World) addHome(s ClassStudent, name string, rounds int) {
	session := Session{Name: name, Horn: s.Horn, Mouthpiece: s.Mouthpiece, Player: s.Player, Contributor: w.Players[s.Player].Contributor}
	var sheet []Reading
	for round := range rounds {
		for _, j := range Usual {
			sheet = append(sheet, Reading{Slot: j, Repeat: round + 1})
		}
	}
	w.read(&session, stream(w.Seed, "home "+name), func() []Reading { return sheet })
	w.Sessions = append(w.Sessions, session)
	w.Horns[s.Horn].Measured++
	w.Mouthpieces[s.Mouthpiece].Measured++
}

// PlayedTruth is [World.Truth] as a player plays it.
func (w *World) PlayedTruth(horn, mouthpiece, player int) []float64 {
	out := w.Truth(horn, mouthpiece)
	for j, x := range w.Players[player].Truth {
		out[j] += x
	}
	return out
}
