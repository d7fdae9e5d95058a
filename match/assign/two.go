package assign

import (
	"container/heap"
	"errors"
	"math"
	"slices"
)

// Two is a problem in which everybody gets a thing, and an extra to go with it.
type Two struct {
	Persons, Things, Extras int
	// Cost of person i with thing j and extra k is at (i*Things+j)*Extras+k; +Inf
	// forbids.
	Cost []float64
	// Copies is how often each extra is there; as many as persons is no limit.
	Copies []int
}

// TwoSolution is who has which thing and extra.
type TwoSolution struct {
	Thing, Extra []int
	Total        float64
	// Bound is what every solution costs at least: Total when Exact.
	Bound float64
	Exact bool
	Nodes int // of the search
}

// ErrNoWay says that no way was found to give everybody a thing and an extra.
var ErrNoWay = errors.New("assign: no way was found to give everybody a thing and an extra")

// SolveTwo gives everybody a different thing, and extras within their copies, at
// a small total cost. That is a three-dimensional assignment, which is hard
// (R. M. Karp 1972), so it is solved by Lagrangian relaxation (M. L. Fisher 1981,
// Manage. Sci. 27, 1-18): extras get prices, everybody takes the cheapest with
// each thing, and [Solve] gives the things out. What that costs, less the prices
// of all copies, bounds every solution from below; prices follow the subgradient
// (step of B. T. Polyak 1969, from memory). Every step's things are made a
// solution by giving extras, then things, out again until neither helps.
//
// Where bound and solution differ, the search branches on whether a person has
// an extra, the node of least bound first, up to so many nodes. If these are
// enough the solution is exact. The error is [ErrNoWay].
func SolveTwo(t *Two, nodes int) (TwoSolution, error) {
	if t.Persons > t.Things {
		return TwoSolution{}, ErrNoWay
	}
	s := &twoSearch{Two: t, best: TwoSolution{Total: math.Inf(1)}, table: NewCosts(t.Things, t.Things), pick: make([]int, t.Persons*t.Things)}
	for k, n := range t.Copies {
		if n < t.Persons {
			s.limited = append(s.limited, k)
		}
	}
	root := &node{price: make([]float64, t.Extras), bound: math.Inf(-1)}
	for _, x := range t.Cost {
		if !math.IsInf(x, 1) {
			s.tolerance = max(s.tolerance, 1e-12*(1+math.Abs(x))*float64(t.Persons))
		}
	}
	s.explore(root, rootSteps)
	s.push(root)
	for len(s.open) > 0 && s.best.Nodes < nodes && s.open[0].bound < s.best.Total-s.tolerance {
		s.branch(heap.Pop(&s.open).(*node))
	}
	if math.IsInf(s.best.Total, 1) {
		return TwoSolution{}, ErrNoWay
	}
	s.best.Bound = s.best.Total
	if len(s.open) > 0 && s.open[0].bound < s.best.Total-s.tolerance {
		s.best.Bound = s.open[0].bound
	}
	s.best.Exact = s.best.Bound == s.best.Total
	return s.best, nil
}

// Steps along the subgradient, at the root and at the nodes below it.
const (
	rootSteps = 150
	nodeSteps = 25
)

// node is a part of the solutions: those that keep to some decisions.
type node struct {
	decided []decision
	price   []float64 // of extras, the best found
	bound   float64
	// What is taken at those prices: by person, and of each extra how often.
	taken, used []int
	number      int
}

// decision is that a person has an extra, or has not.
type decision struct {
	person, extra int
	has           bool
}

// open nodes, the one of least bound first, then the oldest.
type nodes []*node

func (n nodes) Len() int      { return len(n) }
func (n nodes) Swap(a, b int) { n[a], n[b] = n[b], n[a] }
func (n *nodes) Push(x any)   { *n = append(*n, x.(*node)) }
func (n nodes) Less(a, b int) bool {
	return n[a].bound < n[b].bound || n[a].bound == n[b].bound && n[a].number < n[b].number
}
func (n *nodes) Pop() any {
	last := (*n)[len(*n)-1]
	*n = (*n)[:len(*n)-1]
	return last
}

type twoSearch struct {
	*Two
	limited []int
	best    TwoSolution
	open    nodes
	// tolerance is what rounding may make of totals.
	tolerance float64

	table *Costs // things by things: persons, then rows that stand for nobody
	pick  []int  // extra of each person with each thing at the prices
}

func (t *Two) cost(i, j, k int) float64 { return t.Cost[(i*t.Things+j)*t.Extras+k] }

func (s *twoSearch) push(n *node) {
	n.number = s.best.Nodes
	s.best.Nodes++
	if n.bound < s.best.Total-s.tolerance && !math.IsInf(n.bound, 1) {
		heap.Push(&s.open, n)
	}
}

