package assign

import (
	"math"
	"slices"
)

// Fairest gives everybody a different thing so that the greatest cost is as
// small as can be, then the next greatest, and so on (the lexicographic
// bottleneck assignment of R. E. Burkard & F. Rendl 1991, Oper. Res. Lett. 10,
// 303-308). Total is the sum of the costs; there are no prices. The error is a
// [*Blocked].
//
// The greatest cost is lowered until no exchange avoids it. Of the pairs that
// cost as much, as few as can be are kept, by an assignment in which each costs
// 1 and all else nought; its prices tell which pairs may stand in any such
// assignment (those whose price is their cost), and the next greatest cost is
// lowered among these alone.
func Fairest(c *Costs) (Solution, error) {
	s, err := Solve(c)
	if err != nil {
		return Solution{}, err
	}
	f := newFairer(c, s.Of)
	for {
		worst, any := f.worst()
		if !any {
			break
		}
		if !f.avoid(worst) {
			f.settle(worst)
		}
	}
	out := Solution{Of: f.of[:c.rows:c.rows]}
	for i, j := range out.Of {
		out.Total += c.At(i, j)
	}
	return out, nil
}

// fairer is a square table: rows that stand for nobody, and can have anything
// at no cost, take what is left over.
type fairer struct {
	c       *Costs
	n       int
	may     [][]bool // pairs that may still be
	settled [][]bool // pairs whose number is settled
	of, by  []int
}

func newFairer(c *Costs, of []int) *fairer {
	n := c.cols
	f := &fairer{c: c, n: n, of: append(slices.Clone(of), make([]int, n-c.rows)...)}
	for i := range n {
		may := make([]bool, n)
		for j := range n {
			may[j] = i >= c.rows || c.May(i, j)
		}
		f.may = append(f.may, may)
		f.settled = append(f.settled, make([]bool, n))
	}
	f.by = holders(of, n)
	nobody := c.rows
	for j, i := range f.by {
		if i < 0 {
			f.of[nobody], f.by[j] = j, nobody
			nobody++
		}
	}
	return f
}

// counts reports whether a pair stands for somebody and is not settled.
func (f *fairer) counts(i, j int) bool { return i < f.c.rows && !f.settled[i][j] }

// worst is the greatest cost in the assignment that is not settled.
func (f *fairer) worst() (worst float64, any bool) {
	worst = math.Inf(-1)
	for i, j := range f.of[:f.c.rows] {
		if f.counts(i, j) {
			worst, any = max(worst, f.c.At(i, j)), true
		}
	}
	return worst, any
}

// avoid finds an assignment whose pairs all cost less than the limit but for
// settled ones, if there is one.
func (f *fairer) avoid(limit float64) bool {
	of, by := slices.Clone(f.of), slices.Clone(f.by)
	open := func(i, j int) bool { return f.may[i][j] && !(f.counts(i, j) && f.c.At(i, j) >= limit) }
	for i := range f.c.rows {
		if j := of[i]; j >= 0 && !open(i, j) {
			of[i], by[j] = -1, -1
		}
	}
	seen := make([]int, f.n)
	for i := range f.c.rows {
		if of[i] < 0 && !exchangePath(open, of, by, i, seen, i+1) {
			return false
		}
	}
	f.of, f.by = of, by
	return true
}

// exchangePath gives a row a column by exchanges among pairs that are open
// (breadth first); a column of seen that holds mark was reached.
func exchangePath(open func(i, j int) bool, of, by []int, row int, seen []int, mark int) bool {
	from := make([]int, len(by))
	rows := []int{row}
	for k := 0; k < len(rows); k++ {
		i := rows[k]
		for j := range by {
			if seen[j] == mark || !open(i, j) {
				continue
			}
			seen[j], from[j] = mark, i
			if by[j] >= 0 {
				rows = append(rows, by[j])
				continue
			}
			for end := j; ; {
				i := from[end]
				by[end] = i
				of[i], end = end, of[i]
				if i == row {
					return true
				}
			}
		}
	}
	return false
}

// settle takes it that pairs of this cost can't be avoided: it keeps as few as
// can be, and of all pairs those that such assignments can hold.
func (f *fairer) settle(cost float64) {
	once := NewCosts(f.n, f.n)
	for i := range f.n {
		for j := range f.n {
			switch {
			case f.counts(i, j) && f.c.At(i, j) > cost:
				f.may[i][j] = false
				once.Set(i, j, math.Inf(1))
			case !f.may[i][j]:
				once.Set(i, j, math.Inf(1))
			case f.counts(i, j) && f.c.At(i, j) == cost:
				once.Set(i, j, 1)
			}
		}
	}
	s, err := newSolver(once).run() // from prices of nought all stay whole, so they can be compared exactly
	if err != nil {
		panic(err) // the assignment at hand has no dearer pair
	}
	for i := range f.n {
		for j := range f.n {
			if !f.may[i][j] {
				continue
			}
			f.settled[i][j] = f.settled[i][j] || i < f.c.rows && f.c.At(i, j) == cost
			f.may[i][j] = once.At(i, j) == s.RowPrice[i]+s.ColPrice[j]
		}
	}
	f.of, f.by = s.Of, holders(s.Of, f.n)
}
