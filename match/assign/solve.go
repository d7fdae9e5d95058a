package assign

import (
	"math"
	"slices"
)

// Solution is who has what.
type Solution struct {
	Of    []int   // thing of each person; -1 = none, which only SolvePartial gives
	Total float64 // of the costs

	// Prices prove that nothing is cheaper: RowPrice[i] + ColPrice[j] is no more
	// than the cost of i with j, and equal to it where i has j; no ColPrice is
	// above nought, and those of things that nobody has are nought.
	RowPrice, ColPrice []float64
}

// Solve gives everybody a different thing at the least total cost, by shortest
// augmenting paths: R. Jonker & A. Volgenant 1987, Computing 38, 325-340, for
// more things than persons as in D. F. Crouse 2016, IEEE Trans. Aerosp.
// Electron. Syst. 52, 1679-1696. Time grows with persons x persons x things.
// The error is a [*Blocked]. It panics on NaN and -Inf.
func Solve(c *Costs) (Solution, error) {
	c.check()
	s := newSolver(c)
	s.levelPrices()
	return s.run()
}

// run ends what begins with any prices of columns, which must be nought where
// there are more columns than rows.
func (s *solver) run() (Solution, error) {
	s.reduce()
	for i, j := range s.of {
		if j < 0 && !s.augment(i) {
			return Solution{}, s.blocked(i)
		}
	}
	return s.solution(), nil
}

// solver is a partial assignment with prices under which it is the cheapest.
type solver struct {
	*Costs
	of    []int     // column of each row, -1 = none yet
	by    []int     // row of each column, -1 = none yet
	price []float64 // of columns

	// For augment: the cheapest way found to each column, the row it comes from,
	// and the columns in the order they are settled.
	way   []float64
	from  []int
	order []int
	ready int // columns of order that are settled
}

func newSolver(c *Costs) *solver {
	s := &solver{Costs: c, of: make([]int, c.rows), by: make([]int, c.cols), price: make([]float64, c.cols),
		way: make([]float64, c.cols), from: make([]int, c.cols), order: make([]int, c.cols)}
	for i := range s.of {
		s.of[i] = -1
	}
	for j := range s.by {
		s.by[j] = -1
	}
	return s
}

// levelPrices begins, where everything will be had, with the prices that fit if
// costs were those of the row plus those of the column: errors nearly are, and
// their rows begin by bidding for the same few columns otherwise.
func (s *solver) levelPrices() {
	if s.rows != s.cols {
		return
	}
	count := make([]float64, s.cols)
	for i := range s.rows {
		for j, x := range s.Row(i) {
			if !math.IsInf(x, 1) {
				s.price[j] += x
				count[j]++
			}
		}
	}
	for j, n := range count {
		s.price[j] /= max(1, n)
	}
	top := slices.Max(append(s.price, math.Inf(-1)))
	for j := range s.price {
		s.price[j] -= top
	}
}

// reductionSteps bounds how often, for each row, prices are bid up before paths
// are searched.
const reductionSteps = 3

// reduce gives rows the columns they like best at the prices, which it bids up:
// the augmenting row reduction of Jonker & Volgenant. Columns that nobody has
// keep the price nought, so it serves tables of any shape.
func (s *solver) reduce() {
	waiting := make([]int, s.rows)
	for i := range waiting {
		waiting[i] = i
	}
	steps := reductionSteps * s.rows
	for range 2 {
		var next []int
		for k := 0; k < len(waiting); {
			i := waiting[k]
			k++
			best, least, second := s.bestTwo(i)
			if best < 0 || math.IsInf(second, 1) && s.by[best] >= 0 {
				next = append(next, i) // nothing to bid with
				continue
			}
			loser := s.by[best]
			lower := false
			if !math.IsInf(second, 1) {
				bid := s.price[best] - (second - least)
				lower = bid < s.price[best]
				if !lower && loser >= 0 {
					next = append(next, i) // a tie: paths will tell
					continue
				}
				s.price[best] = bid
			}
			s.of[i], s.by[best] = best, i
			if loser < 0 {
				continue
			}
			s.of[loser] = -1
			if steps--; lower && steps > 0 {
				k--
				waiting[k] = loser
			} else {
				next = append(next, loser)
			}
		}
		slices.Sort(next)
		waiting = next
	}
}