// branch splits a node by whether a person has an extra.
func (s *twoSearch) branch(n *node) {
	d, ok := s.choose(n)
	if !ok {
		return // everything is decided, so the node's solution was found
	}
	for _, has := range []bool{true, false} {
		d.has = has
		child := &node{decided: append(slices.Clip(n.decided), d), price: slices.Clone(n.price), bound: n.bound}
		s.explore(child, nodeSteps)
		s.push(child)
	}
}

// choose picks what to decide at a node: about the extra that adds most to the
// gap between bound and solution, for the first person who takes it and is not
// decided about it, or, where it is taken too seldom, for any who is not.
func (s *twoSearch) choose(n *node) (decision, bool) {
	undecided := func(i, k int) bool {
		return !slices.ContainsFunc(n.decided, func(d decision) bool { return d.person == i && (d.has || d.extra == k) })
	}
	order := slices.Clone(s.limited)
	weight := func(k int) float64 {
		over := float64(n.used[k] - s.Copies[k])
		return math.Abs(over*n.price[k]) + max(0, over)
	}
	slices.SortStableFunc(order, func(a, b int) int { return -compare(weight(a), weight(b)) })
	for _, takers := range []bool{true, false} {
		for _, k := range order {
			for i := range s.Persons {
				if undecided(i, k) && (n.taken[i] == k) == takers {
					return decision{person: i, extra: k}, true
				}
			}
		}
	}
	return decision{}, false
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// explore improves the bound of a node, and the best solution on the way.
func (s *twoSearch) explore(n *node, steps int) {
	price := slices.Clone(n.price)
	n.bound = math.Inf(-1)
	prices := make([]float64, s.Things) // of things, to begin the next assignment with
	may := s.may(n)
	scale, since := 1.0, 0
	for step := range steps {
		things, taken, bound, ok := s.relax(price, may, prices)
		if !ok {
			n.bound = math.Inf(1)
			return
		}
		used := s.count(taken)
		if since++; bound > n.bound+s.tolerance {
			n.bound, since = bound, 0
			n.taken, n.used = taken, used
			copy(n.price, price)
		} else if since >= 8 {
			scale, since = scale/2, 0
		}
		if step < 20 || step%10 == 0 {
			s.complete(things, taken, may)
		}
		if n.bound >= s.best.Total-s.tolerance || !s.step(price, used, bound, scale) {
			return
		}
	}
}

// may says which extras a node lets persons have; nil = all.
func (s *twoSearch) may(n *node) [][]bool {
	if len(n.decided) == 0 {
		return nil
	}
	may := make([][]bool, s.Persons)
	for i := range may {
		may[i] = slices.Repeat([]bool{true}, s.Extras)
	}
	for _, d := range n.decided {
		if !d.has {
			may[d.person][d.extra] = false
			continue
		}
		for k := range s.Extras {
			may[d.person][k] = may[d.person][k] && k == d.extra
		}
	}
	return may
}

// relax lets everybody take the cheapest extra at the prices, and gives out the
// things.
func (s *twoSearch) relax(price []float64, may [][]bool, thingPrices []float64) (things, taken []int, bound float64, ok bool) {
	own := slices.Clone(price)
	for i := range s.Persons {
		if may != nil {
			for k := range own {
				if own[k] = price[k]; !may[i][k] {
					own[k] = math.Inf(1)
				}
			}
		}
		row := s.table.Row(i)
		for j := range s.Things {
			least, at := math.Inf(1), 0
			for k, x := range s.Cost[(i*s.Things+j)*s.Extras:][:len(own)] {
				if x += own[k]; x < least {
					least, at = x, k
				}
			}
			row[j], s.pick[i*s.Things+j] = least, at
		}
	}
	w := newSolver(s.table)
	w.price = thingPrices
	solution, err := w.run()
	if err != nil {
		return nil, nil, 0, false
	}
	bound = solution.Total
	for _, k := range s.limited {
		bound -= price[k] * float64(s.Copies[k])
	}
	things = solution.Of[:s.Persons]
	for i, j := range things {
		taken = append(taken, s.pick[i*s.Things+j])
	}
	return things, taken, bound, true
}

// count is how often each extra is taken.
func (s *twoSearch) count(taken []int) []int {
	used := make([]int, s.Extras)
	for _, k := range taken {
		used[k]++
	}
	return used
}

// step moves the prices of extras: up where too many take them, down where too
// few. False when they are right.
func (s *twoSearch) step(price []float64, used []int, bound, scale float64) bool {
	square := 0.0
	over := func(k int) float64 {
		x := float64(used[k] - s.Copies[k])
		if x < 0 && price[k] == 0 {
			return 0
		}
		return x
	}
	for _, k := range s.limited {
		square += over(k) * over(k)
	}
	if square == 0 {
		return false
	}
	goal := s.best.Total
	if math.IsInf(goal, 1) {
		goal = bound + 0.05*math.Abs(bound) + 1
	}
	length := scale * max(goal-bound, s.tolerance) / square
	moves := make([]float64, len(s.limited))
	for at, k := range s.limited {
		moves[at] = length * over(k)
	}
	for at, k := range s.limited {
		price[k] = max(0, price[k]+moves[at])
	}
	return true
}
