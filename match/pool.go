package match

import (
	"fmt"
	"math"
	"slices"

	"centwise/catalog"
	"centwise/match/fit"
	"centwise/match/tuning"
)

// group names the pairings that nothing tells apart: their horn, or their
// mouthpiece, was never measured, is of no measured design and has no
// dimensions, while the other item is the same. The zero value is no group.
type group struct {
	unknown          bool
	horn, mouthpiece catalog.ID // empty where unknown
	shape            shape      // of the horn, when that is unknown
}

// shape is what the judgement of a horn rests on besides its profile.
type shape struct {
	transposition, valves int
	throws                tuning.Throws
}

// groupOf finds the group of a pairing.
func groupOf(c candidate, p fit.Prediction) group {
	ev := p.Evidence
	if ev.Basis != fit.BasisPrior {
		return group{}
	}
	g := group{horn: c.horn.ID, mouthpiece: c.mouthpiece.ID}
	if ev.Horn+ev.HornDesign == 0 && isZero(p.Horn) {
		throws, _ := tuning.ForHorn(*c.horn)
		g.unknown, g.horn, g.shape = true, "", shape{c.horn.Transposition(), c.horn.Valves, throws}
	}
	if ev.Mouthpiece+ev.MouthpieceDesign == 0 && isZero(p.Mouthpiece) {
		g.unknown, g.mouthpiece = true, ""
	}
	if !g.unknown {
		return group{}
	}
	return g
}

// isZero reports whether a share says nothing; rounding is let pass.
func isZero(share []float64) bool {
	return !slices.ContainsFunc(share, func(x float64) bool { return math.Abs(x) > 1e-6 })
}

// pool gives the members of a group the same numbers: their draws differ by
// chance alone, and a ranking of chance would look like knowledge.
func (s scale) pool(list []Pairing) {
	members := map[group][]int{}
	for i := range list {
		if g := list[i].group; g.unknown {
			members[g] = append(members[g], i)
		}
	}
	for g, at := range members {
		var errs []float64
		best := 0.0
		for _, i := range at {
			errs = append(errs, list[i].errs...)
			best += list[i].ChanceBest / float64(len(at))
		}
		all := s.summary(errs)
		for _, i := range at {
			p := &list[i]
			p.ErrorCents, p.Low, p.High, p.ChanceTolerable = all.ErrorCents, all.Low, all.High, all.ChanceTolerable
			p.ChanceBest = best
			p.Note = g.note(len(at))
			if len(at) > 1 {
				p.Alike = len(at)
			}
		}
	}
}

// note says why a pairing shares its place with others of its group, n in all.
func (g group) note(n int) string {
	what := "horn and mouthpiece"
	switch {
	case g.horn != "":
		what = "the mouthpiece"
	case g.mouthpiece != "":
		what = "the horn"
	}
	if n == 1 {
		return fmt.Sprintf("nothing is known of %s: judged as an average one", what)
	}
	return fmt.Sprintf("nothing is known of %s: shares its place with %d more that nothing tells apart", what, n-1)
}
