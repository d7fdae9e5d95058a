package storetest

import (
	"errors"
	"fmt"
	"iter"
	"slices"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
)

var poolTests = []contract{
	{"what one catalog gives another one merges", poolRoundTrip},
	{"a merge that fails leaves no trace", poolAtomic},
	{"records with one label are told apart and stay so", poolLabels},
	{"sessions with one name are told apart until one is retracted", poolNames},
	{"a selection takes along what it needs", poolSelection},
	{"since is when this catalog learned of it", poolSince},
	{"edits keep what newer versions said and what was withheld", poolEdits},
	{"the secret stays the same", poolSecret},
	{"a merge of many is one of few, many times", poolMany},
}

// pooled collects what would be given to another catalog.
func (f *fixture) pooled(sel catalog.PoolSelection) (out []catalog.Pooled) {
	f.t.Helper()
	for p, err := range f.store.Pooled(f.ctx, sel) {
		if err != nil {
			f.t.Fatal(err)
		}
		out = append(out, p)
	}
	return out
}

func (f *fixture) merge(records ...catalog.Pooled) catalog.Merged {
	f.t.Helper()
	merged, err := f.store.Merge(f.ctx, stream(records, nil))
	if err != nil {
		f.t.Fatal(err)
	}
	f.sound()
	return merged
}

func stream(records []catalog.Pooled, last error) iter.Seq2[catalog.Pooled, error] {
	return func(yield func(catalog.Pooled, error) bool) {
		for _, p := range records {
			if !yield(p, nil) {
				return
			}
		}
		if last != nil {
			yield(catalog.Pooled{}, last)
		}
	}
}

// other is another catalog.
func (f *fixture) other() *fixture { return newFixture(f.t, f.open) }

// texts writes records for comparing.
func texts(t *testing.T, records []catalog.Pooled) (out []string) {
	t.Helper()
	for _, p := range records {
		b, err := p.Encode()
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, p.Kind()+" "+string(b))
	}
	return out
}

func poolRoundTrip(t *testing.T, f *fixture) {
	f.gear()
	one, two := f.session("one", 1, 2, 3), f.session("two", 4)
	one.TemperatureC, one.Remark, one.At = pointer(0), "cold", noon
	f.record(one, two)
	f.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: one.ID, Retraction: catalog.Retraction{Reason: "wrong horn", ReplacedBy: two.ID}}}})
	h := must(f.store.Horn(f.ctx, "Alder"))(t)
	h.Number, h.BoreMM = 2, 11.8
	f.apply(catalog.Changes{Horns: []catalog.Horn{h}})
	g := f.other()
	all := f.pooled(catalog.PoolSelection{})
	got := g.merge(all...)
	equal(t, "horns", got.Horns, catalog.MergedKind{New: 2})
	equal(t, "sessions", got.Sessions, catalog.MergedKind{New: 2})
	equal(t, "readings", got.Readings, 4)
	equal(t, "records", texts(t, g.pooled(catalog.PoolSelection{})), texts(t, all))
	equal(t, "digest", g.digest(), f.digest())
	equal(t, "history", must(g.store.HornHistory(g.ctx, h.ID))(t), must(f.store.HornHistory(f.ctx, h.ID))(t))
	equal(t, "session", must(g.store.Session(g.ctx, string(one.ID)))(t), must(f.store.Session(f.ctx, string(one.ID)))(t))
	before := g.dump()
	equal(t, "again", g.merge(all...), catalog.Merged{Sessions: catalog.MergedKind{Same: 2}})
	equal(t, "catalog after merging again", g.dump(), before)
}

func poolAtomic(t *testing.T, f *fixture) {
	f.gear()
	f.record(f.session("one", 1, 2, 3))
	g := f.other()
	all := f.pooled(catalog.PoolSelection{})
	before := g.dump()
	broken := errors.New("cut off")
	if _, err := g.store.Merge(g.ctx, stream(all, broken)); !errors.Is(err, broken) {
		t.Errorf("error %v", err)
	}
	equal(t, "catalog after a stream that broke off", g.dump(), before)
	_, err := g.store.Merge(g.ctx, stream(all[len(all)-1:], nil)) // a session without its gear
	wantError(t, err, catalog.NotFound, `"one"`, "horn")
	equal(t, "catalog after a session without gear", g.dump(), before)
	gap := slices.Clone(all[:1])
	gap[0].Player.Record.Number = 2
	_, err = g.store.Merge(g.ctx, stream(gap, nil))
	wantError(t, err, catalog.Invalid, "revision")
	gap[0].Player.Record.Number = 1
	lost := slices.Clone(all)
	lost[len(lost)-1].Session.Record.Retraction = &catalog.Retraction{At: noon, ReplacedBy: catalog.NewID()}
	_, err = g.store.Merge(g.ctx, stream(lost, nil))
	wantError(t, err, catalog.NotFound, "one", "replace")
	equal(t, "catalog after all", g.dump(), before)
}

