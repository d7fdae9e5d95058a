package assign

import (
	"cmp"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/floats/scalar"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"
	"pgregory.net/rapid"
)

// tables draws tables of whole costs, so that there are ties, some forbidden.
func tables(t *rapid.T, rows, cols int) *Costs {
	c := NewCosts(rows, cols)
	for at := range c.c {
		if c.c[at] = float64(rapid.IntRange(-3, 12).Draw(t, "cost")); c.c[at] > 9 {
			c.c[at] = math.Inf(1)
		}
	}
	return c
}

// each calls use with every way to give everybody something.
func each(c *Costs, use func(of []int)) {
	of := make([]int, c.rows)
	var give func(i int)
	give = func(i int) {
		if i == c.rows {
			use(of)
			return
		}
		for j := range c.cols {
			if of[i] = j; c.May(i, j) && !slices.Contains(of[:i], j) {
				give(i + 1)
			}
		}
	}
	give(0)
}

func total(c *Costs, of []int) (sum float64) {
	for i, j := range of {
		sum += c.At(i, j)
	}
	return sum
}

// least is the least total of all ways, Inf if there is none.
func least(c *Costs) float64 {
	best := math.Inf(1)
	each(c, func(of []int) { best = min(best, total(c, of)) })
	return best
}

func TestSolveAgainstAllWays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.IntRange(0, 6).Draw(t, "rows")
		c := tables(t, rows, rapid.IntRange(0, 7).Draw(t, "cols"))
		want := least(c)
		s, err := Solve(c)
		if err != nil {
			checkBlocked(t, c, err)
			if !math.IsInf(want, 1) {
				t.Fatalf("blocked, but %v is possible", want)
			}
			return
		}
		if s.Total != want || total(c, s.Of) != want {
			t.Fatalf("total %v of %v, want %v", s.Total, s.Of, want)
		}
		checkProof(t, c, s, 1e-12)
	})
}

type tester interface {
	Helper()
	Fatalf(format string, args ...any)
}

// checkBlocked verifies Hall's condition is broken: the rows can have nothing
// but the columns, which are fewer.
func checkBlocked(t tester, c *Costs, err error) {
	t.Helper()
	var b *Blocked
	if !errors.As(err, &b) || len(b.Rows) != len(b.Cols)+1 || !slices.IsSorted(b.Rows) || !slices.IsSorted(b.Cols) {
		t.Fatalf("error %v", err)
	}
	for k, i := range b.Rows {
		if k > 0 && b.Rows[k-1] == i {
			t.Fatalf("row %d twice", i)
		}
		for j := range c.cols {
			if c.May(i, j) && !slices.Contains(b.Cols, j) {
				t.Fatalf("row %d of %+v can have %d", i, b, j)
			}
		}
	}
}

// checkProof verifies what the prices promise, which proves the least total.
func checkProof(t tester, c *Costs, s Solution, tolerance float64) {
	t.Helper()
	had := make([]bool, c.cols)
	for i, j := range s.Of {
		if had[j] {
			t.Fatalf("column %d is given twice", j)
		}
		had[j] = true
		if math.Abs(s.RowPrice[i]+s.ColPrice[j]-c.At(i, j)) > tolerance {
			t.Fatalf("row %d has %d at %v, prices %v and %v", i, j, c.At(i, j), s.RowPrice[i], s.ColPrice[j])
		}
	}
	for j, price := range s.ColPrice {
		if price > 0 || !had[j] && price != 0 {
			t.Fatalf("column %d, had %v, has the price %v", j, had[j], price)
		}
		for i := range c.rows {
			if s.RowPrice[i]+price > c.At(i, j)+tolerance {
				t.Fatalf("%d with %d costs %v, less than the prices %v and %v", i, j, c.At(i, j), s.RowPrice[i], price)
			}
		}
	}
}

