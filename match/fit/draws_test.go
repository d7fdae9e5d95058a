package fit

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// drawCase is a small catalog with missing notes, a repeated pair and an
// unmeasured horn, and the setups whose uncertainty is looked at.
func drawCase() (*shelf, []Setup) {
	rng := seeded(21)
	s := newShelf([]string{"Alder", "Hazel", "Rowan"}, []string{"Dunlin 16.6", "Knot 16.4", "Plover 16.2"}, []string{"blue-kite", "reed-otter"})
	slots := StandardSlots()
	for _, x := range [][3]string{
		{"Alder", "Plover 16.2", "reed-otter"}, {"Alder", "Plover 16.2", "blue-kite"}, {"Alder", "Dunlin 16.6", "reed-otter"},
		{"Rowan", "Plover 16.2", "reed-otter"}, {"Rowan", "Knot 16.4", "blue-kite"},
	} {
		at := rng.IntN(10)
		s.measure(x[0], x[1], x[2], slots[at:at+32], func(int) float64 { return 5 * rng.NormFloat64() })
	}
	return s, []Setup{
		setup("Alder", "Plover 16.2", ""),           // measured twice
		setup("Rowan", "Dunlin 16.6", "reed-otter"), // never together
		setup("Rowan", "Plover 16.2", "blue-kite"),  // measured once, by another player
		setup("Hazel", "Knot 16.4", ""),             // a horn nobody measured
	}
}

// Over very many draws the deviations from the mean have the covariance of the
// exact posterior, within setups and between them, the unknown interaction of
// unmeasured pairs included. The Monte-Carlo error of an entry is known:
// var = (C_ii C_jj + C_ij^2) / n.
func TestDrawsHaveTheExactCovariance(t *testing.T) {
	const batches, size = 12, 250
	s, setups := drawCase()
	d := s.load(t)
	slots := usualSlots()
	n := len(setups) * len(slots)
	sum := mat.NewSymDense(n, nil)
	sd := make([]float64, n)
	var e *engine
	p := plan{draws: size, tolerance: 1e-10, drawTolerance: 1e-10, limit: 1000}
	for batch := range uint64(batches) {
		e = newEngine(d, testComponents(1), 100+batch, false)
		predictions, err := solved(t, e, p, true).PredictMany(setups, slots)
		if err != nil {
			t.Fatal(err)
		}
		row := mat.NewVecDense(n, nil)
		for k := range size {
			for i, x := range predictions {
				if len(x.Draws) != size {
					t.Fatalf("%d draws, want %d", len(x.Draws), size)
				}
				for j := range slots {
					row.SetVec(i*len(slots)+j, x.Draws[k][j]-x.Mean[j])
				}
			}
			sum.SymRankOne(sum, 1.0/(batches*size), row)
		}
		for i, x := range predictions {
			for j, v := range x.SD {
				sd[i*len(slots)+j] += v * v / batches
			}
		}
	}
	exact := exactCovariance(t, e, setups)
	compareCovariances(t, sum, exact, batches*size)
	for i := range n {
		want := exact.At(i, i)
		if r := math.Sqrt(sd[i] / want); math.Abs(r-1) > 5/math.Sqrt(2*batches*size) {
			t.Errorf("setup %d, note %d: SD is %.3f times the exact one of %.3f", i/len(slots), i%len(slots), r, math.Sqrt(want))
		}
	}
}

// exactCovariance is that of the setups' relative profiles over the usual
// notes, one after the other, worked out the long way.
func exactCovariance(t *testing.T, e *engine, setups []Setup) *mat.SymDense {
	t.Helper()
	long, slots := newMarginal(t, e), usualSlots()
	out := mat.NewSymDense(len(setups)*len(slots), nil)
	for a := range setups {
		for b := range a + 1 {
			c := long.posterior(t, long.occasionOf(setups[a]), long.occasionOf(setups[b]))
			for i := range slots {
				for j := range slots {
					row, col := a*len(slots)+i, b*len(slots)+j
					if col <= row {
						out.SetSym(row, col, c.At(e.data.slotIndex[slots[i]], e.data.slotIndex[slots[j]]))
					}
				}
			}
		}
	}
	return out
}