func poolLabels(t *testing.T, f *fixture) {
	f.gear()
	f.record(f.session("one", 1, 2, 3))
	g := f.other() // made later, so its ids are higher
	g.gear()
	g.record(g.session("two", 4))
	merged := g.merge(f.pooled(catalog.PoolSelection{})...)
	mark := " (" + string(g.alder.ID[21:]) + ")"
	equal(t, "the older horn", must(g.store.Horn(g.ctx, "Alder"))(t).ID, f.alder.ID)
	equal(t, "the newer horn", must(g.store.Horn(g.ctx, "alder"+mark))(t).ID, g.alder.ID)
	equal(t, "session list", must(g.store.Sessions(g.ctx, catalog.SessionFilter{}))(t)[0].HornLabel, "Alder"+mark)
	if !slices.Contains(merged.Renamed, catalog.Renaming{Kind: "horn", ID: g.alder.ID, Stated: "Alder", Label: "Alder" + mark}) || len(merged.Renamed) != 6 {
		t.Errorf("renamed %+v", merged.Renamed)
	}

	// An edit that leaves the label alone states nothing new.
	h := must(g.store.Horn(g.ctx, "Alder"+mark))(t)
	h.Number, h.Loaner = 2, false
	g.apply(catalog.Changes{Horns: []catalog.Horn{h}})
	g.sound()
	h = must(g.store.Horn(g.ctx, "Alder"+mark))(t)
	for _, p := range g.pooled(catalog.PoolSelection{}) {
		if p.Horn != nil && p.Horn.Record.ID == h.ID {
			equal(t, "label given away", p.Horn.Record.Label, "Alder")
		}
	}

	// When the older one is called otherwise, the label is free again.
	old := must(g.store.Horn(g.ctx, "Alder"))(t)
	old.Number, old.Label = 2, "Alder of the school"
	g.apply(catalog.Changes{Horns: []catalog.Horn{old}})
	g.sound()
	equal(t, "the newer horn", must(g.store.Horn(g.ctx, "Alder"))(t).ID, g.alder.ID)

	h = must(g.store.Horn(g.ctx, "Alder"))(t)
	h.Number, h.Label = 3, "Alder II"
	g.apply(catalog.Changes{Horns: []catalog.Horn{h}})
	f.merge(g.pooled(catalog.PoolSelection{})...)
	equal(t, "catalogs", texts(t, f.pooled(catalog.PoolSelection{})), texts(t, g.pooled(catalog.PoolSelection{})))
	equal(t, "digests", f.digest(), g.digest())
}

func poolNames(t *testing.T, f *fixture) {
	f.gear()
	first := f.session("mon", 1)
	f.record(first)
	all := f.pooled(catalog.PoolSelection{})
	g := f.other()
	g.gear()
	second, third := g.session("mon", 2), g.session("tue", 3)
	g.record(second, third)
	g.merge(all...)
	marked := "mon (" + string(second.ID[21:]) + ")"
	equal(t, "the older session", must(g.store.Session(g.ctx, "mon"))(t).ID, first.ID)
	equal(t, "the newer session", must(g.store.Session(g.ctx, marked))(t).ID, second.ID)
	g.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: first.ID}}})
	g.sound()
	equal(t, "the newer session once the older is retracted", must(g.store.Session(g.ctx, "mon"))(t).ID, second.ID)
	g.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: second.ID}}})
	for _, s := range must(g.store.Sessions(g.ctx, catalog.SessionFilter{Retracted: true}))(t) {
		if strings.Contains(s.Name, "(") {
			t.Errorf("a retracted session is still called %q", s.Name)
		}
	}

	// A retraction made elsewhere frees a name here too.
	g = f.other()
	g.gear()
	g.merge(all...)
	again := g.session("mon", 5)
	again.ID = catalog.NewID()
	f.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: first.ID}}})
	g.merge(f.pooled(catalog.PoolSelection{})...)
	g.record(again)
	equal(t, "the session that counts", must(g.store.Session(g.ctx, "mon"))(t).ID, again.ID)
}

// kinds counts what a selection holds.
func kinds(records []catalog.Pooled) string {
	n := map[string]int{}
	for _, p := range records {
		n[p.Kind()]++
	}
	return fmt.Sprintf("%d %d %d %d", n["player"], n["horn"], n["mouthpiece"], n["session"])
}

