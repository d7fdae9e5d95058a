package assign

import (
	"math"
	"slices"
)

// Blocking says why a person has nothing under of (the column of each row, none if
// it is no column of c): the persons of Rows, this one among them, can have nothing but the
// things of Cols, and all of these are had. Nil when an exchange would free
// something for the person.
func Blocking(c *Costs, of []int, person int) *Blocked {
	by := holders(of, c.cols)
	b := &Blocked{Rows: []int{person}}
	reached := make([]bool, c.cols)
	for k := 0; k < len(b.Rows); k++ {
		for j := range c.cols {
			if reached[j] || !c.May(b.Rows[k], j) {
				continue
			}
			if by[j] < 0 {
				return nil
			}
			reached[j] = true
			b.Cols = append(b.Cols, j)
			b.Rows = append(b.Rows, by[j])
		}
	}
	slices.Sort(b.Rows)
	slices.Sort(b.Cols)
	return b
}

// holders turns the columns of rows into the rows of columns, -1 = none.
func holders(of []int, cols int) []int {
	by := make([]int, cols)
	for j := range by {
		by[j] = -1
	}
	for i, j := range of {
		if j >= 0 && j < cols {
			by[j] = i
		}
	}
	return by
}

// Others finds what else could be done in place of a cheapest solution.
type Others struct {
	c *Costs
	s Solution
	w *solver // square: rows that stand for nobody have what is left over
}

// NewOthers prepares to look for others of s, a solution of c by [Solve].
func NewOthers(c *Costs, s Solution) *Others {
	rest := c.cols - c.rows
	o := &Others{c: c, s: s, w: newSolver(&Costs{rows: c.cols, cols: c.cols})}
	// Rows of noughts fit the prices: things that nobody has cost nought.
	o.w.c = slices.Concat(c.c, make([]float64, rest*c.cols))
	return o
}

// Without is the cheapest way to give everybody something when person i may not
// have what the solution gives them: the thing of each person, and by how much
// the total rises. It takes one shortest path. False when there is no other way.
func (o *Others) Without(i int) (of []int, rise float64, ok bool) {
	w := o.w
	copy(w.price, o.s.ColPrice)
	copy(w.of, o.s.Of)
	copy(w.by, holders(o.s.Of, o.c.cols))
	nobody := o.c.rows
	for j, k := range w.by {
		if k < 0 {
			w.of[nobody], w.by[j] = j, nobody
			nobody++
		}
	}
	given := w.of[i]
	cost := w.At(i, given)
	w.of[i], w.by[given] = -1, -1
	w.Set(i, given, math.Inf(1))
	ok = w.augment(i)
	w.Set(i, given, cost)
	if !ok {
		return nil, 0, false
	}
	of = slices.Clone(w.of[:o.c.rows])
	for k, j := range of {
		rise += o.c.At(k, j) - o.c.At(k, o.s.Of[k])
	}
	return of, rise, true
}
