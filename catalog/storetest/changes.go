package storetest

import (
	"math"
	"reflect"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

var changeTests = []contract{
	{"nothing changes nothing", applyNothing},
	{"changes are all or nothing", applyAtomic},
	{"the caller's records are left alone", applyCopies},
	{"a label is taken once", labelTaken},
	{"labels can be exchanged and passed on", labelsExchanged},
	{"a revision must be the next one", revisionNext},
	{"broken rules are invalid", rulesBroken},
	{"sessions must fit their gear", sessionFits},
	{"sessions need gear that is there", sessionGear},
}

func applyNothing(t *testing.T, f *fixture) {
	f.gear()
	before := f.dump()
	f.apply(catalog.Changes{})
	equal(t, "catalog", f.dump(), before)
}

func applyAtomic(t *testing.T, f *fixture) {
	f.gear()
	f.record(f.session("one", 1, 2, 3))
	bad := f.session("bad", 1, 2)
	bad.Readings[1].Cents = 400
	stranger := f.session("stranger", 1)
	stranger.Horn = catalog.NewID()
	taken := f.session("one", 4)
	twin := f.session("twin", 5)
	old := must(f.store.Horn(f.ctx, "Alder"))(t)
	old.BoreMM = 11.9 // without the next revision number
	for _, tc := range []struct {
		kind catalog.Kind
		last catalog.Session
	}{
		{catalog.Invalid, bad}, {catalog.NotFound, stranger}, {catalog.Conflict, taken}, {catalog.Conflict, twin},
	} {
		renamed := must(f.store.Horn(f.ctx, "Alder"))(t)
		renamed.Number, renamed.Label = 2, "Alder II"
		f.refuse(tc.kind, catalog.Changes{
			Horns:       []catalog.Horn{renamed, {Label: "Hazel"}},
			Mouthpieces: []catalog.Mouthpiece{{Label: "Curlew 17"}},
			Players:     []catalog.Player{{Label: "grey-heron"}},
			Sessions:    []catalog.Session{f.session("two", 7, 8), twin, tc.last, f.session("three", 9)},
			Retractions: []catalog.RetractionOf{},
		})
	}
	f.refuse(catalog.Conflict, catalog.Changes{Players: []catalog.Player{{Label: "grey-heron"}}, Horns: []catalog.Horn{old}}, "Alder")
	f.refuse(catalog.NotFound, catalog.Changes{Sessions: []catalog.Session{f.session("two", 1)}, Retractions: []catalog.RetractionOf{{Session: catalog.NewID()}}})
	f.sound()
}

func applyCopies(t *testing.T, f *fixture) {
	c := func() catalog.Changes {
		s := f.session(" late first ", 3, 2, 1)
		s.ID, s.Readings[0], s.Readings[2] = "", s.Readings[2], s.Readings[0]
		h, m, p := f.alder, f.plover, f.otter
		h.Tags = []string{"z", "a", "a"}
		return catalog.Changes{Horns: []catalog.Horn{h}, Mouthpieces: []catalog.Mouthpiece{m}, Players: []catalog.Player{p}, Sessions: []catalog.Session{s}}
	}
	changes, untouched := c(), c()
	f.apply(changes)
	if !reflect.DeepEqual(changes, untouched) {
		t.Errorf("Apply altered its argument:\n got %+v\nwant %+v", changes, untouched)
	}
	equal(t, "name", must(f.store.Session(f.ctx, "late first"))(t).Name, "late first")
	equal(t, "tags", must(f.store.Horn(f.ctx, "Alder"))(t).Tags, []string{"a", "z"})
}

func labelTaken(t *testing.T, f *fixture) {
	f.gear()
	f.refuse(catalog.Conflict, catalog.Changes{Horns: []catalog.Horn{{Label: " Alder "}}}, `horn "Alder"`)
	f.refuse(catalog.Conflict, catalog.Changes{Mouthpieces: []catalog.Mouthpiece{{Label: "Plover 16.2"}}}, `mouthpiece "Plover 16.2"`)
	f.refuse(catalog.Conflict, catalog.Changes{Players: []catalog.Player{{Label: "blue-kite"}}}, `player "blue-kite"`)
	f.refuse(catalog.Conflict, catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}, {Label: "Hazel"}}}, `"Hazel"`)
	f.apply(catalog.Changes{Horns: []catalog.Horn{{Label: "Plover 16.2"}}}) // another kind of record
}

func labelsExchanged(t *testing.T, f *fixture) {
	f.gear()
	f.record(f.session("one", 1, 2, 3))
	a, b := must(f.store.Horn(f.ctx, "Alder"))(t), must(f.store.Horn(f.ctx, "Rowan"))(t)
	a.Label, b.Label = b.Label, a.Label
	a.Number, b.Number = 2, 2
	f.apply(catalog.Changes{Horns: []catalog.Horn{a, b}})
	equal(t, "Rowan", must(f.store.Horn(f.ctx, "Rowan"))(t).ID, f.alder.ID)
	equal(t, "Alder", must(f.store.Horn(f.ctx, "Alder"))(t).ID, f.rowan.ID)
	f.sound()

	// A new record takes the label that another gives up in the same change.
	a.Number, a.Label = 3, "Birch"
	fresh := catalog.Horn{ID: catalog.NewID(), Label: "Rowan"}
	f.apply(catalog.Changes{Horns: []catalog.Horn{fresh, a}})
	equal(t, "Rowan", must(f.store.Horn(f.ctx, "Rowan"))(t).ID, fresh.ID)
	equal(t, "label in the listing", must(f.store.Sessions(f.ctx, catalog.SessionFilter{}))(t)[0].HornLabel, "Birch")

	// Giving up a label for one that is taken changes nothing.
	a.Number, a.Label = 4, "Alder"
	f.refuse(catalog.Conflict, catalog.Changes{Horns: []catalog.Horn{a}}, `"Alder"`)
	f.sound()
}

