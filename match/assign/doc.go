// Package assign gives every person one thing, so that the costs add up to the
// least ([Solve]) or so that the worst cost is the least, then the next worst
// ([Fairest]); and one of a second kind of thing beside it ([SolveTwo]).
//
// Costs are any finite numbers; +Inf says that a person can't have a thing.
// Answers depend on the costs alone: ties are broken the same way each time.
//
// No kept Go library has an assignment solver for costs that are not whole
// numbers, so this one is ours.
package assign

import (
	"fmt"
	"math"
)

// Costs is a table of costs: a row a person, a column a thing.
type Costs struct {
	rows, cols int
	c          []float64
}

// NewCosts makes a table of noughts.
func NewCosts(rows, cols int) *Costs {
	return &Costs{rows, cols, make([]float64, rows*cols)}
}

// Row is the row of a person; it may be written to.
func (c *Costs) Row(i int) []float64 { return c.c[i*c.cols : (i+1)*c.cols : (i+1)*c.cols] }

// At is the cost of thing j for person i.
func (c *Costs) At(i, j int) float64 { return c.c[i*c.cols+j] }

// Set changes the cost of thing j for person i.
func (c *Costs) Set(i, j int, x float64) { c.c[i*c.cols+j] = x }

// May reports whether person i can have thing j.
func (c *Costs) May(i, j int) bool { return !math.IsInf(c.At(i, j), 1) }

// check panics on costs that are no costs.
func (c *Costs) check() {
	for at, x := range c.c {
		if math.IsNaN(x) || math.IsInf(x, -1) {
			panic(fmt.Sprintf("assign: cost %d, %d is %g", at/c.cols, at%c.cols, x))
		}
	}
}

// Blocked is the error when not everybody can have something: the persons of
// Rows can have nothing but the things of Cols, which are fewer (Hall's theorem,
// P. Hall 1935, J. London Math. Soc. 10).
type Blocked struct {
	Rows, Cols []int // upwards
}

func (b *Blocked) Error() string {
	return fmt.Sprintf("assign: %d persons can have no more than %d things between them", len(b.Rows), len(b.Cols))
}
