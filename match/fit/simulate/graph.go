package simulate

import (
	"math"
	"math/rand/v2"
	"slices"
)

// islandShare is the share of items and sessions that nothing links to the
// main part.
const islandShare = 0.15

// partSizes divides n things among the main part, which comes first, and
// islands of about equal size.
func partSizes(n, islands int) []int {
	cut := int(math.Round(islandShare * float64(n)))
	sizes := []int{n - cut}
	for i := range islands {
		sizes = append(sizes, cut*(i+1)/islands-cut*i/islands)
	}
	return sizes
}

// islandCount grows with the catalog, as the islands themselves do.
func islandCount(horns int) int {
	return max(1, int(math.Round(math.Sqrt(islandShare*float64(horns)))))
}

// degrees says how many of total sessions each of n items has: half of them
// one, the rest at least two, a few very many.
func degrees(rng *rand.Rand, n, total int) []int {
	once := n / 2
	weight := make([]float64, n-once)
	sum := 0.0
	for i := range weight {
		weight[i] = math.Exp(rng.NormFloat64())
		sum += weight[i]
	}
	out := make([]int, n)
	left := total - once - 2*len(weight)
	if left < 0 {
		panic("simulate: too few sessions for the items")
	}
	given, run := 0, 0.0
	for i, w := range weight {
		run += w / sum
		next := int(math.Round(run * float64(left)))
		out[i] = 2 + next - given
		given = next
	}
	for i := len(weight); i < n; i++ {
		out[i] = 1
	}
	return out
}

// evenDegrees deals total sessions out to n items so that none has two more than
// another; chance decides who has one more.
func evenDegrees(rng *rand.Rand, n, total int) []int {
	if total < n {
		panic("simulate: too few sessions for the items")
	}
	out := make([]int, n)
	for at, i := range rng.Perm(n) {
		out[i] = total*(at+1)/n - total*at/n
	}
	return out
}

// side is the horns or the mouthpieces of a part while they are being paired.
type side struct {
	free    []int // stubs left per item
	linked  []int // items that are linked already
	waiting []int // items that are not, the much measured first
}

func newSide(degree []int) *side {
	s := &side{free: slices.Clone(degree)}
	for i := range degree {
		s.waiting = append(s.waiting, i)
	}
	slices.SortStableFunc(s.waiting, func(a, b int) int { return degree[b] - degree[a] })
	return s
}

// next takes the first waiting item over to the linked ones.
func (s *side) next() int {
	item := s.waiting[0]
	s.waiting = s.waiting[1:]
	s.linked = append(s.linked, item)
	return item
}

// pick is the linked item with a free stub that costs least of look drawn ones,
// each stub equally likely; -1 if there is none.
func (s *side) pick(rng *rand.Rand, look int, cost func(item int) float64) int {
	total := 0
	for _, i := range s.linked {
		total += s.free[i]
	}
	best, least := -1, math.Inf(1)
	for range min(look, total) {
		item := s.stub(rng.IntN(total))
		c := 0.0
		if look > 1 {
			c = cost(item)
		}
		if c < least {
			best, least = item, c
		}
	}
	return best
}

// stub is the item that holds the at-th free stub of the linked items.
func (s *side) stub(at int) int {
	for _, i := range s.linked {
		if at -= s.free[i]; at < 0 {
			return i
		}
	}
	panic("simulate: no such stub")
}

// pairUp gives the sessions of one part as pairs of places: every item has its
// degree, and all are connected. Of look candidates for a place, the mouthpiece
// that suits the horn best is taken; with look 1 chance decides.
func pairUp(rng *rand.Rand, hornDegree, mouthpieceDegree []int, look int, misfit func(h, m int) float64) []Pair {
	horns, mouthpieces := newSide(hornDegree), newSide(mouthpieceDegree)
	var pairs []Pair
	join := func(h, m int) {
		horns.free[h]--
		mouthpieces.free[m]--
		pairs = append(pairs, Pair{h, m})
	}
	mouthpieces.next()
	for len(horns.waiting)+len(mouthpieces.waiting) > 0 {
		if !link(rng, horns, mouthpieces, join, look, misfit) {
			panic("simulate: too few sessions to link the items")
		}
	}
	hornStubs, mouthpieceStubs := stubs(horns.free), stubs(mouthpieces.free)
	rng.Shuffle(len(hornStubs), func(i, j int) { hornStubs[i], hornStubs[j] = hornStubs[j], hornStubs[i] })
	for _, h := range hornStubs {
		best, cost := 0, math.Inf(1)
		for range look {
			k := rng.IntN(len(mouthpieceStubs))
			c := 0.0
			if look > 1 {
				c = misfit(h, mouthpieceStubs[k])
			}
			if c < cost {
				best, cost = k, c
			}
		}
		join(h, mouthpieceStubs[best])
		last := len(mouthpieceStubs) - 1
		mouthpieceStubs[best] = mouthpieceStubs[last]
		mouthpieceStubs = mouthpieceStubs[:last]
	}
	return pairs
}

// link joins one waiting item, of the horns or of the mouthpieces at random, to
// an item of the other side that is linked. False if none can be.
func link(rng *rand.Rand, horns, mouthpieces *side, join func(h, m int), look int, misfit func(h, m int) float64) bool {
	hornFirst := rng.IntN(len(horns.waiting)+len(mouthpieces.waiting)) < len(horns.waiting)
	for _, takeHorn := range []bool{hornFirst, !hornFirst} {
		if takeHorn && len(horns.waiting) > 0 {
			h := horns.waiting[0]
			if m := mouthpieces.pick(rng, look, func(m int) float64 { return misfit(h, m) }); m >= 0 {
				join(horns.next(), m)
				return true
			}
		} else if !takeHorn && len(mouthpieces.waiting) > 0 {
			m := mouthpieces.waiting[0]
			if h := horns.pick(rng, look, func(h int) float64 { return misfit(h, m) }); h >= 0 {
				join(h, mouthpieces.next())
				return true
			}
		}
	}
	return false
}

func stubs(free []int) []int {
	var out []int
	for i, n := range free {
		for range n {
			out = append(out, i)
		}
	}
	return out
}
