package assign

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"gonum.org/v1/gonum/floats/scalar"
)

// What scipy found on tables of its own making: testdata/secondopinion.py, run with the
// version that the file names.
func TestAgainstScipy(t *testing.T) {
	text, err := os.ReadFile("testdata/secondopinion.json")
	if err != nil {
		t.Fatal(err)
	}
	var said struct {
		Plain []struct {
			Cost         [][]*float64
			Total, Worst float64
		}
		Two []struct {
			Persons, Things, Extras int
			Copies                  []int
			Cost                    []float64
			Total                   float64
		}
	}
	if err := json.Unmarshal(text, &said); err != nil || len(said.Plain) < 4 || len(said.Two) < 4 {
		t.Fatalf("%d and %d tables, %v", len(said.Plain), len(said.Two), err)
	}
	const tolerance = 1e-6 // costs have three decimals
	for k, x := range said.Plain {
		c := NewCosts(len(x.Cost), len(x.Cost[0]))
		for i, row := range x.Cost {
			for j, cost := range row {
				if cost == nil {
					c.Set(i, j, math.Inf(1))
				} else {
					c.Set(i, j, *cost)
				}
			}
		}
		if s, err := Solve(c); err != nil || !scalar.EqualWithinAbs(s.Total, x.Total, tolerance) {
			t.Errorf("table %d: total %v (%v), scipy %v", k, s.Total, err, x.Total)
		}
		if s, err := Fairest(c); err != nil || descending(c, s.Of)[0] != x.Worst {
			t.Errorf("table %d: worst %v (%v), scipy %v", k, descending(c, s.Of)[0], err, x.Worst)
		}
	}
	for k, x := range said.Two {
		s, err := SolveTwo(&Two{x.Persons, x.Things, x.Extras, x.Cost, x.Copies}, 5000)
		if err != nil || !s.Exact || !scalar.EqualWithinAbs(s.Total, x.Total, tolerance) {
			t.Errorf("with extras, table %d: total %v (exact %v, %v), scipy %v", k, s.Total, s.Exact, err, x.Total)
		}
	}
}
