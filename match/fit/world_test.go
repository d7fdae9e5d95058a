package fit

import (
	"slices"

	"centwise/match/fit/simulate"
)

// worldShelf shows a simulated world as a catalog.
func worldShelf(w *simulate.World) *shelf {
	s := &shelf{horns: w.CatalogHorns(), mouthpieces: w.CatalogMouthpieces(), players: w.CatalogPlayers()}
	for m := range w.Measurements() {
		m.Readings = slices.Clone(m.Readings)
		s.sessions = append(s.sessions, m)
	}
	return s
}

// heldOutSetups are the pairs of a world that were never measured together.
func heldOutSetups(w *simulate.World) []Setup {
	var out []Setup
	for _, s := range simulate.Strata {
		for _, p := range w.HeldOut[s] {
			out = append(out, Setup{Horn: w.HornID(p.Horn), Mouthpiece: w.MouthpieceID(p.Mouthpiece)})
		}
	}
	return out
}
