package match

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// merits are what a trade-off weighs, each the less the better, rounded so that
// pairings which nobody could tell apart tie: expected error and worst note to a
// hundredth of a cent, harmonic support and chance of being in tune to a
// thousandth.
type merits [4]float64

func meritsOf(p *Pairing) merits {
	support := math.Inf(1) // unknown: behind all that are known, and even with each other
	if p.Support != nil {
		support = -math.Round(1000 * *p.Support)
	}
	return merits{math.Round(100 * p.ErrorCents), math.Round(100 * math.Abs(p.Worst.Cents)), support, -math.Round(1000 * p.ChanceTolerable)}
}

// beats reports whether a dominates b: a is at least as good in all four and
// better in one. So pairings with the same merits do not beat each other, none
// beats itself, and what beats one that beats a third beats the third.
func (a merits) beats(b merits) bool {
	better := false
	for i := range a {
		if a[i] > b[i] {
			return false
		}
		better = better || a[i] < b[i]
	}
	return better
}

// pareto keeps the pairings that no other one beats in expected error, worst
// note, harmonic support and chance of being in tune together, see
// [merits.beats]; ties stay. Their order and ranks stay as they were.
//
// A pairing can only be beaten by one that comes before it in the order of the
// merits, and if by any, then by one that is kept.
func pareto(list []Pairing) []Pairing {
	of := make([]merits, len(list))
	at := make([]int, len(list))
	for i := range list {
		of[i], at[i] = meritsOf(&list[i]), i
	}
	slices.SortStableFunc(at, func(a, b int) int { return slices.Compare(of[a][:], of[b][:]) })
	var kept []int
	for _, i := range at {
		if !slices.ContainsFunc(kept, func(k int) bool { return of[k].beats(of[i]) }) {
			kept = append(kept, i)
		}
	}
	slices.SortFunc(kept, cmp.Compare)
	out := make([]Pairing, len(kept))
	for i, k := range kept {
		out[i] = list[k]
	}
	return out
}

// tradeOff narrows a ranking to the pairings that nothing beats, and says so.
func (r *Ranking) tradeOff() {
	all := len(r.Pairings)
	r.Pairings = pareto(r.Pairings)
	r.Pareto = len(r.Pairings)
	text := fmt.Sprintf("Of %s %d are listed: no other one is as good as these in error, worst note, support and chance of being in tune, and better in one of them.", Count(all, "pairing"), r.Pareto)
	if r.Pareto == 1 {
		text = fmt.Sprintf("Of %s one is listed: it is as good as all others or better in error, worst note, support and chance of being in tune.", Count(all, "pairing"))
	}
	r.Notes = append([]string{text}, r.Notes...)
}