// Linear programming finds the same total on middling tables: the assignment
// polytope has whole corners (G. Birkhoff 1946), so its optimum is the same.
func TestSolveAgainstLinearProgramming(t *testing.T) {
	for seed, n := range []int{8, 12, 15} {
		c := nearlyAdditive(n, 0.7, uint64(seed))
		a := mat.NewDense(2*n-1, n*n, nil) // the last column's row follows from the others
		b := make([]float64, 2*n-1)
		for at := range n * n {
			a.Set(at/n, at, 1)
			if at%n < n-1 {
				a.Set(n+at%n, at, 1)
			}
		}
		for i := range b {
			b[i] = 1
		}
		want, _, err := lp.Simplex(c.c, a, b, 1e-10, nil)
		if err != nil {
			t.Fatal(err)
		}
		s, err := Solve(c)
		if err != nil || !scalar.EqualWithinAbs(s.Total, want, 1e-8) {
			t.Errorf("%d: total %v (%v), linear programming finds %v", n, s.Total, err, want)
		}
	}
}

// Large tables can't be searched, but prices prove what is found.
func TestSolveLarge(t *testing.T) {
	for seed, own := range []float64{0.1, 0.5, 30} {
		c := nearlyAdditive(200, own, uint64(seed))
		s, err := Solve(c)
		if err != nil {
			t.Fatal(err)
		}
		checkProof(t, c, s, 1e-10)
		tall := NewCosts(150, 200)
		copy(tall.c, c.c)
		if s, err = Solve(tall); err != nil {
			t.Fatal(err)
		}
		checkProof(t, tall, s, 1e-10)
	}
}

// Examples by hand: the tables that are drawn may all be blocked, or none.
func TestByHand(t *testing.T) {
	inf := math.Inf(1)
	c := &Costs{3, 3, []float64{1, 2, inf, 1, 4, inf, 3, 3, 3}}
	s, err := Solve(c)
	if err != nil || s.Total != 6 || !slices.Equal(s.Of, []int{1, 0, 2}) {
		t.Fatalf("%+v, %v", s, err)
	}
	of, rise, ok := NewOthers(c, s).Without(0)
	if !ok || rise != 2 || !slices.Equal(of, []int{0, 1, 2}) {
		t.Errorf("without 1 for 0: %v, rise %v, %v", of, rise, ok)
	}
	if of, _, ok := NewOthers(c, s).Without(2); ok {
		t.Errorf("without 2 for 2: %v, though the others can't have it", of)
	}
	c.Set(2, 2, inf)
	_, err = Solve(c)
	checkBlocked(t, c, err)
	fair := &Costs{2, 2, []float64{1, 6, 6, 10}}
	if s, _ := Solve(fair); s.Total != 11 {
		t.Errorf("least total %v, want 1 + 10", s.Total)
	}
	if s, _ := Fairest(fair); s.Total != 12 {
		t.Errorf("fairest total %v, want 6 + 6", s.Total)
	}
}

func TestSolveRefusesWhatIsNoCost(t *testing.T) {
	for _, x := range []float64{math.NaN(), math.Inf(-1)} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%v was taken", x)
				}
			}()
			c := NewCosts(1, 1)
			c.Set(0, 0, x)
			Solve(c)
		}()
	}
}

// orWithout is the table with a column more for each person, which nobody else
// can have: who gets it stays without. It costs person i without[i], which should
// be more than any exchange could save if as many as possible are to have
// something.
func orWithout(c *Costs, without []float64) *Costs {
	wide := NewCosts(c.rows, c.cols+c.rows)
	for i := range c.rows {
		row := wide.Row(i)
		copy(row, c.Row(i))
		for j := c.cols; j < len(row); j++ {
			row[j] = math.Inf(1)
		}
		row[c.cols+i] = without[i]
	}
	return wide
}

func TestBlockedWhenServingAsManyAsCanBe(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.IntRange(1, 5).Draw(t, "rows")
		c := tables(t, rows, rapid.IntRange(1, 5).Draw(t, "cols"))
		without := make([]float64, rows)
		for i := range without {
			without[i] = 1000
		}
		wide := orWithout(c, without)
		s, err := Solve(wide)
		if err != nil {
			t.Fatal(err)
		}
		if want := least(wide); s.Total != want {
			t.Fatalf("total %v, want %v", s.Total, want)
		}
		for i, j := range s.Of {
			if b := Blocking(c, s.Of, i); j < c.cols {
				continue
			} else if b == nil {
				t.Fatalf("%d has nothing in %v, and nothing blocks", i, s.Of)
			} else if checkBlocked(t, c, b); !slices.Contains(b.Rows, i) {
				t.Fatalf("%v does not hold %d", b.Rows, i)
			}
		}
	})
}

