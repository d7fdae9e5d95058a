package match

import (
	"context"
	"math/rand/v2"
	"slices"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
	"centwise/match/fit/simulate"
)

func fitted(t testing.TB, w *simulate.World) *fit.Model {
	t.Helper()
	data, err := fit.Load(context.Background(), &worldStore{world: w, horns: w.CatalogHorns(), mouthpieces: w.CatalogMouthpieces()}, catalog.NoCounter{})
	if err != nil {
		t.Fatal(err)
	}
	m, err := fit.Run(context.Background(), data, fit.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestExperiment(t *testing.T) {
	for _, size := range []simulate.Size{simulate.Small, simulate.Medium} {
		for seed := range uint64(2) {
			w := simulate.Generate(simulate.Harder, size, seed+1)
			m := fitted(t, w)
			wholeSessions(t, w, m, size)
			if seed == 0 {
				for _, n := range []int{8, 10, 12, 20} {
					cutSessions(t, w, m, n)
				}
			}
		}
	}
}

func wholeSessions(t *testing.T, w *simulate.World, m *fit.Model, size simulate.Size) {
	wrong := map[string]string{}
	for _, s := range w.Sessions {
		if s.Wrong != "" {
			wrong[s.Name] = s.Wrong
		}
	}
	findings, err := Check(context.Background(), m, Measurements{Sessions: w.Measurements(), Horns: w.CatalogHorns(), Mouthpieces: w.CatalogMouthpieces()})
	if err != nil {
		t.Fatal(err)
	}
	right, false_ := 0, 0
	kinds := map[string]int{}
	for _, f := range findings {
		kinds[f.Kind]++
		if f.Kind != FindSignFlipped && f.Kind != FindWrongKey {
			continue
		}
		if wrong[f.Session] == f.Kind {
			right++
		} else {
			false_++
		}
	}
	t.Logf("%s: %d wrong, %d found, %d false; %v", size, len(wrong), right, false_, kinds)
}

func cutSessions(t *testing.T, w *simulate.World, m *fit.Model, n int) {
	rng := rand.New(rand.NewPCG(3, uint64(n)))
	var base []catalog.Measured
	i := 0
	for x := range w.Measurements() {
		if w.Sessions[i].Wrong == "" {
			x.Readings = slices.Clone(x.Readings)
			rng.Shuffle(len(x.Readings), func(a, b int) { x.Readings[a], x.Readings[b] = x.Readings[b], x.Readings[a] })
			seen := map[pitch.Slot]bool{}
			var kept []catalog.MeasuredReading
			for _, r := range x.Readings {
				if u, ok := pitch.UsualSlot(r.Slot.Note(), 3); !seen[r.Slot] && len(kept) < n && ok && u == r.Slot {
					seen[r.Slot] = true
					kept = append(kept, r)
				}
			}
			x.Readings = kept
			base = append(base, x)
		}
		i++
	}
	count := func(change func(catalog.Measured) (catalog.Measured, bool), kind string) (float64, float64) {
		var list []catalog.Measured
		for _, x := range base {
			if y, ok := change(x); ok {
				list = append(list, y)
			}
		}
		findings, err := Check(context.Background(), m, Measurements{Sessions: func(yield func(catalog.Measured, error) bool) {
			for _, x := range list {
				if !yield(x, nil) {
					return
				}
			}
		}, Horns: w.CatalogHorns()})
		if err != nil {
			t.Fatal(err)
		}
		found, other := 0, 0
		for _, f := range findings {
			if f.Kind == kind {
				found++
			} else if f.Kind == FindSignFlipped || f.Kind == FindWrongKey {
				other++
			}
		}
		return float64(found) / float64(len(list)), float64(other) / float64(len(list))
	}
	asIs := func(x catalog.Measured) (catalog.Measured, bool) { return x, true }
	shift := func(by int) func(x catalog.Measured) (catalog.Measured, bool) {
		return func(x catalog.Measured) (catalog.Measured, bool) {
			y := x
			y.Readings = nil
			for _, r := range x.Readings {
				if u, ok := pitch.UsualSlot(r.Slot.Note()+pitch.Note(by), 3); ok {
					y.Readings = append(y.Readings, catalog.MeasuredReading{Slot: u, Cents: r.Cents})
				}
			}
			return y, len(y.Readings) >= n-1
		}
	}
	_, alarms := count(asIs, "")
	flips, o1 := count(func(x catalog.Measured) (catalog.Measured, bool) { return flip(x), true }, FindSignFlipped)
	up, o2 := count(shift(2), FindWrongKey)
	down, o3 := count(shift(-2), FindWrongKey)
	t.Logf("%d notes, %d sessions: alarms %.4f flips %.3f (other %.3f) shifts %.3f (%.3f) %.3f (%.3f)", n, len(base), alarms, flips, o1, up, o2, down, o3)
}