// compareCovariances judges a covariance from draws: no entry farther than 5.5
// of its own Monte-Carlo errors, and all together (Frobenius norm) as far as
// chance has it.
func compareCovariances(t *testing.T, got, exact *mat.SymDense, draws float64) {
	t.Helper()
	n, _ := exact.Dims()
	distance, expected := 0.0, 0.0
	for i := range n {
		for j := range n {
			d := got.At(i, j) - exact.At(i, j)
			v := (exact.At(i, i)*exact.At(j, j) + exact.At(i, j)*exact.At(i, j)) / draws
			distance += d * d
			expected += v
			if d*d > 5.5*5.5*v {
				t.Errorf("covariance of entries %d and %d is %.4f from draws, %.4f exactly: %.1f Monte-Carlo errors off", i, j, got.At(i, j), exact.At(i, j), math.Abs(d)/math.Sqrt(v))
			}
		}
	}
	t.Logf("Frobenius distance is %.2f of that expected by chance, %.3f of the norm", math.Sqrt(distance/expected), math.Sqrt(distance)/mat.Norm(exact, 2))
	if r := math.Sqrt(distance / expected); r > 1.6 {
		t.Errorf("the covariances are %.2f times farther apart than chance has it", r)
	}
}

// The iterative solver's draws at the plan's tolerance are as good as exact
// ones: with the same random numbers they differ by far less than their spread.
func TestLooseDrawsAreGoodDraws(t *testing.T) {
	s, setups := drawCase()
	d := s.load(t)
	usual := planFor(d)
	p := plan{draws: 40, tolerance: usual.tolerance, drawTolerance: usual.drawTolerance, limit: usual.limit}
	loose, err := solved(t, newEngine(d, testComponents(1), 8, false), p, false).PredictMany(setups, usualSlots())
	if err != nil {
		t.Fatal(err)
	}
	exact, err := solved(t, newEngine(d, testComponents(1), 8, false), p, true).PredictMany(setups, usualSlots())
	if err != nil {
		t.Fatal(err)
	}
	for i := range setups {
		worst, rms := farthest(loose[i].Draws, exact[i].Draws)
		if rms > 0.05 || worst > 0.3 {
			t.Errorf("setup %d: draws are off by %.3f cents rms, %.3f at worst", i, rms, worst)
		}
	}
}

// The same with everything in the model - designs, dimensions, families,
// slot-by-slot levels, other keys, fourth valves - for the standard deviations
// of all kinds of setups.
func TestSpreadsAreExactInAMixedCatalog(t *testing.T) {
	const batches, size = 2, 160
	s := mixedShelf(4, 4, 2, 9, 5)
	d := s.load(t)
	setups := someSetups(s)
	var square [][]float64
	var e *engine
	for batch := range uint64(batches) {
		e = newEngine(d, testComponents(len(d.Sources)), 50+batch, true)
		m := solved(t, e, plan{draws: size, tolerance: 1e-7, drawTolerance: 1e-5, limit: 1000}, true)
		predictions, err := m.PredictMany(setups, usualSlots())
		if err != nil {
			t.Fatal(err)
		}
		for i, x := range predictions {
			if batch == 0 {
				square = append(square, make([]float64, len(x.SD)))
			}
			for j, v := range x.SD {
				square[i][j] += v * v / batches
			}
		}
	}
	if e.sys.exact == nil {
		t.Fatal("not solved exactly")
	}
	long, ratio := newMarginal(t, e), 0.0
	for i, x := range setups {
		o := long.occasionOf(x)
		want := sdOf(long.posterior(t, o, o))
		for j, slot := range usualSlots() {
			exact := want[e.data.slotIndex[slot]]
			ratio += square[i][j] / (exact * exact) / float64(len(setups)*len(usualSlots()))
			if r := math.Sqrt(square[i][j]) / exact; math.Abs(r-1) > 5/math.Sqrt(2*batches*size) {
				t.Errorf("setup %d, %s: SD is %.3f times the exact one of %.3f", i, slot, r, exact)
			}
		}
	}
	if math.Abs(ratio-1) > 0.05 {
		t.Errorf("over all setups and notes the variances are %.3f times the exact ones", ratio)
	}
	names := map[string]bool{}
	for _, l := range e.sys.levels {
		names[l.name] = true
	}
	for _, name := range []string{levelCommon, levelFamily, levelHornDesign, levelHorn, levelMouthpieceDesign, levelMouthpiece,
		levelDimensions, levelUnknownDimension, levelPlayer, levelMouthpieceSlots, levelPlayerSlots} {
		if !names[name] {
			t.Errorf("the catalog does not exercise the level %q", name)
		}
	}
}
