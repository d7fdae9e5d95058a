package fit

import (
	"fmt"
	"math"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit/simulate"
)

// mixedShelf is a catalog with a bit of everything: designs with several
// specimens, described mouthpieces, three keys and a piccolo with four valves,
// missing notes, repeated readings, pairs measured once and several times, gear
// nobody measured, several contributors.
func mixedShelf(horns, mouthpieces, players, sessions int, seed uint64) *shelf {
	rng := seeded(seed)
	s := newShelf(nil, nil, labels("player", players))
	for i, label := range labels("horn", horns) {
		h := catalog.Horn{Label: label, Maker: "Tidewright", Model: []string{"Heron", "", "Heron", "Bittern"}[i%4]}
		switch i % 7 {
		case 1:
			h.Key = pitch.KeyC
		case 5:
			h.Instrument = catalog.Piccolo
		}
		s.addHorn(h)
	}
	for i, label := range labels("mouthpiece", mouthpieces) {
		m := catalog.Mouthpiece{Label: label, Maker: "Northlamp", Model: []string{"Plover", "", "Plover", "Dunlin"}[i%4]}
		if i%4 != 2 {
			m.RimMM, m.ThroatMM = 15.8+0.2*float64(i%6), 3.6+0.05*float64(i%5)
			m.CupCM3 = 1.1 + 0.05*float64(i%7)
		}
		s.addMouthpiece(m)
	}
	slots := StandardSlots()
	slots = append(slots, pitch.Slot{Valves: pitch.ThreeValveCombinations[4], Partial: 5})
	profiles := map[string][]float64{}
	of := func(label string, sd float64) []float64 {
		if profiles[label] == nil {
			profiles[label] = randomProfile(rng, len(slots), sd)
		}
		return profiles[label]
	}
	lastHorn, lastMouthpiece := 0, 0
	for i := range sessions {
		h, m := rng.IntN(max(1, horns-1)), rng.IntN(max(1, mouthpieces-1)) // the last ones stay unmeasured
		if i%4 == 3 {
			h, m = lastHorn, lastMouthpiece
		}
		lastHorn, lastMouthpiece = h, m
		p := rng.IntN(players)
		var played []pitch.Slot
		var cents []float64
		for j, slot := range slots {
			if rng.Float64() < 0.45 {
				continue
			}
			for range 1 + rng.IntN(6)/5 {
				played = append(played, slot)
				cents = append(cents, of(s.horns[h].Label, 6)[j]+of(s.mouthpieces[m].Label, 3)[j]+of(s.players[p].Label, 3)[j]+4*rng.NormFloat64())
			}
		}
		session := s.measure(s.horns[h].Label, s.mouthpieces[m].Label, s.players[p].Label, played, func(j int) float64 { return cents[j] })
		session.Contributor = labels("contributor", 23)[(i*7+i/5)%23]
	}
	return s
}

// someSetups are pairings of every kind: measured, not measured, of gear that
// nobody measured, with and without a player, typical ones.
func someSetups(s *shelf) []Setup {
	first, last := s.sessions[0], s.sessions[len(s.sessions)-1]
	horn, mouthpiece := s.horns[len(s.horns)-1].ID, s.mouthpieces[len(s.mouthpieces)-1].ID
	return []Setup{
		{Horn: first.Horn, Mouthpiece: first.Mouthpiece},
		{Horn: last.Horn, Mouthpiece: last.Mouthpiece, Player: last.Player},
		{Horn: first.Horn, Mouthpiece: s.mouthpieces[0].ID, Player: s.players[0].ID},
		{Horn: s.horns[1%len(s.horns)].ID, Mouthpiece: last.Mouthpiece},
		{Horn: s.horns[5%len(s.horns)].ID, Mouthpiece: first.Mouthpiece, Player: s.players[len(s.players)-1].ID},
		{Horn: horn, Mouthpiece: first.Mouthpiece},
		{Horn: first.Horn, Mouthpiece: mouthpiece},
		{Horn: horn, Mouthpiece: mouthpiece, Player: first.Player},
		{Horn: first.Horn}, {Mouthpiece: first.Mouthpiece}, {},
	}
}

// unequal components, so that nothing cancels by chance.
func testComponents(sources int) *Components {
	c := DefaultComponents(sources)
	c.Offset, c.Slide, c.Correlation, c.Wiggle, c.Interaction = 5, 7, -0.4, 1.3, 2.1
	for i := range c.SourceNoise {
		c.SourceNoise[i] = 2.5 + float64(i%3)
	}
	c.factorSession()
	return c
}

// farthest is the greatest distance and the rms distance of two sets of
// profiles.
func farthest(a, b [][]float64) (worst, rms float64) {
	n := 0
	for k := range a {
		for i := range a[k] {
			d := math.Abs(a[k][i] - b[k][i])
			worst = math.Max(worst, d)
			rms += d * d
			n++
		}
	}
	return worst, math.Sqrt(rms / float64(n))
}

