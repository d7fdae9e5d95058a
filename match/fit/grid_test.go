package fit

import (
	"fmt"
	"math"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// gridCase is a catalog with everything in the model, fitted with few and with
// enough draws for even sets.
func gridCase(t testing.TB, draws int) (*shelf, *Model) {
	s := mixedShelf(8, 6, 3, 20, 11)
	d := s.load(t)
	e := newEngine(d, testComponents(len(d.Sources)), 4, true)
	return s, solved(t, e, plan{draws: draws, tolerance: 1e-6, drawTolerance: 1e-4, limit: 1000}, true)
}

func ids[T any](list []T, id func(T) catalog.ID) (out []catalog.ID) {
	for _, x := range list {
		out = append(out, id(x))
	}
	return out
}

func hornIDOf(h catalog.Horn) catalog.ID             { return h.ID }
func mouthpieceIDOf(m catalog.Mouthpiece) catalog.ID { return m.ID }

// A grid says bit for bit what PredictMany says, of many horns and mouthpieces
// and of one horn or mouthpiece alone, and its centre is the mean of the draws.
func TestGridPredictsTheSame(t *testing.T) {
	for _, draws := range []int{5, 40} {
		s, m := gridCase(t, draws)
		horns, mouthpieces := ids(s.horns, hornIDOf), ids(s.mouthpieces, mouthpieceIDOf)
		for _, tc := range []struct {
			horns, mouthpieces []catalog.ID
			player             catalog.ID
		}{{horns, mouthpieces, ""}, {horns, mouthpieces, s.players[1].ID}, {horns[:1], mouthpieces, ""}, {horns, mouthpieces[3:4], s.players[0].ID}} {
			g, err := m.Grid(tc.horns, tc.mouthpieces, tc.player, StandardSlots(), 31)
			if err != nil {
				t.Fatal(err)
			}
			c := g.NewCaster()
			for h := range tc.horns {
				for x := range tc.mouthpieces {
					want := predict(t, m, Setup{Horn: tc.horns[h], Mouthpiece: tc.mouthpieces[x], Player: tc.player}, StandardSlots())
					wantGridCast(t, want, c.Prediction(h, x), 31)
					wantCentre(t, c, h, x)
					if g.Linked(h, x) != want.Linked || g.Basis(h, x) != want.Evidence.Basis {
						t.Fatalf("linked %v, basis %s: want %v, %s", g.Linked(h, x), g.Basis(h, x), want.Linked, want.Evidence.Basis)
					}
				}
			}
		}
	}
}

func wantGridCast(t *testing.T, want, got Prediction, drawn int) {
	t.Helper()
	if got.Setup != want.Setup || got.Linked != want.Linked || got.Evidence != want.Evidence || len(got.Draws) != len(want.Draws) || len(got.Slots) != len(want.Slots) {
		t.Fatalf("the grid says %+v, %+v of %+v, %+v", got.Setup, got.Evidence, want.Setup, want.Evidence)
	}
	same := func(what string, got, want []float64) {
		for j, v := range got {
			if v != want[j] {
				t.Fatalf("%s of slot %d is %v, want %v", what, j, v, want[j])
			}
		}
	}
	same("mean", got.Mean, want.Mean)
	same("horn", got.Horn, want.Horn)
	same("mouthpiece", got.Mouthpiece, want.Mouthpiece)
	same("SD", got.SD, want.SD[:drawn])
	for k := range got.Draws {
		same(fmt.Sprintf("draw %d", k), got.Draws[k], want.Draws[k][:drawn])
	}
}

func wantCentre(t *testing.T, c *Caster, h, x int) {
	t.Helper()
	centre, mean := make([]float64, 31), make([]float64, 31)
	c.Centre(h, x, centre)
	for _, d := range c.Draws(h, x) {
		axpy(1/float64(c.g.Draws()), d, mean)
	}
	for j, v := range centre {
		if math.Abs(v-mean[j]) > 1e-9 {
			t.Fatalf("centre of slot %d is %v, the draws have %v", j, v, mean[j])
		}
	}
}

func TestGridRefusals(t *testing.T) {
	s := solo()
	m := quickFit(t, s.load(t), 1, 1, 4)
	horns, mouthpieces := ids(s.horns, hornIDOf), ids(s.mouthpieces, mouthpieceIDOf)
	wrong := []catalog.ID{"nobody"}
	for what, call := range map[string]func() (*Grid, error){
		"horn":       func() (*Grid, error) { return m.Grid(wrong, mouthpieces, "", usualSlots(), 31) },
		"mouthpiece": func() (*Grid, error) { return m.Grid(horns, wrong, "", usualSlots(), 31) },
		"player":     func() (*Grid, error) { return m.Grid(horns, mouthpieces, "nobody", usualSlots(), 31) },
		"slot":       func() (*Grid, error) { return m.Grid(horns, mouthpieces, "", []pitch.Slot{{Partial: 13}}, 1) },
	} {
		if _, err := call(); catalog.KindOf(err) != catalog.NotFound {
			t.Errorf("an unknown %s: %v", what, err)
		}
	}
}

// Kinds are shared by what was not measured and is expected to be the same.
func TestGridKinds(t *testing.T) {
	s := newShelf([]string{"Alder", "Hazel", "Rowan"}, []string{"Dunlin 16.6", "Knot 16.4", "Plover 16.2"}, []string{"reed-otter"})
	s.measure("Alder", "Dunlin 16.6", "reed-otter", usualSlots(), func(j int) float64 { return float64(j % 5) })
	g, err := quickFit(t, s.load(t), 1, 1, 4).Grid(ids(s.horns, hornIDOf), ids(s.mouthpieces, mouthpieceIDOf), "", usualSlots(), 31)
	if err != nil {
		t.Fatal(err)
	}
	if g.HornKind(0) != "" || g.HornKind(1) == "" || g.HornKind(1) != g.HornKind(2) {
		t.Errorf("kinds of horns %q, %q, %q", g.HornKind(0), g.HornKind(1), g.HornKind(2))
	}
	if g.MouthpieceKind(0) != "" || g.MouthpieceKind(1) == "" || g.MouthpieceKind(1) != g.MouthpieceKind(2) {
		t.Errorf("kinds of mouthpieces %q, %q, %q", g.MouthpieceKind(0), g.MouthpieceKind(1), g.MouthpieceKind(2))
	}
}

// From some draws on the unknown interaction of every unmeasured pair has the
// same mean, nought, and the learned covariance, without the noise of drawing.
func TestUnknownPairsAreEven(t *testing.T) {
	_, m := gridCase(t, evenDraws)
	f, err := m.newFrame(usualSlots(), 31, bbTransposition)
	if err != nil {
		t.Fatal(err)
	}
	b := f.wiggle()
	for i := range f.unknown {
		u := f.unknown[i]()
		for a := range 31 {
			for c := range a + 1 {
				got, want, mean := 0.0, 0.0, 0.0
				for k := range evenDraws {
					got += u.draws[k*31+a] * u.draws[k*31+c] / evenDraws
					mean += u.draws[k*31+a] / evenDraws
				}
				for k := range smoothKnots {
					want += b.rows[a*smoothKnots+k] * b.rows[c*smoothKnots+k]
				}
				want *= m.Components.Interaction * m.Components.Interaction
				if math.Abs(got-want) > 1e-9 || math.Abs(mean) > 1e-9 {
					t.Fatalf("set %d, notes %d and %d: covariance %.6f, want %.6f; mean %g", i, a, c, got, want, mean)
				}
			}
		}
	}
}