// bestTwo finds the column that is cheapest for a row at the prices, and the two
// least costs; -1 when the row can have nothing.
func (s *solver) bestTwo(i int) (best int, least, second float64) {
	best, least, second = -1, math.Inf(1), math.Inf(1)
	price := s.price
	for j, x := range s.Row(i) {
		x -= price[j]
		if x < second {
			if x < least {
				best, least, second = j, x, least
			} else {
				second = x
			}
		}
	}
	return best, least, second
}

// augment gives row a column by the cheapest exchange among the others; false
// when there is none.
func (s *solver) augment(row int) bool {
	s.start(row)
	end, settled := -1, 0 // settled: columns of order that are nearer than dist
	dist := 0.0
	for scan := 0; end < 0; {
		if s.ready == scan {
			settled = s.ready
			if dist = s.nearest(); math.IsInf(dist, 1) {
				return false
			}
			for _, j := range s.order[scan:s.ready] {
				if s.by[j] < 0 {
					end = j
					break
				}
			}
			if end >= 0 {
				break
			}
		}
		j := s.order[scan]
		scan++
		end = s.relax(s.by[j], j, dist)
	}
	for _, j := range s.order[:settled] {
		s.price[j] += s.way[j] - dist
	}
	s.exchange(row, end)
	return true
}

// start begins a search for ways from a row.
func (s *solver) start(row int) {
	for j, x := range s.Row(row) {
		s.way[j], s.from[j], s.order[j] = x-s.price[j], row, j
	}
	s.ready = 0
}

// nearest settles the columns that are nearest of those not settled, and gives
// how far they are.
func (s *solver) nearest() float64 {
	at, dist := s.ready, math.Inf(1)
	for k := at; k < len(s.order); k++ {
		j := s.order[k]
		d := s.way[j]
		if d > dist || math.IsInf(d, 1) {
			continue
		}
		if d < dist {
			dist, s.ready = d, at
		}
		s.order[k] = s.order[s.ready]
		s.order[s.ready] = j
		s.ready++
	}
	return dist
}

// relax looks from a row, whose column was settled at dist, for shorter ways to
// the columns that are not settled. It gives a column that nobody has, if one is
// no farther than dist, else -1.
func (s *solver) relax(i, column int, dist float64) int {
	cost, price := s.Row(i), s.price
	base := dist - (cost[column] - price[column])
	for k := s.ready; k < len(s.order); k++ {
		j := s.order[k]
		d := base + cost[j] - price[j]
		if d >= s.way[j] {
			continue
		}
		s.from[j] = i
		if d > dist {
			s.way[j] = d
			continue
		}
		s.way[j] = dist // rounding may put it below
		if s.by[j] < 0 {
			return j
		}
		s.order[k] = s.order[s.ready]
		s.order[s.ready] = j
		s.ready++
	}
	return -1
}

// exchange gives columns along the way to a column that nobody has.
func (s *solver) exchange(row, end int) {
	for {
		i := s.from[end]
		s.by[end] = i
		s.of[i], end = end, s.of[i]
		if i == row {
			return
		}
	}
}

// blocked says why a row could not have anything, after augment failed.
func (s *solver) blocked(row int) *Blocked {
	b := &Blocked{Rows: []int{row}}
	for _, j := range s.order[:s.ready] {
		b.Cols = append(b.Cols, j)
		b.Rows = append(b.Rows, s.by[j])
	}
	slices.Sort(b.Rows)
	slices.Sort(b.Cols)
	return b
}

func (s *solver) solution() Solution {
	out := Solution{Of: s.of, ColPrice: s.price, RowPrice: make([]float64, s.rows)}
	for i, j := range s.of {
		out.RowPrice[i] = s.At(i, j) - s.price[j]
		out.Total += s.At(i, j)
	}
	return out
}