func revisionNext(t *testing.T, f *fixture) {
	f.gear()
	h := must(f.store.Horn(f.ctx, "Alder"))(t)
	for _, number := range []int{1, 3, 7} {
		h.Number = number
		f.refuse(catalog.Conflict, catalog.Changes{Horns: []catalog.Horn{h}}, "Alder")
	}
	m := must(f.store.Mouthpiece(f.ctx, "Dunlin 16.6"))(t)
	m.ID, m.Number, m.Label = catalog.NewID(), 2, "Knot 17"
	f.refuse(catalog.NotFound, catalog.Changes{Mouthpieces: []catalog.Mouthpiece{m}}, "Knot 17")
	p := must(f.store.Player(f.ctx, "blue-kite"))(t)
	p.Number = 2
	f.apply(catalog.Changes{Players: []catalog.Player{p}})
	f.refuse(catalog.Conflict, catalog.Changes{Players: []catalog.Player{p}}, "blue-kite", "revision 2") // somebody was first
	h.Number = -1
	f.refuse(catalog.Invalid, catalog.Changes{Horns: []catalog.Horn{h}}, "revision")
}

func rulesBroken(t *testing.T, f *fixture) {
	f.gear()
	horn := func(change func(*catalog.Horn)) catalog.Changes {
		h := catalog.Horn{Label: "Hazel"}
		change(&h)
		return catalog.Changes{Horns: []catalog.Horn{h}}
	}
	session := func(change func(*catalog.Session)) catalog.Changes {
		s := f.session("one", 1, 2)
		change(&s)
		return catalog.Changes{Sessions: []catalog.Session{s}}
	}
	for _, tc := range []struct {
		c     catalog.Changes
		words []string
	}{
		{horn(func(h *catalog.Horn) { h.Label = " " }), []string{"label", "empty"}},
		{horn(func(h *catalog.Horn) { h.BoreMM = 0.459 }), []string{`"Hazel"`, "bore_mm", "inches"}},
		{horn(func(h *catalog.Horn) { h.BoreMM = math.NaN() }), []string{"bore_mm"}},
		{horn(func(h *catalog.Horn) { h.ID = "x" }), []string{"id"}},
		{session(func(s *catalog.Session) { s.Readings = nil }), []string{`"one"`, "readings"}},
		{session(func(s *catalog.Session) { s.Readings[0].Cents = math.Inf(1) }), []string{"cents", "F#3"}},
		{session(func(s *catalog.Session) { s.Readings[0].Cents = 150.01 }), []string{"cents", "F#3", "-150..150"}},
		{session(func(s *catalog.Session) { s.Readings[1].Slot = s.Readings[0].Slot }), []string{"repeat", "F#3", "twice"}},
		{session(func(s *catalog.Session) { s.Readings[1].Slot.Partial = 13 }), []string{"partial"}},
		{session(func(s *catalog.Session) { s.Horn = "" }), []string{"horn", "missing"}},
		{session(func(s *catalog.Session) { s.Player = "" }), []string{"player", "missing"}},
		{session(func(s *catalog.Session) { s.A4Hz = 44 }), []string{"a4_hz"}},
		{catalog.Changes{Retractions: []catalog.RetractionOf{{Session: "x"}}}, []string{"retraction"}},
	} {
		f.refuse(catalog.Invalid, tc.c, tc.words...)
	}
}

func sessionFits(t *testing.T, f *fixture) {
	f.gear()
	s := f.session("cornet shank", 1)
	s.Mouthpiece = f.dunlin.ID
	f.refuse(catalog.Invalid, catalog.Changes{Sessions: []catalog.Session{s}}, "Dunlin 16.6", "cornet", "Alder", "adapter")
	s.Adapter = true
	f.record(s)
	s = f.session("fourth valve", 1)
	s.Readings[0].Slot = pitch.Slot{Valves: 8, Partial: 3}
	f.refuse(catalog.Invalid, catalog.Changes{Sessions: []catalog.Session{s}}, "fourth valve", "Alder")

	// The gear may come with the session.
	piccolo := catalog.Horn{ID: catalog.NewID(), Label: "Wren", Instrument: catalog.Piccolo}
	s.Horn = piccolo.ID
	f.apply(catalog.Changes{Horns: []catalog.Horn{piccolo}, Sessions: []catalog.Session{s}})
}

func sessionGear(t *testing.T, f *fixture) {
	f.gear()
	for _, tc := range []struct {
		noun   string
		change func(*catalog.Session)
	}{
		{"horn", func(s *catalog.Session) { s.Horn = catalog.NewID() }},
		{"mouthpiece", func(s *catalog.Session) { s.Mouthpiece = f.alder.ID }},
		{"player", func(s *catalog.Session) { s.Player = catalog.NewID() }},
	} {
		s := f.session("one", 1)
		tc.change(&s)
		f.refuse(catalog.NotFound, catalog.Changes{Sessions: []catalog.Session{s}}, `"one"`, tc.noun)
	}
	machine := f.session("impedance head", 1)
	machine.Player, machine.Method = "", catalog.MethodImpedance
	f.record(machine)
	equal(t, "player", must(f.store.Session(f.ctx, "impedance head"))(t).Player, "")
}
