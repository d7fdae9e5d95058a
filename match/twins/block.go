package twins

import (
	"cmp"
	"math"
	"slices"
)

// nearShare is the share of pairs of letters that two spellings must have in
// common to be compared at all: a word of five letters keeps it with two of them
// exchanged.
const nearShare = 0.32

// near gives every pair of spellings that may be alike: with the same marks, and
// with enough pairs of letters in common. Which those are is worked out without
// comparing all with all, by the rarest pairs of letters of each: two sets that
// share at least t of their union share one of the n - ceil(t n) + 1 rarest of
// either (prefix filtering: Chaudhuri, Ganti & Kaushik 2006, from memory). The
// spellings should be distinct. visit is given places in the list, the lower one
// first.
func near(list []spelling, visit func(i, j int)) {
	byMarks := map[string][]int{}
	for i, s := range list {
		byMarks[s.marks] = append(byMarks[s.marks], i)
	}
	for _, members := range byMarks {
		if len(members) > 1 {
			newJoin(list, members).run(visit)
		}
	}
}

// join finds the sets that are near each other.
type join struct {
	members []int
	sets    [][]int32       // of each member: its pairs of letters, the rarest first
	holding map[int32][]int // members by the rarest of theirs
}

func newJoin(list []spelling, members []int) *join {
	j := &join{members: members, holding: map[int32][]int{}}
	count := map[[2]rune]int{}
	grams := make([][][2]rune, len(members))
	for k, i := range members {
		grams[k] = letterPairs(list[i].letters)
		for _, g := range grams[k] {
			count[g]++
		}
	}
	rank := ranked(count)
	for _, g := range grams {
		set := make([]int32, len(g))
		for k := range g {
			set[k] = rank[g[k]]
		}
		slices.Sort(set)
		j.sets = append(j.sets, set)
	}
	return j
}

// letterPairs lists the distinct neighbours of a text, its ends included.
func letterPairs(text string) [][2]rune {
	runes := append(append([]rune{0}, []rune(text)...), 0)
	out := make([][2]rune, 0, len(runes))
	for i := 1; i < len(runes); i++ {
		out = append(out, [2]rune{runes[i-1], runes[i]})
	}
	slices.SortFunc(out, comparePairs)
	return slices.Compact(out)
}

func comparePairs(a, b [2]rune) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) }

// ranked numbers what is counted, the rarest first.
func ranked(count map[[2]rune]int) map[[2]rune]int32 {
	order := make([][2]rune, 0, len(count))
	for g := range count {
		order = append(order, g)
	}
	slices.SortFunc(order, func(a, b [2]rune) int { return cmp.Or(cmp.Compare(count[a], count[b]), comparePairs(a, b)) })
	rank := make(map[[2]rune]int32, len(order))
	for i, g := range order {
		rank[g] = int32(i)
	}
	return rank
}

func (j *join) run(visit func(i, j int)) {
	seen := make([]int, len(j.members)) // by which member it was looked at last
	for k := range seen {
		seen[k] = -1
	}
	for k, set := range j.sets {
		for _, g := range set[:len(set)-int(math.Ceil(nearShare*float64(len(set))))+1] {
			for _, other := range j.holding[g] {
				if seen[other] == k {
					continue
				}
				seen[other] = k
				if enoughInCommon(set, j.sets[other]) {
					a, b := j.members[other], j.members[k]
					visit(min(a, b), max(a, b))
				}
			}
			j.holding[g] = append(j.holding[g], k)
		}
	}
}

// enoughInCommon compares two sorted sets by what they share of their union.
func enoughInCommon(a, b []int32) bool {
	if float64(min(len(a), len(b))) < nearShare*float64(max(len(a), len(b))) {
		return false
	}
	common := 0
	for i, k := 0, 0; i < len(a) && k < len(b); {
		switch {
		case a[i] == b[k]:
			common++
			i++
			k++
		case a[i] < b[k]:
			i++
		default:
			k++
		}
	}
	return float64(common) >= nearShare*float64(len(a)+len(b)-common)
}
