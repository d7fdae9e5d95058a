package assign

import (
	"math"
	"slices"
)

// completeRounds bounds how often extras and things are given out in turn.
const completeRounds = 10

// complete makes a solution of an assignment of things: it gives out the extras
// that go best with them, then the things that go best with these, and so on
// until neither helps, and keeps it if it is the best so far. Where the things
// leave somebody without an extra, it begins with the extras taken, as far as
// there are copies.
func (s *twoSearch) complete(things, taken []int, may [][]bool) {
	things = slices.Clone(things)
	extras, ok := s.giveExtras(things, may)
	if !ok {
		if extras, ok = s.spreadExtras(taken, may); !ok {
			return
		}
	}
	total := math.Inf(1)
	for range completeRounds {
		next, ok := s.giveThings(extras)
		if !ok {
			return
		}
		things = next
		if extras, ok = s.giveExtras(things, may); !ok {
			return
		}
		now := s.total(things, extras)
		if now >= total-s.tolerance {
			break
		}
		total = now
	}
	if total < s.best.Total-s.tolerance {
		s.best.Thing, s.best.Extra, s.best.Total = things, extras, total
	}
}

func (t *Two) total(things, extras []int) (sum float64) {
	for i := range things {
		sum += t.cost(i, things[i], extras[i])
	}
	return sum
}

// giveThings gives out the things that go best with extras that are given.
func (s *twoSearch) giveThings(extras []int) ([]int, bool) {
	solution, err := Solve(s.With(extras))
	return solution.Of, err == nil
}

// With is the table of what persons with their extras have of every thing.
func (t *Two) With(extras []int) *Costs {
	c := NewCosts(t.Persons, t.Things)
	for i, k := range extras {
		row := c.Row(i)
		for j := range row {
			row[j] = t.cost(i, j, k)
		}
	}
	return c
}

// giveExtras gives out the extras that go best with things that are given.
func (s *twoSearch) giveExtras(things []int, may [][]bool) ([]int, bool) {
	return s.extras(Solve, may, func(i, k int) float64 { return s.cost(i, things[i], k) })
}

// spreadExtras gives out extras like those taken: others cost 1 each.
func (s *twoSearch) spreadExtras(taken []int, may [][]bool) ([]int, bool) {
	return s.extras(Solve, may, func(i, k int) float64 {
		least := math.Inf(1)
		for j := range s.Things {
			least = min(least, s.cost(i, j, k))
		}
		switch {
		case math.IsInf(least, 1):
			return least
		case taken[i] == k:
			return 0
		}
		return 1
	})
}

// extras gives out extras as solve does. A copy is a column, and what is not
// limited is one column of each person's own.
func (t *Two) extras(solve func(*Costs) (Solution, error), may [][]bool, cost func(i, k int) float64) ([]int, bool) {
	var of []int // extra of each column
	for k, n := range t.Copies {
		if n < t.Persons {
			of = append(of, slices.Repeat([]int{k}, n)...)
		}
	}
	copies := len(of)
	c := NewCosts(t.Persons, copies+t.Persons)
	free := make([]int, t.Persons)
	for i := range t.Persons {
		allowed := func(k int) float64 {
			if may != nil && !may[i][k] {
				return math.Inf(1)
			}
			return cost(i, k)
		}
		row := c.Row(i)
		for j := range row {
			row[j] = math.Inf(1)
		}
		for j, k := range of {
			row[j] = allowed(k)
		}
		for k := range t.Extras {
			if x := allowed(k); t.Copies[k] >= t.Persons && x < row[copies+i] {
				row[copies+i], free[i] = x, k
			}
		}
	}
	solution, err := solve(c)
	if err != nil {
		return nil, false
	}
	out := make([]int, t.Persons)
	for i, j := range solution.Of {
		if j < copies {
			out[i] = of[j]
		} else {
			out[i] = free[i]
		}
	}
	return out, true
}
