package main

import (
	"testing"

	"centwise/match/assign"
	"centwise/match/fit/simulate"
)

// true errors of the large catalog: students with mouthpieces of their own on
// its horns, nearly those of the student plus those of the horn.
func largeErrors(b *testing.B, students, horns int) (*simulate.World, *assign.Costs) {
	w := simulate.Generate(simulate.Plain, simulate.Large, 1)
	problem, err := trueProblem(w.CatalogHorns()[0], judged(false))
	if err != nil {
		b.Fatal(err)
	}
	c := assign.NewCosts(students, horns)
	for i := range students {
		for h := range horns {
			c.Set(i, h, problem.Error(relative(w.PlayedTruth(h, i, i))))
		}
	}
	return w, c
}

func BenchmarkSolveErrors1000(b *testing.B) {
	_, c := largeErrors(b, 1000, 1000)
	for b.Loop() {
		if _, err := assign.Solve(c); err != nil {
			b.Fatal(err)
		}
	}
}

// 300 students, 300 horns and 40 spare mouthpieces beside their own.
func BenchmarkSolveTwoErrors300(b *testing.B) {
	const n, spares = 300, 40
	w, own := largeErrors(b, n, n)
	problem, err := trueProblem(w.CatalogHorns()[0], judged(false))
	if err != nil {
		b.Fatal(err)
	}
	t := &assign.Two{Persons: n, Things: n, Extras: 1 + spares, Copies: []int{n}}
	for range spares {
		t.Copies = append(t.Copies, 1)
	}
	for i := range n {
		for h := range n {
			t.Cost = append(t.Cost, own.At(i, h))
			for k := range spares {
				t.Cost = append(t.Cost, problem.Error(relative(w.PlayedTruth(h, n+k, i))))
			}
		}
	}
	for b.Loop() {
		s, err := assign.SolveTwo(t, 1)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric((s.Total-s.Bound)/n, "cents/student-lost-at-most")
	}
}
