package storetest

import (
	"fmt"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

var visitTests = []contract{
	{"a visit comes back line by line", visitRoundTrip},
	{"a visit that breaks a rule is not kept", visitRefused},
	{"lines of a visit follow one another", visitLines},
	{"a visit makes no fit stale and is recorded with its sessions or not at all", visitRecorded},
	{"a discarded visit is gone", visitDiscarded},
}

// visit is one with Alder and reed-otter, who plays Plover.
func (f *fixture) visit(name string) catalog.Visit {
	return catalog.Visit{ID: catalog.NewID(), Name: name, Started: noon, Horn: f.alder.ID, Mouthpiece: f.plover.ID, Player: f.otter.ID, Contributor: "blue-kite",
		Candidates: []catalog.VisitCandidate{{Code: "B", Mouthpiece: f.dunlin.ID}, {Code: "A", Mouthpiece: f.plover.ID}}, Planned: 1,
		Notes: []pitch.Slot{{Partial: 2}, {Valves: 5, Partial: 3}}, Times: 2, Tries: 6, Minutes: 45, Cents: 0.5, Chance: 0.05,
		Blind: true, Adapter: true, Seed: 4711}
}

func (f *fixture) openVisit(v catalog.Visit) {
	f.t.Helper()
	if err := f.store.OpenVisit(f.ctx, v); err != nil {
		f.t.Fatal(err)
	}
}

func (f *fixture) visitLine(v catalog.Visit, n int, text string) {
	f.t.Helper()
	if err := f.store.AddVisitLine(f.ctx, v.ID, n, must(catalog.ParseVisitLine(text))(f.t)); err != nil {
		f.t.Fatal(err)
	}
}

func visitRoundTrip(t *testing.T, f *fixture) {
	f.gear()
	v := f.visit("Harbour shop")
	f.openVisit(v)
	for i, text := range []string{"B 0/2 -3 4.25", "B 13/3 0", "A undo", "A 0/2 skip", "B 13/3 -31.5"} {
		f.visitLine(v, i+1, text)
		v.Lines = append(v.Lines, must(catalog.ParseVisitLine(text))(t))
		equal(t, "line", v.Lines[i].String(), text)
	}
	for _, name := range []string{"harbour SHOP", string(v.ID)} {
		got := must(f.store.Visit(f.ctx, name))(t)
		equal(t, name, got, catalog.VisitSummary{Visit: v, HornLabel: "Alder", MouthpieceLabel: "Plover 16.2", PlayerLabel: "reed-otter", LineCount: 5})
	}
	second := f.visit("second")
	second.ID, second.Started = "", noon.AddDate(0, 0, 1)
	f.openVisit(second)
	list := must(f.store.Visits(f.ctx))(t)
	equal(t, "names", []string{list[0].Name, list[1].Name}, []string{"Harbour shop", "second"})
	equal(t, "counts", []int{list[0].LineCount, list[1].LineCount, len(list[0].Lines), len(list[1].Candidates)}, []int{5, 0, 0, 2})
	_, err := f.store.Visit(f.ctx, "Harbor shop")
	wantError(t, err, catalog.NotFound, "Harbour shop")
	_, err = f.store.Visit(f.ctx, "x")
	wantError(t, err, catalog.NotFound, "visit list")
	f.sound()
}

func visitRefused(t *testing.T, f *fixture) {
	f.gear()
	f.openVisit(f.visit("there"))
	for _, tc := range []struct {
		kind   catalog.Kind
		change func(*catalog.Visit)
		words  []string
	}{
		{catalog.Invalid, func(v *catalog.Visit) { v.Name = "" }, []string{"visit", "empty"}},
		{catalog.Invalid, func(v *catalog.Visit) { v.Player = "" }, []string{"player", "missing"}},
		{catalog.Invalid, func(v *catalog.Visit) { v.Candidates = nil }, []string{"candidates"}},
		{catalog.Invalid, func(v *catalog.Visit) { v.Candidates[1].Code = "B" }, []string{"code", "twice"}},
		{catalog.Invalid, func(v *catalog.Visit) { v.Candidates[1].Code = "b" }, []string{"code"}},
		{catalog.Invalid, func(v *catalog.Visit) { v.Planned = 3 }, []string{"planned"}},
		{catalog.Invalid, func(v *catalog.Visit) { v.Notes = nil }, []string{"notes"}},
		{catalog.Invalid, func(v *catalog.Visit) { v.Notes[0].Partial = 0 }, []string{"partial"}},
		{catalog.Invalid, func(v *catalog.Visit) { v.Times = 0 }, []string{"times"}},
		{catalog.Invalid, func(v *catalog.Visit) { v.Tries = catalog.MaxTries + 1 }, []string{"tries"}},
		{catalog.Invalid, func(v *catalog.Visit) { v.Minutes = -1 }, []string{"minutes"}},
		{catalog.Invalid, func(v *catalog.Visit) { v.Chance = 1.5 }, []string{"chance"}},
		{catalog.Invalid, func(v *catalog.Visit) { v.Lines = make([]catalog.VisitLine, 1) }, []string{"lines"}},
		{catalog.Invalid, func(v *catalog.Visit) { v.Adapter = false }, []string{"cornet shank", "Alder"}},
		{catalog.NotFound, func(v *catalog.Visit) { v.Candidates[0].Mouthpiece = catalog.NewID() }, []string{"mouthpiece"}},
		{catalog.Conflict, func(v *catalog.Visit) { v.Name = "THERE" }, []string{"THERE", "visit record"}},
	} {
		v := f.visit("one")
		tc.change(&v)
		wantError(t, f.store.OpenVisit(f.ctx, v), tc.kind, tc.words...)
	}
	equal(t, "visits", len(must(f.store.Visits(f.ctx))(t)), 1)
	f.sound()
}

func visitLines(t *testing.T, f *fixture) {
	f.gear()
	v := f.visit("one")
	f.openVisit(v)
	f.visitLine(v, 1, "B 0/2 -3")
	good := must(catalog.ParseVisitLine("B 13/3 skip"))(t)
	for _, n := range []int{0, 1, 3} {
		wantError(t, f.store.AddVisitLine(f.ctx, v.ID, n, good), catalog.Conflict, "1 line", "another terminal")
	}
	wantError(t, f.store.AddVisitLine(f.ctx, catalog.NewID(), 1, good), catalog.NotFound, "visit list")
	stranger := good
	stranger.Code = "C"
	wantError(t, f.store.AddVisitLine(f.ctx, v.ID, 2, stranger), catalog.NotFound, "candidate", `"C"`)
	bad := good
	bad.Cents = []float64{1}
	wantError(t, f.store.AddVisitLine(f.ctx, v.ID, 2, bad), catalog.Invalid, "cents")
	equal(t, "lines", len(must(f.store.Visit(f.ctx, "one"))(t).Lines), 1)
	for _, text := range []string{"", "B", "b 0/2 3", "BBB 0/2 3", "B 0/2 x", "0/2 3"} {
		_, err := catalog.ParseVisitLine(text)
		wantError(t, err, catalog.Invalid, fmt.Sprintf("%q", text))
	}
}

func visitRecorded(t *testing.T, f *fixture) {
	f.gear()
	before := must(f.store.Digest(f.ctx))(t)
	v := f.visit("one")
	f.openVisit(v)
	f.visitLine(v, 1, "B 0/2 -3 4")
	f.visitLine(v, 2, "A 0/2 7")
	f.visitLine(v, 3, "B undo")
	equal(t, "digest", must(f.store.Digest(f.ctx))(t), before)
	kept := must(f.store.Visit(f.ctx, "one"))(t)
	s := kept.Session(kept.Candidates[0], "tried")
	equal(t, "readings", s.Readings, []catalog.Reading{{Slot: v.Notes[0], Repeat: 1, Cents: -3}, {Slot: v.Notes[0], Repeat: 2, Cents: 4}})
	equal(t, "readings of what was taken back", len(kept.Session(kept.Candidates[1], "").Readings), 0)
	f.refuse(catalog.Conflict, catalog.Changes{Sessions: []catalog.Session{s}, Visits: []catalog.VisitEnd{{ID: v.ID, Lines: 2}}}, "3 lines", "not 2")
	f.refuse(catalog.NotFound, catalog.Changes{Sessions: []catalog.Session{s}, Visits: []catalog.VisitEnd{{ID: catalog.NewID(), Lines: 3}}}, "visit list")
	end := catalog.Changes{Sessions: []catalog.Session{s}, Visits: []catalog.VisitEnd{{ID: v.ID, Lines: 3}}}
	f.apply(end)
	if must(f.store.Visit(f.ctx, "one"))(t).Recorded.IsZero() {
		t.Error("the visit is still open")
	}
	equal(t, "recorded", len(must(f.store.Session(f.ctx, "one B"))(t).Readings), 2)
	end.Sessions[0].ID, end.Sessions[0].Name = catalog.NewID(), "again"
	f.refuse(catalog.Conflict, end, "recorded as sessions already")
	wantError(t, f.store.AddVisitLine(f.ctx, v.ID, 4, kept.Lines[0]), catalog.Conflict, "recorded as sessions already")
	f.sound()
}

func visitDiscarded(t *testing.T, f *fixture) {
	f.gear()
	v := f.visit("one")
	f.openVisit(v)
	f.visitLine(v, 1, "B 0/2 -3")
	if err := f.store.DiscardVisit(f.ctx, v.ID); err != nil {
		t.Fatal(err)
	}
	equal(t, "visits", len(must(f.store.Visits(f.ctx))(t)), 0)
	wantError(t, f.store.DiscardVisit(f.ctx, v.ID), catalog.NotFound, "visit list")
	f.openVisit(v) // its name and its id are free again
	f.sound()
}
