package fit_test

import (
	"context"
	"math"
	"path/filepath"
	"slices"
	"testing"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
	"centwise/match/fit"
	"centwise/match/fit/simulate"
)

// grown is a simulated catalog that has been fitted without its last session.
type grown struct {
	ctx    context.Context
	store  *sqlstore.Store
	before *fit.Model
	last   catalog.Session
}

// grow fits a small world without one session of a pair that no other session
// has, so that the session has something to say.
func grow(t *testing.T) *grown {
	t.Helper()
	ctx := t.Context()
	store, err := sqlstore.Open(ctx, filepath.Join(t.TempDir(), "catalog.db"), sqlstore.Options{Create: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	g := &grown{ctx: ctx, store: store}
	var all catalog.Changes
	for c := range simulate.Generate(simulate.Plain, simulate.Small, 5).Changes(10_000) {
		all.Horns = append(all.Horns, c.Horns...)
		all.Mouthpieces = append(all.Mouthpieces, c.Mouthpieces...)
		all.Players = append(all.Players, c.Players...)
		all.Sessions = append(all.Sessions, c.Sessions...)
	}
	count := func(match func(s catalog.Session) bool) (n int) {
		for _, s := range all.Sessions {
			if match(s) {
				n++
			}
		}
		return n
	}
	at := slices.IndexFunc(all.Sessions, func(x catalog.Session) bool {
		pair := count(func(s catalog.Session) bool { return s.Horn == x.Horn && s.Mouthpiece == x.Mouthpiece })
		horn := count(func(s catalog.Session) bool { return s.Horn == x.Horn })
		mouthpiece := count(func(s catalog.Session) bool { return s.Mouthpiece == x.Mouthpiece })
		source := count(func(s catalog.Session) bool { return s.Contributor == x.Contributor && s.Method == x.Method })
		return pair == 1 && horn > 2 && horn < 6 && mouthpiece > 2 && source > 1
	})
	g.last = all.Sessions[at]
	all.Sessions = slices.Delete(all.Sessions, at, at+1)
	g.apply(t, all)
	if g.before, err = fit.Current(ctx, store, fit.Options{}); err != nil {
		t.Fatal(err)
	}
	return g
}

func (g *grown) apply(t *testing.T, c catalog.Changes) {
	t.Helper()
	if err := g.store.Apply(g.ctx, c); err != nil {
		t.Fatal(err)
	}
}

func (g *grown) refresh(t *testing.T) (*fit.Model, bool) {
	t.Helper()
	m, ok, err := fit.RefreshAnySize(g.ctx, g.store)
	if err != nil {
		t.Fatal(err)
	}
	return m, ok
}

func profile(t *testing.T, m *fit.Model, s fit.Setup) fit.Prediction {
	t.Helper()
	p, err := m.Predict(s, fit.StandardSlots())
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func rmsBetween(a, b []float64) float64 {
	sum := 0.0
	for i := range a {
		sum += (a[i] - b[i]) * (a[i] - b[i])
	}
	return math.Sqrt(sum / float64(len(a)))
}

// A session taken in by conditioning must move predictions where a whole fit
// moves them: the setup it measured, and its horn with another mouthpiece.
func TestRefreshAgreesWithWholeFit(t *testing.T) {
	g := grow(t)
	g.apply(t, catalog.Changes{Sessions: []catalog.Session{g.last}})
	warm, ok := g.refresh(t)
	if !ok {
		t.Fatal("the session was not taken in")
	}
	setup := fit.Setup{Horn: g.last.Horn, Mouthpiece: g.last.Mouthpiece}
	warmPair := profile(t, warm, setup)
	stored, err := fit.Current(g.ctx, g.store, fit.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got := profile(t, stored, setup); !slices.Equal(got.Mean, warmPair.Mean) || !slices.Equal(got.SD, warmPair.SD) {
		t.Error("the refreshed fit reads back otherwise than it was stored")
	}
	cold, err := fit.Current(g.ctx, g.store, fit.Options{Refit: true})
	if err != nil {
		t.Fatal(err)
	}
	for name, s := range map[string]fit.Setup{"its pair": setup, "its horn": {Horn: g.last.Horn}} {
		before, after, whole := profile(t, g.before, s), profile(t, warm, s), profile(t, cold, s)
		moved, missed := rmsBetween(before.Mean, whole.Mean), rmsBetween(after.Mean, whole.Mean)
		if missed > 0.5*moved {
			t.Errorf("%s: the whole fit moves the profile by %.2f cents, the refreshed one is %.2f off it", name, moved, missed)
		}
	}
	if before := profile(t, g.before, setup); rmsBetween(warmPair.SD, make([]float64, len(warmPair.SD))) >= rmsBetween(before.SD, make([]float64, len(before.SD))) {
		t.Error("a session of the pair did not make its profile better known")
	}
}

func TestRefreshCountsTheSession(t *testing.T) {
	g := grow(t)
	setup := fit.Setup{Horn: g.last.Horn, Mouthpiece: g.last.Mouthpiece, Player: g.last.Player}
	was := profile(t, g.before, setup).Evidence
	g.apply(t, catalog.Changes{Sessions: []catalog.Session{g.last}})
	warm, ok := g.refresh(t)
	if !ok {
		t.Fatal("the session was not taken in")
	}
	got := profile(t, warm, setup).Evidence
	if got.Pair != was.Pair+1 || got.Horn != was.Horn+1 || got.Mouthpiece != was.Mouthpiece+1 || got.Player != was.Player+1 {
		t.Errorf("evidence went from %+v to %+v with one session", was, got)
	}
	if warm.Report.Sessions != g.before.Report.Sessions+1 || warm.Report.Refreshed != 1 {
		t.Errorf("the report counts %d sessions and %d taken in; want %d and 1", warm.Report.Sessions, warm.Report.Refreshed, g.before.Report.Sessions+1)
	}
	digest, err := g.store.Digest(g.ctx)
	if err != nil {
		t.Fatal(err)
	}
	if warm.Digest != digest.String() {
		t.Error("the refreshed fit does not bear the catalog's digest")
	}
}

// Anything but added sessions of known gear calls for a whole fit, and so do
// more sessions than a refresh takes.
func TestRefreshDeclines(t *testing.T) {
	tests := map[string]func(t *testing.T, g *grown) catalog.Changes{
		"nothing new": func(*testing.T, *grown) catalog.Changes { return catalog.Changes{} },
		"new gear": func(*testing.T, *grown) catalog.Changes {
			return catalog.Changes{Players: []catalog.Player{{Label: "reed-otter", Revision: catalog.Revision{Number: 1}}}}
		},
		"a session and new gear": func(_ *testing.T, g *grown) catalog.Changes {
			return catalog.Changes{Sessions: []catalog.Session{g.last},
				Players: []catalog.Player{{Label: "reed-otter", Revision: catalog.Revision{Number: 1}}}}
		},
		"an unknown contributor": func(_ *testing.T, g *grown) catalog.Changes {
			g.last.Contributor = "blue-kite"
			return catalog.Changes{Sessions: []catalog.Session{g.last}}
		},
		"two sessions": func(_ *testing.T, g *grown) catalog.Changes {
			again := g.last
			again.ID, again.Name = catalog.NewID(), "again"
			return catalog.Changes{Sessions: []catalog.Session{g.last, again}}
		},
		"a session and a retraction": func(t *testing.T, g *grown) catalog.Changes {
			list, err := g.store.Sessions(g.ctx, catalog.SessionFilter{Limit: 1})
			if err != nil {
				t.Fatal(err)
			}
			return catalog.Changes{Sessions: []catalog.Session{g.last},
				Retractions: []catalog.RetractionOf{{Session: list[0].ID, Retraction: catalog.Retraction{Reason: "slide moved"}}}}
		},
	}
	for name, changes := range tests {
		t.Run(name, func(t *testing.T) {
			g := grow(t)
			g.apply(t, changes(t, g))
			if _, ok := g.refresh(t); ok {
				t.Error("was taken into the stored fit")
			}
		})
	}
}
