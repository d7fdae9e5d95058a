package fit

import (
	"testing"

	"centwise/catalog"

	"gonum.org/v1/gonum/stat/distuv"
)

// Simulation-based calibration (S. Talts, M. Betancourt, D. Simpson, A. Vehtari
// and A. Gelman, "Validating Bayesian inference algorithms with simulation-based
// calibration", arXiv:1804.06788, 2018): with truths drawn from the model's own
// prior and readings from them, the rank of the truth among the posterior's draws
// is uniform. Truths come from the law as its definitions have it, not from the
// engine's own perturbations; the components are known.
func TestRanksOfTheTruthAreUniform(t *testing.T) {
	const replicates, draws, bins = 280, 19, 10
	rng := seeded(31)
	s := newShelf([]string{"Alder", "Hazel", "Rowan"}, []string{"Dunlin 16.6", "Knot 16.4", "Plover 16.2"}, []string{"blue-kite", "reed-otter"})
	for _, x := range [][3]string{
		{"Alder", "Plover 16.2", "reed-otter"}, {"Alder", "Plover 16.2", "blue-kite"}, {"Alder", "Dunlin 16.6", "reed-otter"},
		{"Rowan", "Plover 16.2", "reed-otter"}, {"Rowan", "Plover 16.2", "reed-otter"}, {"Rowan", "Knot 16.4", "blue-kite"},
	} {
		at := rng.IntN(8)
		s.measure(x[0], x[1], x[2], StandardSlots()[at:at+36], func(int) float64 { return 0 })
	}
	d := s.load(t)
	c := testComponents(len(d.Sources))
	c.GrossShare = 0
	e := newEngine(d, c, 0, false)
	e.startCells()
	e.refresh()
	w := newLaw(t, e, 77)
	slots := usualSlots()
	setups := []Setup{
		setup("Alder", "Plover 16.2", ""), setup("Rowan", "Dunlin 16.6", "reed-otter"), setup("Hazel", "Knot 16.4", ""), setup("Rowan", "Plover 16.2", "blue-kite"),
	}
	// Each quantity is a function of the setups' relative profiles.
	quantities := map[string]func(p [][]float64) float64{
		"a measured pair, lowest note":                 func(p [][]float64) float64 { return p[0][0] },
		"a pair never measured, G4":                    func(p [][]float64) float64 { return p[1][13] },
		"a horn never measured, C6":                    func(p [][]float64) float64 { return p[2][30] },
		"another player's pair, C5":                    func(p [][]float64) float64 { return p[3][18] },
		"how two setups differ, E5":                    func(p [][]float64) float64 { return p[0][22] - p[1][22] },
		"sum of squares of a setup, what scores feel":  func(p [][]float64) float64 { return dot(p[1], p[1]) },
		"sum of squares of what a mouthpiece changes":  func(p [][]float64) float64 { return squaredDistance(p[0], p[3]) },
		"high less low notes of a horn never measured": func(p [][]float64) float64 { return p[2][28] - p[2][3] },
	}
	ranks := map[string][]int{}
	for name := range quantities {
		ranks[name] = make([]int, bins)
	}
	for r := range uint64(replicates) {
		truth := w.world()
		truth.read(d)
		e.startCells()
		e.seed = 1000 + r
		var report Report
		tables, err := e.conclude(t.Context(), plan{draws: draws}, &report, catalog.NoCounter{})
		if err != nil {
			t.Fatal(err)
		}
		if !report.Exact {
			t.Fatal("not solved exactly")
		}
		predictions, err := e.finish(tables, report).PredictMany(setups, slots)
		if err != nil {
			t.Fatal(err)
		}
		long := &marginal{data: d}
		actual := make([][]float64, len(setups))
		for i, x := range setups {
			actual[i] = relative(d, truth.profile(long.occasionOf(x)))
		}
		for name, q := range quantities {
			rank, value := 0, q(actual)
			for k := range draws {
				drawn := make([][]float64, len(setups))
				for i := range setups {
					drawn[i] = predictions[i].Draws[k]
				}
				if q(drawn) < value {
					rank++
				}
			}
			ranks[name][rank*bins/(draws+1)]++
		}
	}
	for name, counts := range ranks {
		chi, expected := 0.0, float64(replicates)/bins
		for _, n := range counts {
			chi += (float64(n) - expected) * (float64(n) - expected) / expected
		}
		if p := (distuv.ChiSquared{K: bins - 1}).Survival(chi); p < 1e-3 {
			t.Errorf("%s: ranks of the truth fall as %v, chi square %.1f, p = %.1g", name, counts, chi, p)
		}
	}
}

// relative picks the usual notes and removes their mean.
func relative(d *Data, v []float64) []float64 {
	var out []float64
	mean := 0.0
	for _, s := range usualSlots() {
		out = append(out, v[d.slotIndex[s]])
		mean += v[d.slotIndex[s]] / float64(len(usualSlots()))
	}
	for i := range out {
		out[i] -= mean
	}
	return out
}

func squaredDistance(a, b []float64) float64 {
	sum := 0.0
	for i := range a {
		sum += (a[i] - b[i]) * (a[i] - b[i])
	}
	return sum
}
