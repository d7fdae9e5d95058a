package fit

import (
	"context"
	"errors"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
)

// duo is a catalog of two horns, three mouthpieces and two players.
func duo() *shelf {
	rng := seeded(12)
	s := newShelf([]string{"Alder", "Rowan"}, []string{"Dunlin 16.6", "Knot 16.4", "Plover 16.2"}, []string{"blue-kite", "reed-otter"})
	for _, x := range [][3]string{{"Alder", "Plover 16.2", "reed-otter"}, {"Alder", "Dunlin 16.6", "reed-otter"}, {"Rowan", "Plover 16.2", "blue-kite"}} {
		shift := randomProfile(rng, 31, 5)
		s.measure(x[0], x[1], x[2], usualSlots(), func(j int) float64 { return shift[j] + 3*rng.NormFloat64() })
	}
	return s
}

// solo is the smallest catalog that says something, and quickly fitted.
func solo() *shelf {
	s := newShelf([]string{"Alder"}, []string{"Plover 16.2"}, []string{"reed-otter"})
	s.measure("Alder", "Plover 16.2", "reed-otter", usualSlots(), func(j int) float64 { return float64(j%7) - 3 })
	return s
}

// database keeps a shelf in a catalog file, and tells which id each of the
// shelf's has become.
func database(t testing.TB, s *shelf) (*sqlstore.Store, map[catalog.ID]catalog.ID) {
	t.Helper()
	store, err := sqlstore.Open(t.Context(), filepath.Join(t.TempDir(), "lantern-bay.centwise"), sqlstore.Options{Create: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	ids := map[catalog.ID]catalog.ID{"": ""}
	fresh := func(id catalog.ID) catalog.ID {
		ids[id] = catalog.NewID()
		return ids[id]
	}
	var c catalog.Changes
	for _, h := range s.horns {
		h.ID = fresh(h.ID)
		c.Horns = append(c.Horns, h)
	}
	for _, m := range s.mouthpieces {
		m.ID = fresh(m.ID)
		c.Mouthpieces = append(c.Mouthpieces, m)
	}
	for _, p := range s.players {
		p.ID = fresh(p.ID)
		c.Players = append(c.Players, p)
	}
	for _, m := range s.sessions {
		c.Sessions = append(c.Sessions, databaseSession(m, ids))
	}
	if err := store.Apply(t.Context(), c); err != nil {
		t.Fatal(err)
	}
	return store, ids
}

func databaseSession(m catalog.Measured, ids map[catalog.ID]catalog.ID) catalog.Session {
	out := catalog.Session{ID: catalog.NewID(), Name: m.Name, Horn: ids[m.Horn], Mouthpiece: ids[m.Mouthpiece], Player: ids[m.Player],
		Contributor: m.Contributor, Method: m.Method}
	repeats := map[string]int{}
	for _, r := range m.Readings {
		repeats[r.Slot.String()]++
		out.Readings = append(out.Readings, catalog.Reading{Slot: r.Slot, Repeat: repeats[r.Slot.String()], Cents: r.Cents})
	}
	return out
}

func translated(setups []Setup, ids map[catalog.ID]catalog.ID) []Setup {
	var out []Setup
	for _, s := range setups {
		out = append(out, Setup{Horn: ids[s.Horn], Mouthpiece: ids[s.Mouthpiece], Player: ids[s.Player]})
	}
	return out
}

// The stored fit answers as the fresh one did, bit for bit, in the same process
// and after the catalog was opened again.
func TestStoredFitIsTheFit(t *testing.T) {
	ctx := t.Context()
	store, ids := database(t, duo())
	setups := translated(someSetups(duo()), ids)
	fresh, err := Current(ctx, store, Options{Draws: 30})
	if err != nil {
		t.Fatal(err)
	}
	want := answers(t, fresh, setups)
	for _, reopened := range []bool{false, true} {
		if reopened {
			path := store.Path()
			if err := store.Close(); err != nil {
				t.Fatal(err)
			}
			if store, err = sqlstore.Open(ctx, path, sqlstore.Options{ReadOnly: true}); err != nil {
				t.Fatal(err)
			}
			defer store.Close()
		}
		m, err := Current(ctx, store, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if !m.At.Equal(fresh.At) {
			t.Fatalf("the fit of %v was made again at %v", fresh.At, m.At)
		}
		wantSame(t, "the stored fit", answers(t, m, setups), want)
		p, q := predict(t, m, setups[0], usualSlots()), predict(t, fresh, setups[0], usualSlots())
		if p.Evidence != q.Evidence || p.Linked != q.Linked || m.Seed != fresh.Seed || m.Digest != fresh.Digest {
			t.Errorf("the stored fit says %+v, linked %v, the fresh one %+v, %v", p.Evidence, p.Linked, q.Evidence, q.Linked)
		}
		if m.Report.Steps != fresh.Report.Steps || len(m.Report.Levels) != len(fresh.Report.Levels) || m.Components.Noise != fresh.Components.Noise {
			t.Errorf("the stored report is %+v, the fresh one %+v", m.Report, fresh.Report)
		}
	}
}

// A change of the data makes the stored fit stale: a session more, or only
// another name of a horn; Refit and another seed make it anew too.
func TestWhenAFitIsMadeAgain(t *testing.T) {
	s := solo()
	s.fit(t, Options{Draws: 4})
	saves := func(what string, want int, o Options) {
		t.Helper()
		o.Draws = 4
		s.fit(t, o)
		if s.saves != want {
			t.Errorf("after %s the fit was stored %d times, want %d", what, s.saves, want)
		}
	}
	saves("no change", 1, Options{})
	s.measure("Alder", "Plover 16.2", "reed-otter", usualSlots()[:5], func(j int) float64 { return float64(j) })
	saves("another session", 2, Options{})
	saves("no further change", 2, Options{})
	saves("a wish for a fit", 3, Options{Refit: true})
	saves("a wish for a seed", 4, Options{Seed: 99})
	saves("the same seed", 4, Options{Seed: 99})
	saves("no wish", 4, Options{})
	s.horns[0].Label = "Elder"
	saves("another label", 5, Options{})
	s.stored.Version++
	saves("a fit by another version", 6, Options{})
}

// Damage in the stored fit never crashes: what is read at once is fitted anew;
// where the damage shows only when a table is asked for, the error says how to
// have it repaired.
func TestDamagedFit(t *testing.T) {
	s := solo()
	setups := []Setup{setup("Alder", "Plover 16.2", ""), setup("Alder", "", "reed-otter"), {}}
	want := answers(t, s.fit(t, Options{Draws: 6}), setups)
	sound := *s.stored
	damage := map[string]func(body []byte) []byte{
		"cut":           func(body []byte) []byte { return body[:len(body)/2] },
		"of zeros":      func([]byte) []byte { return make([]byte, 64) },
		"one byte long": func(body []byte) []byte { return append(slices.Clone(body), 0) },
		"missing":       func([]byte) []byte { return nil },
	}
	later := 0
	for _, name := range slices.Sorted(maps.Keys(sound.Sections)) {
		for what, do := range damage {
			body := do(sound.Sections[name])
			if len(sound.Sections[name]) == 0 || name == sectionModel && what == "one byte long" { // gob stops at the end of its value
				continue
			}
			fit := sound
			fit.Sections = maps.Clone(sound.Sections)
			fit.Sections[name] = body
			if body == nil {
				delete(fit.Sections, name)
			}
			s.stored = &fit
			m := s.fit(t, Options{Draws: 6})
			_, err := m.PredictMany(setups, usualSlots())
			if err == nil {
				wantSame(t, "after section "+name+" was "+what, answers(t, m, setups), want)
				continue
			}
			later++
			var problem *catalog.Error
			if !errors.As(err, &problem) || !strings.Contains(problem.Hint, "fit --again") {
				t.Errorf("section %s %s: %v; want the way to repair it", name, what, err)
			}
		}
	}
	if later == 0 || later > 4*(len(sound.Sections)-2) {
		t.Errorf("%d times the damage was found later: the model and the common tendency are read at once, horns when asked for", later)
	}
	wantSame(t, "repaired", answers(t, s.fit(t, Options{Draws: 6, Refit: true}), setups), want)
}

// cancelling is a progress counter that cancels after so many steps.
type cancelling struct {
	cancel context.CancelFunc
	after  int
	stages []string
}

func (c *cancelling) Start(what string, _ int64) { c.stages = append(c.stages, what) }
func (c *cancelling) Done()                      {}
func (c *cancelling) Add(int64) {
	if c.after--; c.after == 0 {
		c.cancel()
	}
}

// Cancelling leaves the old fit in place, wherever it comes: while the catalog
// is read, while learning, while solving.
func TestCancelLeavesTheOldFit(t *testing.T) {
	s := solo()
	s.fit(t, Options{Draws: 6})
	old := *s.stored
	s.measure("Alder", "Plover 16.2", "reed-otter", usualSlots(), func(j int) float64 { return float64(j % 5) })
	for _, after := range []int{1, 6, 12} {
		ctx, cancel := context.WithCancel(t.Context())
		counter := &cancelling{cancel: cancel, after: after}
		m, err := Current(ctx, s, Options{Draws: 6, Progress: counter})
		if !errors.Is(err, context.Canceled) || m != nil {
			t.Errorf("cancelled after %d steps (%v): %v, %v; want the context's error", after, counter.stages, m, err)
		}
		if s.stored.Digest != old.Digest || !s.stored.At.Equal(old.At) || s.saves != 1 {
			t.Fatalf("cancelled after %d steps: the stored fit was replaced", after)
		}
		cancel()
	}
	ctx, cancel := context.WithDeadline(t.Context(), time.Now().Add(-time.Second))
	defer cancel()
	if _, err := Current(ctx, s, Options{}); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("out of time: %v", err)
	}
}

// A catalog that cannot be written, or not now, still gets its answer; any other
// failure to store is reported.
func TestFitThatCannotBeStored(t *testing.T) {
	s := solo()
	for _, kind := range []catalog.Kind{catalog.Unavailable, catalog.Busy} {
		s.saveError = catalog.Errorf(kind, "", "the catalog is not to be written")
		if p := predict(t, s.fit(t, Options{Draws: 4}), setup("Alder", "Plover 16.2", ""), usualSlots()); len(p.Mean) != 31 {
			t.Errorf("no answer: %v", kind)
		}
	}
	s.saveError = catalog.Errorf(catalog.Invalid, "", "too large")
	if _, err := Current(t.Context(), s, Options{Draws: 4}); catalog.KindOf(err) != catalog.Invalid {
		t.Errorf("a fit that was refused gives %v", err)
	}
}
