package assign

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// eachTwo calls use with every way to give everybody a thing and an extra.
func eachTwo(t *Two, use func(total float64)) {
	had, used := make([]bool, t.Things), make([]int, t.Extras)
	var give func(i int, sum float64)
	give = func(i int, sum float64) {
		if i == t.Persons {
			use(sum)
			return
		}
		for j := range t.Things {
			for k := range t.Extras {
				x := t.Cost[(i*t.Things+j)*t.Extras+k]
				if had[j] || used[k] >= t.Copies[k] || math.IsInf(x, 1) {
					continue
				}
				had[j] = true
				used[k]++
				give(i+1, sum+x)
				had[j] = false
				used[k]--
			}
		}
	}
	give(0, 0)
}

// checkTwo verifies that a solution keeps to the things, the copies and its total.
func checkTwo(tb tester, t *Two, s TwoSolution) {
	tb.Helper()
	had, used, sum := map[int]bool{}, map[int]int{}, 0.0
	for i, j := range s.Thing {
		if had[j] {
			tb.Fatalf("thing %d is given twice", j)
		}
		had[j] = true
		used[s.Extra[i]]++
		sum += t.Cost[(i*t.Things+j)*t.Extras+s.Extra[i]]
	}
	for k, n := range used {
		if n > t.Copies[k] {
			tb.Fatalf("%d copies of %d are given, there are %d", n, k, t.Copies[k])
		}
	}
	if len(s.Thing) != t.Persons || math.Abs(sum-s.Total) > 1e-9 || s.Bound > s.Total {
		tb.Fatalf("%d persons, total %v, bound %v, in truth %v", len(s.Thing), s.Total, s.Bound, sum)
	}
}

func twos(t *rapid.T) *Two {
	p := &Two{Persons: rapid.IntRange(1, 4).Draw(t, "persons")}
	p.Things, p.Extras = rapid.IntRange(p.Persons, 5).Draw(t, "things"), rapid.IntRange(1, 3).Draw(t, "extras")
	for range p.Extras {
		p.Copies = append(p.Copies, rapid.IntRange(0, p.Persons).Draw(t, "copies"))
	}
	for range p.Persons * p.Things * p.Extras {
		x := float64(rapid.IntRange(-2, 14).Draw(t, "cost"))
		if x > 11 {
			x = math.Inf(1)
		}
		p.Cost = append(p.Cost, x)
	}
	return p
}

func TestSolveTwoAgainstAllWays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := twos(t)
		want := math.Inf(1)
		eachTwo(p, func(total float64) { want = min(want, total) })
		s, err := SolveTwo(p, 10000)
		if err != nil {
			if !errors.Is(err, ErrNoWay) || !math.IsInf(want, 1) {
				t.Fatalf("%v, but %v is possible", err, want)
			}
			return
		}
		checkTwo(t, p, s)
		if !s.Exact || math.Abs(s.Total-want) > 1e-9 {
			t.Fatalf("total %v, bound %v after %d nodes, want %v", s.Total, s.Bound, s.Nodes, want)
		}
	})
}

// errors of persons with things and extras: nearly sums, as real ones are.
func nearlySums(persons, things, extras int, seed uint64) *Two {
	rng := rand.New(rand.NewPCG(seed, 2))
	t := &Two{Persons: persons, Things: things, Extras: extras}
	draw := func(n int, sd float64) []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = sd * rng.NormFloat64()
		}
		return out
	}
	person, thing, extra := draw(persons, 2), draw(things, 2), draw(extras, 1)
	suits, goes, likes := draw(persons*things, 0.8), draw(things*extras, 0.8), draw(persons*extras, 0.5)
	for i := range persons {
		for j := range things {
			for k := range extras {
				t.Cost = append(t.Cost, 12+person[i]+thing[j]+extra[k]+suits[i*things+j]+goes[j*extras+k]+likes[i*extras+k])
			}
		}
	}
	t.Copies = append(t.Copies, persons) // what persons have themselves
	for range extras - 1 {
		t.Copies = append(t.Copies, 1)
	}
	return t
}

