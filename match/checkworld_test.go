package match

import (
	"context"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
	"centwise/match/fit/simulate"
)

// worldEngine expects of a simulated world what a fit might: the common tendency
// and a part of what every item does.
func worldEngine(w *simulate.World, part float64) *fakeEngine {
	at := func(profile []float64, part float64) vector {
		return func(s pitch.Slot) float64 {
			if j, ok := simulate.SlotIndex(s); ok {
				return part * profile[j]
			}
			return 0
		}
	}
	e := &fakeEngine{common: at(w.Mean(), 1), items: map[catalog.ID]vector{}, sd: 3}
	sessions := map[catalog.ID]int{}
	for _, s := range w.Sessions {
		sessions[w.HornID(s.Horn)]++
		sessions[w.MouthpieceID(s.Mouthpiece)]++
		sessions[w.PlayerID(s.Player)]++
	}
	for i := range w.Horns {
		e.items[w.HornID(i)] = at(w.Horns[i].Truth, part)
	}
	for i := range w.Mouthpieces {
		e.items[w.MouthpieceID(i)] = at(w.Mouthpieces[i].Truth, part)
	}
	for i := range w.Players {
		e.items[w.PlayerID(i)] = at(w.Players[i].Truth, part)
	}
	e.evidence = func(s fit.Setup) fit.Evidence {
		return fit.Evidence{Pair: 1, Horn: sessions[s.Horn], Mouthpiece: sessions[s.Mouthpiece], Player: sessions[s.Player], Basis: fit.BasisMeasured}
	}
	return e
}

// Simulated catalogs in which one session in a hundred is wrong, checked against
// an expectation that knows half of what each item does.
func TestCheckOnSimulatedCatalogs(t *testing.T) {
	for seed := range uint64(2) {
		w := simulate.Generate(simulate.Harder, simulate.Medium, seed+1)
		wrong := map[string]string{}
		for _, s := range w.Sessions {
			if s.Wrong != "" {
				wrong[s.Name] = s.Wrong
			}
		}
		findings, err := Check(context.Background(), worldEngine(w, 0.5), Measurements{
			Sessions: w.Measurements(), Horns: w.CatalogHorns(), Mouthpieces: w.CatalogMouthpieces(),
		})
		if err != nil {
			t.Fatal(err)
		}
		found, counts := 0, map[string]int{}
		for _, f := range findings {
			counts[f.Kind]++
			if f.Kind != FindSignFlipped && f.Kind != FindWrongKey {
				continue
			}
			if wrong[f.Session] != f.Kind {
				t.Errorf("seed %d: %s is %q, found %s: %s (%.2f)", seed, f.Session, wrong[f.Session], f.Kind, f.Detail, f.Certainty)
				continue
			}
			found++
		}
		t.Logf("seed %d: %d sessions, %d of %d wrong ones found, %v", seed, len(w.Sessions), found, len(wrong), counts)
		if missed := len(wrong) - found; missed > 1 {
			t.Errorf("seed %d: %d of %d wrong sessions missed", seed, missed, len(wrong))
		}
	}
}
