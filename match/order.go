package match

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"centwise/catalog"
)

// SortKey says what a ranking is sorted by.
type SortKey string

// Orders of a ranking, each best first.
const (
	SortError     SortKey = "error"     // least expected error
	SortWorst     SortKey = "worst"     // least left on the worst note
	SortSupport   SortKey = "support"   // most harmonic support; unknown last
	SortChance    SortKey = "chance"    // greatest chance of being the best
	SortTolerance SortKey = "tolerance" // greatest chance of being in tune
)

// SortKeys lists the orders.
var SortKeys = []SortKey{SortError, SortWorst, SortSupport, SortChance, SortTolerance}

// ParseSortKey reads the name of an order.
func ParseSortKey(text string) (SortKey, error) {
	k := SortKey(strings.ToLower(strings.TrimSpace(text)))
	if !slices.Contains(SortKeys, k) {
		return "", catalog.Errorf(catalog.Invalid, "use error, worst, support, chance or tolerance", "%q is not an order of a ranking", text)
	}
	return k, nil
}

// compareLabels orders labels without regard to case, then exactly.
func compareLabels(a, b string) int {
	if a == b {
		return 0
	}
	return cmp.Or(cmp.Compare(strings.ToLower(a), strings.ToLower(b)), cmp.Compare(a, b))
}

// value is what a pairing is sorted by, least first.
func (k SortKey) value(p *Pairing) float64 {
	switch k {
	case SortWorst:
		return math.Abs(p.Worst.Cents)
	case SortSupport:
		if p.Support == nil {
			return math.Inf(1)
		}
		return -*p.Support
	case SortChance:
		return -p.ChanceBest
	case SortTolerance:
		return -p.ChanceTolerable
	default:
		return p.ErrorCents
	}
}

// order sorts the list by key; pairings equal in it go by expected error, then
// by label.
func order(list []Pairing, key SortKey) {
	slices.SortFunc(list, func(a, b Pairing) int {
		if d := cmp.Or(cmp.Compare(key.value(&a), key.value(&b)), cmp.Compare(a.ErrorCents, b.ErrorCents)); d != 0 {
			return d
		}
		return cmp.Or(compareLabels(a.Horn, b.Horn), compareLabels(a.Mouthpiece, b.Mouthpiece))
	})
}

// number gives the ranks; pairings pooled with each other share the best one.
func number(list []Pairing) {
	first := map[group]int{}
	for i := range list {
		list[i].Rank = i + 1
		g := list[i].group
		if g == (group{}) {
			continue
		}
		if rank, seen := first[g]; seen {
			list[i].Rank = rank
		} else {
			first[g] = i + 1
		}
	}
}
