package storetest

import (
	"math/rand/v2"
	"slices"
	"testing"

	"centwise/catalog"
)

var digestTests = []contract{
	{"the digest does not depend on order, ids or times", digestOrder},
	{"the digest follows every change of data", digestChanges},
	{"the digest follows a new label of gear", digestRelabel},
	{"the digest comes back when a change is undone", digestUndone},
}

// scrambled writes the same data into a fresh catalog, with other ids, in
// another order and in portions.
func (f *fixture) scrambled(seed uint64, sessions []catalog.Session) *fixture {
	random := rand.New(rand.NewPCG(seed, 1))
	g := newFixture(f.t, f.open)
	ids := map[catalog.ID]catalog.ID{f.alder.ID: g.alder.ID, f.plover.ID: g.plover.ID, f.otter.ID: g.otter.ID}
	g.apply(catalog.Changes{Players: []catalog.Player{g.kite, g.otter}, Mouthpieces: []catalog.Mouthpiece{g.dunlin}})
	g.apply(catalog.Changes{Horns: []catalog.Horn{g.rowan, g.alder}, Mouthpieces: []catalog.Mouthpiece{g.plover}})
	for _, i := range random.Perm(len(sessions)) {
		s := sessions[i]
		s.ID, s.Horn, s.Mouthpiece, s.Player = "", ids[s.Horn], ids[s.Mouthpiece], ids[s.Player]
		s.Source = "another file"
		s.Readings = slices.Clone(s.Readings)
		random.Shuffle(len(s.Readings), func(a, b int) { s.Readings[a], s.Readings[b] = s.Readings[b], s.Readings[a] })
		g.record(s)
	}
	return g
}

func digestOrder(t *testing.T, f *fixture) {
	f.gear()
	sessions := []catalog.Session{f.session("a", 1, 2, 3), f.session("b", 4), f.session("c", 1, 2, 3)}
	sessions[1].At, sessions[1].TemperatureC = noon, pointer(0)
	f.record(sessions...)
	for seed := range uint64(4) {
		g := f.scrambled(seed, sessions)
		equal(t, "digest", g.digest(), f.digest())
		g.sound()
	}
}

func digestChanges(t *testing.T, f *fixture) {
	seen := map[string]string{f.digest(): "an empty catalog"}
	fresh := func(what string) {
		t.Helper()
		d := f.digest()
		if earlier, ok := seen[d]; ok {
			t.Errorf("%s has the digest of %s", what, earlier)
		}
		seen[d] = what
	}
	f.gear()
	fresh("gear")
	h := must(f.store.Horn(f.ctx, "Alder"))(t)
	for i, change := range []func(*catalog.Horn){
		func(h *catalog.Horn) { h.BoreMM = 11.7 }, func(h *catalog.Horn) { h.Tags = nil }, func(h *catalog.Horn) { h.Retired = true },
		func(h *catalog.Horn) { h.Loaner = false }, func(h *catalog.Horn) { h.Throw1MM, h.Throw3MM = h.Throw3MM, h.Throw1MM },
	} {
		h.Number = i + 2
		change(&h)
		f.apply(catalog.Changes{Horns: []catalog.Horn{h}})
		fresh("a changed horn")
	}
	m := must(f.store.Mouthpiece(f.ctx, "Plover 16.2"))(t)
	m.Number, m.CupCM3 = 2, 1.3
	f.apply(catalog.Changes{Mouthpieces: []catalog.Mouthpiece{m}})
	fresh("a changed mouthpiece")
	s := f.session("a", 1, 2)
	f.record(s)
	fresh("a session")
	for i, change := range []func(*catalog.Session){
		func(s *catalog.Session) { s.Readings[1].Cents = 2.0000001 }, func(s *catalog.Session) { s.TemperatureC = pointer(0) },
		func(s *catalog.Session) { s.Contributor = "" }, func(s *catalog.Session) { s.Player = f.kite.ID },
		func(s *catalog.Session) { s.Readings[0].Odd = true },
	} {
		next := f.session("a", 1, 2)
		change(&next)
		f.apply(catalog.Changes{Sessions: []catalog.Session{next}, Retractions: []catalog.RetractionOf{{Session: s.ID}}})
		fresh([]string{"cents", "temperature", "contributor", "player", "odd"}[i])
		s = next
	}
	f.sound()
}

func digestRelabel(t *testing.T, f *fixture) {
	f.gear()
	other := f.session("b", 3)
	other.Player = f.kite.ID
	f.record(f.session("a", 1, 2), other)
	before := f.digest()
	h, m, p := must(f.store.Horn(f.ctx, "Alder"))(t), must(f.store.Mouthpiece(f.ctx, "Plover 16.2"))(t), must(f.store.Player(f.ctx, "reed-otter"))(t)
	h.Number, m.Number, p.Number = 2, 2, 2
	h.Label, m.Label, p.Label = "Alder II", "Plover", "otter"
	f.apply(catalog.Changes{Horns: []catalog.Horn{h}, Mouthpieces: []catalog.Mouthpiece{m}, Players: []catalog.Player{p}})
	f.sound()
	if f.digest() == before {
		t.Error("new labels did not change the digest")
	}
	// It is the digest of a catalog that had these labels from the start.
	g := newFixture(t, f.open)
	g.alder.Label, g.plover.Label, g.otter.Label = "Alder II", "Plover", "otter"
	g.gear()
	again := g.session("b", 3)
	again.Player = g.kite.ID
	g.record(g.session("a", 1, 2), again)
	equal(t, "digest", g.digest(), f.digest())
}

func digestUndone(t *testing.T, f *fixture) {
	f.gear()
	one := f.session("one", 1)
	f.record(one)
	before := f.digest()
	wrong := f.session("wrong", 2)
	f.record(wrong)
	f.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: wrong.ID}}})
	equal(t, "digest", f.digest(), before)
	h := must(f.store.Horn(f.ctx, "Alder"))(t)
	label := h.Label
	h.Number, h.Label = 2, "Elder"
	f.apply(catalog.Changes{Horns: []catalog.Horn{h}})
	h.Number, h.Label = 3, label
	f.apply(catalog.Changes{Horns: []catalog.Horn{h}})
	equal(t, "digest", f.digest(), before)
	if err := f.store.SetTitle(f.ctx, "Lantern Bay"); err != nil {
		t.Fatal(err)
	}
	equal(t, "digest", f.digest(), before) // the title is no data
	p := must(f.store.Player(f.ctx, "reed-otter"))(t)
	p.Number, p.Weights = 2, catalog.Weights{67: 3}
	f.apply(catalog.Changes{Players: []catalog.Player{p}})
	equal(t, "weights", must(f.store.Player(f.ctx, "reed-otter"))(t).Weights, p.Weights)
	equal(t, "digest", f.digest(), before) // nor are weights: no fit depends on them
	p.Number, p.Weights = 3, nil
	f.apply(catalog.Changes{Players: []catalog.Player{p}})
	equal(t, "weights of all revisions", len(must(f.store.PlayerHistory(f.ctx, p.ID))(t)[1].Weights), 1)
	f.sound()
}
