package tuning

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Floor is never above the square of the error, and where no stop holds the
// slide it is that square.
func TestFloor(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		i := drawInstance(t)
		if rapid.Bool().Draw(t, "no throws") {
			i.o.Throws = Throws{}
			p, err := NewProblem(i.p.slots, i.o)
			if err != nil {
				t.Fatal(err)
			}
			i.p = p
		}
		floor, e := i.p.Floor(i.d), i.p.Error(i.d)
		if floor > e*e*(1+1e-9)+1e-9 {
			t.Fatalf("floor %.15g is above the square %.15g", floor, e*e)
		}
		if !i.p.Solve(i.d).AtStop && floor < e*e*(1-1e-9)-1e-9 {
			t.Fatalf("floor %.15g, the square is %.15g", floor, e*e)
		}
	})
}

// Without throws the slide is found at once; the search finds the same.
func TestPlainSolutionIsThatOfTheSearch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		i := drawInstance(t)
		i.o.Throws = Throws{}
		plain, err := NewProblem(i.p.slots, i.o)
		if err != nil {
			t.Fatal(err)
		}
		if !plain.plain {
			t.Fatal("a problem without throws is not plain")
		}
		searched := *plain
		searched.plain = false
		a, sumA := plain.solve(i.d, 0)
		b, sumB := searched.solve(i.d, 0)
		if math.Abs(a-b) > 1e-9*(1+math.Abs(a)) || math.Abs(sumA-sumB) > 1e-9*(1+sumA) {
			t.Fatalf("t = %.15g or %.15g, sums %.15g and %.15g", a, b, sumA, sumB)
		}
	})
}
