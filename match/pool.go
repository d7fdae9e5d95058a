package match

import (
	"encoding/binary"
	"fmt"
	"math"

	"centwise/catalog"
	"centwise/match/fit"
	"centwise/match/tuning"
)

// group names pairings that nothing tells apart: none was measured, all rest on
// the same kind of knowledge, which expects the same profile of them, and their
// horns have the same reach. Two mouthpieces that nothing is known of are such
// a group, and two unmeasured specimens of one design. The zero value is no group.
type group struct {
	basis   fit.Basis
	profile string
	horn    reach
}

// reach is what the judgement of a horn rests on besides its profile.
type reach struct {
	instrument            catalog.Instrument
	transposition, valves int
	throws                tuning.Throws
}

func reachOf(h catalog.Horn) reach {
	throws, _ := tuning.ForHorn(h)
	return reach{h.Instrument, h.Transposition(), h.Valves, throws}
}

// groupOf finds the group of a pairing.
func groupOf(h catalog.Horn, p fit.Prediction) group {
	if p.Evidence.Basis == fit.BasisMeasured {
		return group{}
	}
	var profile []byte
	for _, x := range p.Mean {
		profile = binary.LittleEndian.AppendUint64(profile, uint64(int64(math.Round(1000*x)))) // thousandths of a cent
	}
	return group{p.Evidence.Basis, string(profile), reachOf(h)}
}

// pool gives the members of a group the same numbers: their draws differ by
// chance alone, and a ranking of chance would look like knowledge.
func pool(list []Pairing, tolerance float64) {
	members := map[group][]int{}
	for i := range list {
		if g := list[i].group; g != (group{}) {
			members[g] = append(members[g], i)
		}
	}
	for _, at := range members {
		size := len(at)
		for _, i := range at {
			size += list[i].unjudged
		}
		for _, i := range at {
			list[i].Note = list[i].note(size)
		}
		if size > 1 {
			poolMembers(list, at, size, tolerance)
		}
	}
}

// poolMembers pools those at some places of the list, of so many in all.
func poolMembers(list []Pairing, at []int, size int, tolerance float64) {
	var errs []float64
	best := 0.0
	for _, i := range at {
		errs = append(errs, list[i].errs...)
		best += list[i].ChanceBest
	}
	all := summary(errs, tolerance)
	for _, i := range at {
		p := &list[i]
		p.ErrorCents, p.Low, p.High, p.ChanceTolerable = all.ErrorCents, all.Low, all.High, all.ChanceTolerable
		p.ChanceBest = best / float64(size)
		p.Alike = size
	}
}

// evenChances gives the members of a group the same chance.
func evenChances(list []Pairing) {
	sum, size := map[group]float64{}, map[group]float64{}
	for i := range list {
		sum[list[i].group] += list[i].ChanceBest
		size[list[i].group]++
	}
	for i := range list {
		if g := list[i].group; g != (group{}) {
			list[i].ChanceBest = sum[g] / size[g]
		}
	}
}

// note says what a pairing that was not measured rests on, and with how many it
// shares its place, n in all.
func (p Pairing) note(n int) string {
	alike := ""
	if n > 1 {
		alike = fmt.Sprintf("; shares its place with %d that nothing tells from it", n-1)
	}
	switch p.Basis {
	case fit.BasisDesign:
		if n > 1 {
			return "judged by its design" + alike
		}
		return ""
	case fit.BasisDimensions:
		if n > 1 {
			return "judged by its dimensions" + alike
		}
		return ""
	}
	what := "the horn or the mouthpiece"
	if unknownHorn(p.EvidenceOf) != unknownMouthpiece(p.EvidenceOf) {
		what = "the horn"
		if unknownMouthpiece(p.EvidenceOf) {
			what = "the mouthpiece"
		}
	}
	return fmt.Sprintf("nothing is known of %s: judged as an average one%s", what, alike)
}

func unknownHorn(e fit.Evidence) bool       { return e.Horn+e.HornDesign == 0 }
func unknownMouthpiece(e fit.Evidence) bool { return e.Mouthpiece+e.MouthpieceDesign == 0 }