func meansOf(t testing.TB, m *Model, setups []Setup) [][]float64 {
	t.Helper()
	predictions, err := m.PredictMany(setups, m.Slots())
	if err != nil {
		t.Fatal(err)
	}
	var out [][]float64
	for _, p := range predictions {
		out = append(out, p.Mean)
	}
	return out
}

// Conjugate gradients, the dense factor and the model written out the long way
// give the same predictions.
func TestSolversAgreeWithTheLongWay(t *testing.T) {
	for _, tc := range []struct {
		horns, mouthpieces, players, sessions int
		fine                                  bool
	}{
		{3, 4, 2, 6, true},
		{4, 5, 3, 14, false},
		{9, 12, 6, 30, false},
		{8, 9, 5, 24, true},
	} {
		t.Run(fmt.Sprintf("%dx%d", tc.horns, tc.mouthpieces), func(t *testing.T) {
			s := mixedShelf(tc.horns, tc.mouthpieces, tc.players, tc.sessions, 11)
			d := s.load(t)
			tight := plan{draws: 1, tolerance: 1e-11, drawTolerance: 1e-11, limit: 3000}
			e := newEngine(d, testComponents(len(d.Sources)), 5, tc.fine)
			byGradients := solved(t, e, tight, false)
			if !byGradients.Report.Converged {
				t.Errorf("conjugate gradients stopped: %+v", byGradients.Report)
			}
			long := newMarginal(t, e)
			setups := someSetups(s)
			var targets []occasion
			for _, x := range setups {
				targets = append(targets, long.occasionOf(x))
			}
			want := long.means(t, targets)
			worst, _ := farthest(meansOf(t, byGradients, setups), want)
			t.Logf("%d unknowns, %d cells: iterations %d, farthest %.2g", e.sys.unknowns, len(long.cells), byGradients.Report.Iterations, worst)
			if worst > 1e-6 {
				t.Errorf("conjugate gradients are %.2g cents off", worst)
			}
			byPlan := planFor(d)
			byPlan.draws = 1
			usual := solved(t, newEngine(d, testComponents(len(d.Sources)), 5, tc.fine), byPlan, false)
			if worst, rms := farthest(meansOf(t, usual, setups), want); rms > 0.02 {
				t.Errorf("at the tolerance of the plan predictions are %.2g cents rms off, %.2g at worst", rms, worst)
			} else {
				t.Logf("at the plan's tolerance: %d iterations, rms %.2g, worst %.2g", usual.Report.Iterations, rms, worst)
			}
			if e.sys.unknowns > denseLimit {
				return
			}
			exact := solved(t, newEngine(d, testComponents(len(d.Sources)), 5, tc.fine), tight, true)
			if !exact.Report.Exact {
				t.Fatal("a small catalog was not solved exactly")
			}
			if worst, _ := farthest(meansOf(t, exact, setups), want); worst > 1e-8 {
				t.Errorf("the dense factor is %.2g cents off", worst)
			}
		})
	}
}

// At the tolerances of the plan for larger catalogs, which are of the
// preconditioned residual, predictions of held-out pairs are within 0.02 cents
// rms of the tight solution, and draws within 0.2, a twentieth of their spread.
func TestPlanIsTightEnoughForPredictions(t *testing.T) {
	w := simulate.Generate(simulate.Plain, simulate.Small, 4)
	d := worldShelf(w).load(t)
	p := planFor(d)
	p.draws, p.steps = 6, 2
	tight := p
	tight.tolerance, tight.drawTolerance, tight.limit = 1e-10, 1e-10, 3000
	setups := heldOutSetups(w)
	predictions := func(p plan) []Prediction {
		e := newEngine(d, DefaultComponents(len(d.Sources)), 6, p.fine)
		if _, _, err := e.learn(t.Context(), p, func(int) {}); err != nil {
			t.Fatal(err)
		}
		var report Report
		tables, err := e.conclude(t.Context(), p, &report, catalog.NoCounter{})
		if err != nil || !report.Converged || report.Exact {
			t.Fatalf("%+v, %v; want an iterative solution that converged", report, err)
		}
		out, err := e.finish(tables, report).PredictMany(setups, usualSlots())
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	asPlanned, want := predictions(p), predictions(tight)
	var means, wantMeans, draws, wantDraws [][]float64
	for i := range setups {
		means, wantMeans = append(means, asPlanned[i].Mean), append(wantMeans, want[i].Mean)
		draws, wantDraws = append(draws, asPlanned[i].Draws...), append(wantDraws, want[i].Draws...)
	}
	worst, rms := farthest(means, wantMeans)
	t.Logf("%d pairs: predictions off by %.4f cents rms, %.3f at worst", len(setups), rms, worst)
	if rms > 0.02 {
		t.Errorf("predictions are off by %.4f cents rms, %.3f at worst", rms, worst)
	}
	worst, rms = farthest(draws, wantDraws)
	t.Logf("draws off by %.4f cents rms, %.3f at worst", rms, worst)
	if rms > 0.2 {
		t.Errorf("draws are off by %.4f cents rms, %.3f at worst", rms, worst)
	}
}
