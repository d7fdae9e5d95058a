package storetest

import (
	"slices"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

var linkTests = []contract{
	{"what is linked counts as one, and apart again when unlinked", linkAndUnlink},
	{"chains lead to their end", linkChain},
	{"links that can't be are refused and leave no trace", linkRefused},
	{"gear can't be edited away from what it is linked to", linkEdited},
	{"spellings of designs are linked", linkDesigns},
	{"links travel, whatever comes first", linkTravels},
	{"links in opposite directions come to one end", linkOpposite},
	{"a selection takes along what is linked", linkSelection},
	{"links that an older version kept are taken up", linkAdopted},
}

// twin writes a second record of Alder and gives it.
func (f *fixture) twin(label, serial string) catalog.Horn {
	f.t.Helper()
	h := catalog.Horn{ID: catalog.NewID(), Label: label, Maker: "Tide Wright", Model: "Heron", Serial: serial, Key: pitch.KeyBb,
		Instrument: catalog.Trumpet, Valves: 3, Receiver: catalog.ShankTrumpet}
	f.apply(catalog.Changes{Horns: []catalog.Horn{h}})
	return h
}

// link links two horns.
func (f *fixture) link(alias, kept catalog.ID, number int) catalog.Link {
	f.t.Helper()
	l := catalog.Link{Kind: catalog.LinkHorn, Alias: string(alias), Kept: string(kept), Revision: catalog.Revision{Number: number}}
	f.apply(catalog.Changes{Links: []catalog.Link{l}})
	f.sound()
	return l
}

func (f *fixture) unlink(l catalog.Link) {
	f.t.Helper()
	l.Number++
	l.Retired = true
	f.apply(catalog.Changes{Links: []catalog.Link{l}})
	f.sound()
}

func labels(horns []catalog.Horn) (out []string) {
	for _, h := range horns {
		out = append(out, h.Label)
	}
	return out
}

func linkAndUnlink(t *testing.T, f *fixture) {
	f.gear()
	elder := f.twin("Elder", "")
	own, other := f.session("own", 1, 2), f.session("other", 3)
	other.Horn = elder.ID
	f.record(own, other)
	f.apply(catalog.Changes{Loans: []catalog.Loan{{Horn: elder.ID, Copy: 1, Player: f.kite.ID}}})
	draft := catalog.Draft{ID: catalog.NewID(), Session: f.session("typed"), Rounds: [][]pitch.Slot{{{Partial: 2}}}}
	draft.Session.Horn = elder.ID
	if err := f.store.OpenDraft(f.ctx, draft); err != nil {
		t.Fatal(err)
	}
	digest, horns := f.digest(), must(f.store.Horns(f.ctx, true))(t)
	sessions := must(f.store.Sessions(f.ctx, catalog.SessionFilter{}))(t)

	l := f.link(elder.ID, f.alder.ID, 1)
	if f.digest() == digest {
		t.Error("the link did not change the digest")
	}
	equal(t, "horns", labels(must(f.store.Horns(f.ctx, true))(t)), []string{"Alder", "Rowan"})
	for _, name := range []string{"Elder", "elder", string(elder.ID), "Alder"} {
		equal(t, "what "+name+" finds", must(f.store.Horn(f.ctx, name))(t).ID, f.alder.ID)
	}
	equal(t, "its history", labels(must(f.store.HornHistory(f.ctx, elder.ID))(t)), []string{"Elder"})
	for _, s := range must(f.store.Sessions(f.ctx, catalog.SessionFilter{Horn: f.alder.ID}))(t) {
		equal(t, "horn of "+s.Name, s.Horn, f.alder.ID)
		equal(t, "its label", s.HornLabel, "Alder")
	}
	equal(t, "sessions", len(must(f.store.Sessions(f.ctx, catalog.SessionFilter{Horn: f.alder.ID}))(t)), 2)
	equal(t, "horn of a session", must(f.store.Session(f.ctx, "other"))(t).Horn, f.alder.ID)
	for _, m := range f.measured(0) {
		equal(t, "horn that was measured", m.Horn, f.alder.ID)
	}
	equal(t, "draft", must(f.store.Draft(f.ctx, "typed"))(t).Session.Horn, f.alder.ID)
	loans := must(f.store.Loans(f.ctx, catalog.LoanFilter{Horn: f.alder.ID}))(t)
	if len(loans) != 1 || loans[0].HornLabel != "Alder" || loans[0].Horn != f.alder.ID {
		t.Errorf("loans %+v", loans)
	}
	f.refuse(catalog.Conflict, catalog.Changes{Loans: []catalog.Loan{{Horn: f.alder.ID, Copy: 1, Player: f.otter.ID}}}, "blue-kite")
	info := must(f.store.Info(f.ctx))(t)
	equal(t, "counts", []int{info.Horns, info.Linked, info.Retired, info.Pairs}, []int{2, 1, 0, 1})

	// A session that names the alias counts for what is kept.
	late := f.session("late", 5)
	late.Horn = elder.ID
	f.record(late)
	f.sound()
	equal(t, "horn of a new session", must(f.store.Session(f.ctx, "late"))(t).Horn, f.alder.ID)
	// So does a new name of what is kept.
	h := must(f.store.Horn(f.ctx, "Alder"))(t)
	h.Number, h.Label = 2, "Old Alder"
	f.apply(catalog.Changes{Horns: []catalog.Horn{h}})
	f.sound()
	equal(t, "label of a session", must(f.store.Sessions(f.ctx, catalog.SessionFilter{}))(t)[1].HornLabel, "Old Alder")
	h.Number, h.Label = 3, "Alder"
	f.apply(catalog.Changes{Horns: []catalog.Horn{h}, Retractions: []catalog.RetractionOf{{Session: late.ID}}})

	f.unlink(l)
	equal(t, "digest after unlinking", f.digest(), digest)
	again := must(f.store.Horns(f.ctx, true))(t)
	again[0].Revision = horns[0].Revision // Alder's was edited and edited back
	equal(t, "horns after unlinking", again, horns)
	equal(t, "sessions after unlinking", must(f.store.Sessions(f.ctx, catalog.SessionFilter{}))(t), sessions)
	links := must(f.store.Links(f.ctx))(t)
	if len(links) != 1 || !links[0].Retired || links[0].InEffect() || links[0].Why != catalog.WhyApart || links[0].AliasLabel != "Elder" || links[0].KeptLabel != "Alder" {
		t.Errorf("links %+v", links)
	}
}

func linkChain(t *testing.T, f *fixture) {
	f.gear()
	b, c := f.twin("Elder", ""), f.twin("Hazel", "")
	s := f.session("s", 1)
	s.Horn = c.ID
	f.record(s)
	first := f.link(c.ID, b.ID, 1)
	f.link(b.ID, f.alder.ID, 1)
	equal(t, "end of the chain", must(f.store.Horn(f.ctx, "Hazel"))(t).ID, f.alder.ID)
	equal(t, "horn of the session", must(f.store.Session(f.ctx, "s"))(t).Horn, f.alder.ID)
	links := must(f.store.Links(f.ctx))(t)
	equal(t, "the first link", []string{links[1].AliasLabel, links[1].KeptLabel, links[1].RootLabel}, []string{"Hazel", "Elder", "Alder"})
	f.unlink(first)
	equal(t, "horns", labels(must(f.store.Horns(f.ctx, true))(t)), []string{"Alder", "Hazel", "Rowan"})
	equal(t, "horn of the session", must(f.store.Session(f.ctx, "s"))(t).Horn, c.ID)
}

func linkRefused(t *testing.T, f *fixture) {
	f.gear()
	elder, stranger, hazel := f.twin("Elder", ""), f.twin("Linden", "9"), f.twin("Hazel", "No. 0204")
	refuse := func(kind catalog.Kind, k catalog.LinkKind, alias, kept string, number int, words ...string) {
		t.Helper()
		f.refuse(kind, catalog.Changes{Links: []catalog.Link{{Kind: k, Alias: alias, Kept: kept, Revision: catalog.Revision{Number: number}}}}, words...)
	}
	a, r, e := string(f.alder.ID), string(f.rowan.ID), string(elder.ID)
	refuse(catalog.Invalid, catalog.LinkHorn, a, r, 1, "kind", "trumpet", "cornet", "Alder", "Rowan")
	refuse(catalog.Invalid, catalog.LinkHorn, string(stranger.ID), a, 1, "204", "9")
	refuse(catalog.Invalid, catalog.LinkHorn, a, a, 1, "itself")
	refuse(catalog.Invalid, catalog.LinkMouthpiece, string(f.plover.ID), string(f.dunlin.ID), 1, "shank")
	refuse(catalog.NotFound, catalog.LinkHorn, a, string(catalog.NewID()), 1, "not in the catalog")
	refuse(catalog.NotFound, catalog.LinkMouthpiece, a, string(f.plover.ID), 1, "not in the catalog")
	refuse(catalog.Conflict, catalog.LinkHorn, e, a, 2, "revision")
	refuse(catalog.Invalid, "hat", a, e, 1, "kind")
	refuse(catalog.Invalid, catalog.LinkHornDesign, "a", "b\tc", 1, "model")

	// Serial numbers that are written differently are the same.
	f.unlink(f.link(hazel.ID, f.alder.ID, 1))
	f.link(elder.ID, f.alder.ID, 1)
	refuse(catalog.Conflict, catalog.LinkHorn, a, e, 1, "other way", "unlink horn Elder")
	refuse(catalog.Conflict, catalog.LinkHorn, e, string(hazel.ID), 1, "changed meanwhile")
	// Through Elder, Linden would be Alder.
	refuse(catalog.Invalid, catalog.LinkHorn, string(stranger.ID), e, 1, "204", "9")
	f.sound()
}

func linkEdited(t *testing.T, f *fixture) {
	f.gear()
	elder := f.twin("Elder", "")
	f.link(elder.ID, f.alder.ID, 1)
	h := must(f.store.Horn(f.ctx, "Alder"))(t)
	h.Number, h.Key = 2, pitch.KeyC
	f.refuse(catalog.Invalid, catalog.Changes{Horns: []catalog.Horn{h}}, "key", "Elder", "unlink")
	h.Key, h.BoreMM = pitch.KeyBb, 11.7
	f.apply(catalog.Changes{Horns: []catalog.Horn{h}})
	f.sound()
	// Elsewhere it can be edited, and then the link is out of effect.
	g := f.other()
	g.merge(f.pooled(catalog.PoolSelection{})...)
	elder = must(g.store.HornHistory(g.ctx, elder.ID))(t)[0]
	elder.Number, elder.Valves = 2, 4
	before := g.digest()
	g.merge(catalog.Pooled{Horn: &catalog.Shared[catalog.Horn]{Record: elder}})
	links := must(g.store.Links(g.ctx))(t)
	if len(links) != 1 || links[0].InEffect() || links[0].Why == "" || g.digest() == before {
		t.Errorf("links %+v", links)
	}
	equal(t, "horns", labels(must(g.store.Horns(g.ctx, true))(t)), []string{"Alder", "Elder", "Rowan"})
}

func linkDesigns(t *testing.T, f *fixture) {
	f.gear()
	f.twin("Elder", "")
	before := f.digest()
	horns := must(f.store.Horns(f.ctx, true))(t)
	designs := catalog.NewDesigns(must(f.store.Links(f.ctx))(t))
	if designs.Horn(horns[0]) == designs.Horn(horns[1]) {
		t.Fatal("two spellings are one design already")
	}
	l := catalog.Link{Kind: catalog.LinkHornDesign, Alias: horns[1].DesignName().Key(), Kept: horns[0].DesignName().Key()}
	f.apply(catalog.Changes{Links: []catalog.Link{l}})
	f.sound()
	designs = catalog.NewDesigns(must(f.store.Links(f.ctx))(t))
	equal(t, "design", designs.Horn(horns[1]), horns[0].Design())
	equal(t, "design of what is kept", designs.Horn(horns[0]), horns[0].Design())
	inC := horns[1]
	inC.Key = pitch.KeyC
	if designs.Horn(inC) == designs.Horn(horns[1]) {
		t.Error("one design in two keys is one now")
	}
	if f.digest() == before {
		t.Error("the link did not change the digest")
	}
	back := catalog.Link{Kind: l.Kind, Alias: l.Kept, Kept: l.Alias}
	f.refuse(catalog.Conflict, catalog.Changes{Links: []catalog.Link{back}}, "other way")
	l.Number = 1
	f.unlink(l)
	equal(t, "digest after unlinking", f.digest(), before)
}

func linkTravels(t *testing.T, f *fixture) {
	f.gear()
	elder := f.twin("Elder", "")
	s := f.session("s", 1, 2)
	s.Horn = elder.ID
	f.record(s)
	end := f.end()
	l := f.link(elder.ID, f.alder.ID, 1)
	news := f.changed(end, 10)
	equal(t, "news", refs(news), []catalog.RecordRef{{Kind: catalog.PooledLink, ID: l.Ref()}})
	picked := f.picked(news[0].RecordRef)
	if len(picked) != 1 || picked[0].Link == nil || picked[0].Link.Record.Alias != l.Alias {
		t.Errorf("picked %+v", picked)
	}
	all := f.pooled(catalog.PoolSelection{})
	g := f.other()
	equal(t, "links", g.merge(all...).Links, catalog.MergedKind{New: 1})
	equal(t, "records", texts(t, g.pooled(catalog.PoolSelection{})), texts(t, all))
	equal(t, "digest", g.digest(), f.digest())
	equal(t, "horns", labels(must(g.store.Horns(g.ctx, true))(t)), []string{"Alder", "Rowan"})
	end = g.end()
	equal(t, "links again", g.merge(all...).Links, catalog.MergedKind{})
	equal(t, "the end", g.end(), end)

	// The link may come before what it names.
	early := f.other()
	var links, rest []catalog.Pooled
	for _, p := range all {
		if p.Link != nil {
			links = append(links, p)
		} else {
			rest = append(rest, p)
		}
	}
	early.merge(links...)
	equal(t, "link to what is not there", must(early.store.Links(early.ctx))(t)[0].InEffect(), false)
	early.merge(rest...)
	equal(t, "digest", early.digest(), f.digest())

	// Apart, and together again: the last revision counts, whatever comes last.
	f.unlink(l)
	apart := f.pooled(catalog.PoolSelection{})
	g.merge(apart...)
	g.merge(all...)
	equal(t, "digest after it was taken apart", g.digest(), f.digest())
	f.link(elder.ID, f.alder.ID, 3)
	g.merge(f.pooled(catalog.PoolSelection{})...)
	g.merge(apart...)
	equal(t, "digest after it was linked again", g.digest(), f.digest())
	equal(t, "sessions", must(g.store.Session(g.ctx, "s"))(t).Horn, f.alder.ID)
}

func linkOpposite(t *testing.T, f *fixture) {
	f.gear()
	elder := f.twin("Elder", "")
	g, h := f.other(), f.other()
	g.merge(f.pooled(catalog.PoolSelection{})...)
	one := catalog.Link{Kind: catalog.LinkHorn, Alias: string(elder.ID), Kept: string(f.alder.ID), Revision: catalog.Revision{At: noon}}
	f.apply(catalog.Changes{Links: []catalog.Link{one}})
	other := catalog.Link{Kind: catalog.LinkHorn, Alias: string(f.alder.ID), Kept: string(elder.ID), Revision: catalog.Revision{At: noon.Add(time.Second)}}
	g.apply(catalog.Changes{Links: []catalog.Link{other}})
	fromF, fromG := f.pooled(catalog.PoolSelection{}), g.pooled(catalog.PoolSelection{})
	f.merge(fromG...)
	g.merge(fromF...)
	h.merge(fromF...)
	h.merge(fromG...)
	for _, x := range []*fixture{f, g, h} {
		equal(t, "digest", x.digest(), f.digest())
		equal(t, "horns", labels(must(x.store.Horns(x.ctx, true))(t)), []string{"Elder", "Rowan"})
		equal(t, "what Alder goes by", must(x.store.Horn(x.ctx, "Alder"))(t).ID, elder.ID)
	}
	// The one that is out of effect comes back when the other is taken apart.
	other.Number = 1
	f.unlink(other)
	equal(t, "horns", labels(must(f.store.Horns(f.ctx, true))(t)), []string{"Alder", "Rowan"})
}

func linkSelection(t *testing.T, f *fixture) {
	f.gear()
	elder := f.twin("Elder", "")
	s := f.session("s", 1)
	s.Horn = elder.ID
	other := f.session("t", 2)
	other.Horn, other.Mouthpiece, other.Adapter = f.rowan.ID, f.dunlin.ID, true
	f.record(s, other)
	l := f.link(elder.ID, f.alder.ID, 1)
	f.apply(catalog.Changes{Links: []catalog.Link{{Kind: catalog.LinkHornDesign, Alias: elder.DesignName().Key(), Kept: f.alder.DesignName().Key()},
		{Kind: catalog.LinkMouthpieceDesign, Alias: "\tdunlin", Kept: "northlamp\tdunlin"}}})
	linked := func(records []catalog.Pooled) (n int) {
		for _, p := range records {
			if p.Link != nil {
				n++
			}
		}
		return n
	}
	for _, sel := range []catalog.PoolSelection{{Horns: []catalog.ID{f.alder.ID}}, {Horns: []catalog.ID{elder.ID}}, {Contributors: []string{"blue-kite"}, Mouthpieces: []catalog.ID{f.plover.ID}}} {
		some := f.pooled(sel)
		equal(t, "a selection", kinds(some), "1 2 1 1")
		equal(t, "its links", linked(some), 2)
		g := f.other()
		g.merge(some...)
		equal(t, "horns there", labels(must(g.store.Horns(g.ctx, true))(t)), []string{"Alder"})
	}
	equal(t, "links of other gear", linked(f.pooled(catalog.PoolSelection{Horns: []catalog.ID{f.rowan.ID}})), 0)
	time.Sleep(5 * time.Millisecond)
	before := time.Now()
	time.Sleep(5 * time.Millisecond)
	equal(t, "links since", linked(f.pooled(catalog.PoolSelection{Since: before})), 0)
	f.unlink(l)
	news := f.pooled(catalog.PoolSelection{Since: before})
	equal(t, "links since one was taken apart", linked(slices.Clone(news)), 2) // its horns' designs too
	equal(t, "with the gear", kinds(news), "0 2 0 0")
}

func linkAdopted(t *testing.T, f *fixture) {
	f.gear()
	elder := f.twin("Elder", "")
	body := `{"kind":"horn","alias":"` + string(elder.ID) + `","kept":"` + string(f.alder.ID) + `","revision":1,"revised":"2026-03-14T12:00:00Z"}`
	f.merge(catalog.Pooled{Other: &catalog.OtherRecord{Kind: catalog.PooledLink, Body: body}},
		catalog.Pooled{Other: &catalog.OtherRecord{Kind: catalog.PooledLink, Body: `{"kind":"hat"}`}})
	equal(t, "horns", labels(must(f.store.Horns(f.ctx, true))(t)), []string{"Alder", "Rowan"})
	for _, p := range f.pooled(catalog.PoolSelection{}) {
		if p.Other != nil {
			t.Errorf("%s is passed on as %+v", p.Kind(), p.Other)
		}
	}
}