func TestOthersAgainstAllWays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.IntRange(1, 5).Draw(t, "rows")
		c := tables(t, rows, rapid.IntRange(rows, 6).Draw(t, "cols"))
		s, err := Solve(c)
		if err != nil {
			return
		}
		for i := range rows {
			want := math.Inf(1)
			each(c, func(of []int) {
				if of[i] != s.Of[i] {
					want = min(want, total(c, of)-s.Total)
				}
			})
			before := slices.Clone(s.Of)
			of, rise, ok := NewOthers(c, s).Without(i)
			if !slices.Equal(before, s.Of) {
				t.Fatal("the solution was changed")
			}
			if ok == math.IsInf(want, 1) || ok && (rise != want || total(c, of)-s.Total != want || of[i] == s.Of[i]) {
				t.Fatalf("without %d for %d: %v at %v (%v), want %v", s.Of[i], i, of, rise, ok, want)
			}
			if ok {
				sorted := slices.Sorted(slices.Values(of))
				if len(slices.Compact(sorted)) != rows {
					t.Fatalf("something is given twice: %v", of)
				}
			}
		}
	})
}

// descending are the costs of a way, the greatest first.
func descending(c *Costs, of []int) []float64 {
	var out []float64
	for i, j := range of {
		out = append(out, c.At(i, j))
	}
	slices.SortFunc(out, func(a, b float64) int { return cmp.Compare(b, a) })
	return out
}

func TestFairestAgainstAllWays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.IntRange(1, 6).Draw(t, "rows")
		c := tables(t, rows, rapid.IntRange(rows, 7).Draw(t, "cols"))
		var want []float64
		each(c, func(of []int) {
			if d := descending(c, of); want == nil || slices.Compare(d, want) < 0 {
				want = d
			}
		})
		s, err := Fairest(c)
		if err != nil {
			if want != nil {
				t.Fatalf("%v, but %v is possible", err, want)
			}
			checkBlocked(t, c, err)
			return
		}
		if got := descending(c, s.Of); !slices.Equal(got, want) {
			t.Fatalf("fairest is %v by %v, want %v", got, s.Of, want)
		}
		if s.Total != total(c, s.Of) {
			t.Fatalf("total %v of %v", s.Total, s.Of)
		}
	})
}

// On tables that can't be searched, no exchange of two makes it fairer, and the
// greatest cost is the least that any assignment has: forbidding it blocks.
func TestFairestLarge(t *testing.T) {
	c := nearlyAdditive(60, 0.5, 3)
	s, err := Fairest(c)
	if err != nil {
		t.Fatal(err)
	}
	worst := descending(c, s.Of)[0]
	below := NewCosts(c.rows, c.cols)
	for at, x := range c.c {
		if x >= worst {
			below.c[at] = math.Inf(1)
		}
	}
	if _, err := Solve(below); err == nil {
		t.Errorf("all can cost less than %v", worst)
	}
	for i := range c.rows {
		for k := range i {
			now := max(c.At(i, s.Of[i]), c.At(k, s.Of[k]))
			if swapped := max(c.At(i, s.Of[k]), c.At(k, s.Of[i])); swapped < now {
				t.Errorf("%d and %d exchanged have %v, not %v", i, k, swapped, now)
			}
		}
	}
}

// The same answer comes each time, also where persons are alike.
func TestTiesAreBrokenTheSameWay(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	c := NewCosts(12, 15)
	for i := range 12 {
		for j := range 15 {
			c.Set(i, j, float64(rng.IntN(3)))
		}
	}
	for _, solve := range []func(*Costs) (Solution, error){Solve, Fairest} {
		first, err := solve(c)
		if err != nil {
			t.Fatal(err)
		}
		for range 5 {
			if again, _ := solve(c); !slices.Equal(again.Of, first.Of) {
				t.Fatalf("%v, then %v", first.Of, again.Of)
			}
		}
	}
}
