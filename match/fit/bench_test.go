package fit

import (
	"fmt"
	"testing"

	"centwise/catalog"
	"centwise/match/fit/simulate"
)

// fullCatalog has 30 horns and 40 mouthpieces in 130 sessions of the usual
// notes, 4,030 readings.
func fullCatalog() *shelf {
	rng := seeded(3)
	s := newShelf(labels("horn", 30), labels("mouthpiece", 40), labels("player", 20))
	of := map[string][]float64{}
	for _, label := range append(append(labels("horn", 30), labels("mouthpiece", 40)...), labels("player", 20)...) {
		of[label] = randomProfile(rng, 31, 4)
	}
	for i := range 130 {
		h, m, p := fmt.Sprintf("horn%03d", 1+i%30), fmt.Sprintf("mouthpiece%03d", 1+(i*7+i/30)%40), fmt.Sprintf("player%03d", 1+rng.IntN(20))
		s.measure(h, m, p, usualSlots(), func(j int) float64 { return of[h][j] + of[m][j] + of[p][j] + 4*rng.NormFloat64() })
	}
	return s
}

func benchmarkRun(b *testing.B, s *shelf) {
	d := s.load(b)
	var m *Model
	b.ReportAllocs()
	for b.Loop() {
		var err error
		if m, err = Run(b.Context(), d, Options{}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(d.Readings()), "readings")
	b.ReportMetric(float64(m.Report.Steps), "steps")
	b.ReportMetric(float64(m.Report.Iterations), "iterations")
}

// BenchmarkFit30x40 is a fit of 30 horns and 40 mouthpieces.
func BenchmarkFit30x40(b *testing.B) { benchmarkRun(b, fullCatalog()) }

// BenchmarkFitDuo is a fit of two horns and three mouthpieces.
func BenchmarkFitDuo(b *testing.B) { benchmarkRun(b, duo()) }

// BenchmarkFitWorld fits simulated pooled catalogs (plain: about 7,700 and
// 71,000 readings; harder: 8,000 and 80,000).
func BenchmarkFitWorld(b *testing.B) {
	for _, kind := range []simulate.Kind{simulate.Plain, simulate.Harder} {
		for _, size := range []simulate.Size{simulate.Small, simulate.Medium} {
			b.Run(fmt.Sprintf("%s/%s", kind, size), func(b *testing.B) {
				benchmarkRun(b, worldShelf(simulate.Generate(kind, size, 1)))
			})
		}
	}
}

// BenchmarkLoad reads a catalog of 71,000 readings into the fit's arrays.
func BenchmarkLoad(b *testing.B) {
	s := worldShelf(simulate.Generate(simulate.Plain, simulate.Medium, 1))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Load(b.Context(), s, catalog.NoCounter{}); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkStoredFit opens the stored fit of 30 x 40 items.
func BenchmarkStoredFit(b *testing.B) {
	s := fullCatalog()
	s.fit(b, Options{})
	b.ReportAllocs()
	for b.Loop() {
		s.fit(b, Options{})
	}
}

// BenchmarkPredictMany predicts one horn with 3,000 mouthpieces, and 30 horns
// with 40 each, on the usual notes with all draws.
func BenchmarkPredictMany(b *testing.B) {
	many := newShelf([]string{"Alder"}, labels("mouthpiece", 3000), []string{"reed-otter"})
	for i := range 40 {
		many.measure("Alder", fmt.Sprintf("mouthpiece%03d", i+1), "reed-otter", usualSlots(), func(j int) float64 { return float64((i*j)%9) - 4 })
	}
	for name, s := range map[string]*shelf{"1x3000": many, "30x40": fullCatalog()} {
		var setups []Setup
		for _, h := range s.horns {
			for _, m := range s.mouthpieces {
				setups = append(setups, Setup{Horn: h.ID, Mouthpiece: m.ID})
			}
		}
		m := quickFit(b, s.load(b), 1, 1, 48)
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := m.PredictMany(setups, usualSlots()); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkEquations are the parts of a step: the equations' set-up for new
// components, one application, one preconditioning.
func BenchmarkEquations(b *testing.B) {
	d := worldShelf(simulate.Generate(simulate.Plain, simulate.Medium, 1)).load(b)
	e := newEngine(d, DefaultComponents(len(d.Sources)), 1, false)
	e.startCells()
	e.refresh()
	w := e.sys.newWorkspace()
	x, y := make([]float64, e.sys.unknowns), make([]float64, e.sys.unknowns)
	for i := range x {
		x[i] = float64(i%7) - 3
	}
	b.Run("set up", func(b *testing.B) {
		for b.Loop() {
			e.refresh()
		}
	})
	b.Run("apply", func(b *testing.B) {
		for b.Loop() {
			e.sys.apply(x, y, w)
		}
	})
	b.Run("precondition", func(b *testing.B) {
		for b.Loop() {
			e.sys.applyPreconditioner(x, y, w)
		}
	})
}