func poolSelection(t *testing.T, f *fixture) {
	f.gear()
	one, two, three := f.session("one", 1), f.session("two", 2), f.session("three", 3)
	two.Horn, two.Mouthpiece, two.Player, two.Contributor, two.Adapter = f.rowan.ID, f.dunlin.ID, f.kite.ID, "lamp-keeper", true
	three.Player = f.kite.ID
	f.record(one, two, three)
	for _, tc := range []struct {
		sel  catalog.PoolSelection
		want string // players, horns, mouthpieces, sessions
	}{
		{catalog.PoolSelection{}, "2 2 2 3"},
		{catalog.PoolSelection{Horns: []catalog.ID{f.alder.ID}}, "2 1 1 2"},
		{catalog.PoolSelection{Mouthpieces: []catalog.ID{f.dunlin.ID}}, "1 1 1 1"},
		{catalog.PoolSelection{Players: []catalog.ID{f.kite.ID}}, "1 2 2 2"},
		{catalog.PoolSelection{Contributors: []string{"lamp-keeper"}}, "1 1 1 1"},
		{catalog.PoolSelection{Contributors: []string{"lamp-keeper", "blue-kite"}}, "2 2 2 3"},
		{catalog.PoolSelection{Horns: []catalog.ID{f.alder.ID}, Players: []catalog.ID{f.kite.ID}}, "1 1 1 1"},
		{catalog.PoolSelection{Horns: []catalog.ID{f.alder.ID}, Contributors: []string{"lamp-keeper"}}, "0 1 0 0"},
		{catalog.PoolSelection{Contributors: []string{"nobody"}}, "0 0 0 0"},
	} {
		equal(t, fmt.Sprintf("%+v", tc.sel), kinds(f.pooled(tc.sel)), tc.want)
	}
	// What replaces a chosen session goes with it.
	f.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: one.ID, Retraction: catalog.Retraction{ReplacedBy: two.ID}}}})
	some := f.pooled(catalog.PoolSelection{Contributors: []string{"blue-kite"}})
	equal(t, "with the replacement", kinds(some), "2 2 2 3")
	f.other().merge(some...)
}

func poolSince(t *testing.T, f *fixture) {
	f.gear()
	f.record(f.session("one", 1))
	all := f.pooled(catalog.PoolSelection{})
	g := f.other()
	time.Sleep(5 * time.Millisecond)
	before := time.Now()
	time.Sleep(5 * time.Millisecond)
	g.merge(all...)
	equal(t, "learned by merging", kinds(g.pooled(catalog.PoolSelection{Since: before})), "2 2 2 1")
	equal(t, "known before", kinds(f.pooled(catalog.PoolSelection{Since: before})), "0 0 0 0")
	f.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: must(f.store.Session(f.ctx, "one"))(t).ID}}})
	equal(t, "retracted since", kinds(f.pooled(catalog.PoolSelection{Since: before})), "1 1 1 1")
	p := must(f.store.Player(f.ctx, "blue-kite"))(t)
	p.Number = 2
	f.apply(catalog.Changes{Players: []catalog.Player{p}})
	equal(t, "revised since", kinds(f.pooled(catalog.PoolSelection{Since: before})), "3 1 1 1")
	equal(t, "in the future", kinds(f.pooled(catalog.PoolSelection{Since: time.Now().Add(time.Hour)})), "0 0 0 0")
}

func poolEdits(t *testing.T, f *fixture) {
	f.gear()
	h := must(f.store.Horn(f.ctx, "Rowan"))(t)
	shared := catalog.Shared[catalog.Horn]{Record: h, Withheld: []string{"label", "owner"}, Extra: catalog.Extra{"weight_g": "1100"}}
	shared.Record.ID, shared.Record.Label = catalog.NewID(), "player-x's"
	g := f.other()
	g.merge(catalog.Pooled{Horn: &shared}, catalog.Pooled{Other: &catalog.OtherRecord{Kind: "oil", Body: `{"id":7}`}})
	edited := must(g.store.Horn(g.ctx, "player-x's"))(t)
	edited.Number, edited.Owner = 2, "the school"
	g.apply(catalog.Changes{Horns: []catalog.Horn{edited}})
	all := g.pooled(catalog.PoolSelection{})
	if len(all) != 3 {
		t.Fatalf("%d records", len(all))
	}
	equal(t, "still withheld", all[1].Horn.Withheld, []string{"label"})
	equal(t, "said by a newer version", all[1].Horn.Extra, shared.Extra)
	equal(t, "of another kind", texts(t, all[2:]), []string{`oil {"id":7}`})
	equal(t, "kept again", g.merge(all...).Kept, 0)
}