// A bound that is printed is one: no solution that is known lies below it.
func TestSolveTwoBound(t *testing.T) {
	p := nearlySums(12, 14, 8, 1)
	exact, err := SolveTwo(p, 100000)
	if err != nil || !exact.Exact {
		t.Fatalf("%v, exact %v after %d nodes", err, exact.Exact, exact.Nodes)
	}
	checkTwo(t, p, exact)
	for nodes := range 4 {
		s, err := SolveTwo(p, nodes)
		if err != nil {
			t.Fatal(err)
		}
		checkTwo(t, p, s)
		if s.Bound > exact.Total+1e-9 || s.Total < exact.Total-1e-9 {
			t.Errorf("%d nodes: %v..%v does not hold %v", nodes, s.Bound, s.Total, exact.Total)
		}
		if s.Total-s.Bound > 0.02*exact.Total {
			t.Errorf("%d nodes: gap %v", nodes, s.Total-s.Bound)
		}
	}
}

func BenchmarkSolveTwo(b *testing.B) {
	for _, bc := range []struct {
		name                             string
		persons, things, extras, nodeMax int
	}{{"20x24x15", 20, 24, 15, 500}, {"300x300x40", 300, 300, 40, 1}} {
		b.Run(bc.name, func(b *testing.B) {
			t := nearlySums(bc.persons, bc.things, bc.extras, 1)
			for b.Loop() {
				s, err := SolveTwo(t, bc.nodeMax)
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric((s.Total-s.Bound)/float64(bc.persons), "gap/person")
				b.ReportMetric(float64(s.Nodes), "nodes")
			}
		})
	}
}

func TestFairestTwo(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := twos(t)
		s, err := SolveTwo(p, 10000)
		if err != nil {
			return
		}
		f := FairestTwo(p, s)
		checkTwo(t, p, TwoSolution{Thing: f.Thing, Extra: f.Extra, Total: f.Total, Bound: f.Total})
		before, after := p.descending(s.Thing, s.Extra), p.descending(f.Thing, f.Extra)
		if slices.Compare(after, before) > 0 {
			t.Fatalf("%v is less fair than %v", after, before)
		}
		// Every way that begins with the same greatest costs goes on with at least
		// the bound.
		for but := range p.Persons + 1 {
			worst, bound := f.Worst(but)
			if want := slices.Max(append(after[but:], math.Inf(-1))); worst != want || bound > worst {
				t.Fatalf("worst but %d of %v is %v, bound %v", but, after, worst, bound)
			}
			eachTwoFalling(p, func(costs []float64) {
				if but < len(costs) && slices.Equal(costs[:but], after[:but]) && costs[but] < bound {
					t.Fatalf("worst but %d of %v is %v, bound %v, and %v is possible", but, after, worst, bound, costs)
				}
			})
		}
	})
	// The least total is 1 + 10, the fairest 6 + 6; with one copy of an extra that
	// takes 4 off for the second, 6 + 1 is both.
	inf := math.Inf(1)
	p := &Two{Persons: 2, Things: 2, Extras: 2, Copies: []int{2, 0}, Cost: []float64{1, inf, 6, inf, 6, 2, 10, 6}}
	for copies, want := range [][]float64{{6, 6}, {6, 1}} {
		p.Copies[1] = copies
		s, err := SolveTwo(p, 100)
		if err != nil {
			t.Fatal(err)
		}
		f := FairestTwo(p, s)
		if got := p.descending(f.Thing, f.Extra); !slices.Equal(got, want) {
			t.Errorf("%d copies: %v, want %v", copies, got, want)
		}
	}
}

// eachTwoFalling is eachTwo for costs, the greatest first: each table is searched
// with powers of 8, whose sum holds at most four whole costs from -2 to 11 exactly.
func eachTwoFalling(t *Two, use func(costs []float64)) {
	steep := *t
	steep.Cost = nil
	for _, x := range t.Cost {
		steep.Cost = append(steep.Cost, math.Pow(8, x))
	}
	eachTwo(&steep, func(total float64) {
		costs := make([]float64, t.Persons)
		for i := range costs {
			costs[i] = math.Floor(math.Log2(total)/3 + 1e-9)
			total -= math.Pow(8, costs[i])
		}
		use(costs)
	})
}

func TestMorePersonsThanThings(t *testing.T) {
	p := &Two{Persons: 2, Things: 1, Extras: 1, Cost: []float64{1, 2}, Copies: []int{2}}
	if s, err := SolveTwo(p, 10); !errors.Is(err, ErrNoWay) {
		t.Errorf("%+v, %v", s, err)
	}
}