func poolSecret(t *testing.T, f *fixture) {
	f.gear()
	p := must(f.store.Player(f.ctx, "blue-kite"))(t)
	p.Number, p.Label = 2, "grey-heron"
	f.apply(catalog.Changes{Players: []catalog.Player{p}})
	stranger := catalog.Shared[catalog.Player]{Record: catalog.Player{ID: catalog.NewID(), Revision: catalog.Revision{Number: 1, At: noon}, Label: "player-x"}, Withheld: []string{"label"}}
	f.merge(catalog.Pooled{Player: &stranger})
	secret := must(f.store.PoolSecret(f.ctx))(t)
	equal(t, "handles", secret.Handles, []string{"blue-kite", "grey-heron", "reed-otter"})
	equal(t, "again", must(f.store.PoolSecret(f.ctx))(t), secret)
	other := must(f.other().store.PoolSecret(f.ctx))(t)
	if len(secret.Salt) != 32 || slices.Equal(secret.Salt, other.Salt) {
		t.Errorf("salts %x and %x", secret.Salt, other.Salt)
	}
}

// poolMany merges more than any store handles at once, with records that come
// again, in another state or the same, soon after and much later: what comes of it
// is what comes of merging a little at a time.
func poolMany(t *testing.T, f *fixture) {
	const horns, sessions = 150, 1100
	var gear, played []catalog.Pooled
	var ids []catalog.ID
	for i := range horns {
		id := catalog.NewID()
		ids = append(ids, id)
		for number := 1; number <= 1+i%3; number++ {
			h := catalog.Horn{ID: id, Revision: catalog.Revision{Number: number, At: noon.Add(time.Duration(i) * time.Hour)}, Label: fmt.Sprintf("Horn %d", i/2*2), BoreMM: 11 + float64(number)/10}
			h.Normalize()
			gear = append(gear, catalog.Pooled{Horn: &catalog.Shared[catalog.Horn]{Record: h}})
			if i%5 == 0 {
				again := h
				again.At, again.BoreMM = h.At.Add(time.Minute), 12
				gear = append(gear, catalog.Pooled{Horn: &catalog.Shared[catalog.Horn]{Record: again}})
			}
		}
	}
	m := f.plover
	m.Revision = catalog.Revision{Number: 1, At: noon}
	m.Normalize()
	gear = append(gear, catalog.Pooled{Mouthpiece: &catalog.Shared[catalog.Mouthpiece]{Record: m}})
	f.otter.Revision = catalog.Revision{Number: 1, At: noon}
	gear = append(gear, catalog.Pooled{Player: &catalog.Shared[catalog.Player]{Record: f.otter}})
	for i := range sessions {
		s := f.session(fmt.Sprintf("session %d", i%700), float64(i%90), 2)
		s.Horn = ids[i%horns]
		s.Recorded = noon
		s.Normalize()
		played = append(played, catalog.Pooled{Session: &catalog.Shared[catalog.Session]{Record: s}})
		switch {
		case i%10 == 1: // again, and taken back
			s.Retraction = &catalog.Retraction{At: noon, Reason: "slip"}
			fallthrough
		case i%10 == 2:
			again := s
			played = append(played, catalog.Pooled{Session: &catalog.Shared[catalog.Session]{Record: again}})
		}
	}
	// Some come again after all the others.
	played = append(played, slices.Clone(played[:50])...)
	merged := f.merge(append(slices.Clone(gear), played...)...)
	equal(t, "new", []int{merged.Horns.New, merged.Mouthpieces.New, merged.Players.New, merged.Sessions.New}, []int{horns, 1, 1, sessions})

	g := newFixture(t, f.open)
	g.merge(gear...)
	for some := range slices.Chunk(played, 97) {
		slices.Reverse(some)
		if _, err := g.store.Merge(g.ctx, stream(some, nil)); err != nil {
			t.Fatal(err)
		}
	}
	g.sound()
	equal(t, "digest", f.digest(), g.digest())
	portrait := func(f *fixture) (out []string) {
		for _, p := range f.pooled(catalog.PoolSelection{}) {
			line, err := p.Encode()
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, string(line))
		}
		for _, h := range must(f.store.Horns(f.ctx, true))(t) {
			out = append(out, h.Label)
		}
		return out
	}
	if a, b := portrait(f), portrait(g); !slices.Equal(a, b) {
		t.Errorf("%d records at once, %d a few at a time, or others", len(a), len(b))
	}
	again := f.merge(append(slices.Clone(gear), played...)...)
	equal(t, "new again", []int{again.Horns.New + again.Horns.Changed, again.Sessions.New + again.Sessions.Changed}, []int{0, 0})
}
