package storetest

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
)

var gearTests = []contract{
	{"gear comes back as it went in", gearRoundTrip},
	{"gear is listed by label", gearListed},
	{"gear is found by label, case and id", gearFound},
	{"labels that are not there name near ones", gearMissing},
	{"labels that differ by case are told apart", gearCase},
	{"labels may hold anything that can be seen", gearLabels},
	{"labels may be as long as they like when folded", longLabels},
	{"what no text can hold is not there", unaskable},
	{"every revision stays in history", gearHistory},
	{"retired gear is kept out of listings", gearRetired},
	{"the title of the catalog", title},
	{"a cancelled context is its own error", cancelled},
}

func gearRoundTrip(t *testing.T, f *fixture) {
	f.alder.Revision = catalog.Revision{Number: 1, At: noon, Contributor: "blue-kite"}
	f.plover.Revision = catalog.Revision{Number: 1, At: noon, Contributor: "blue-kite"}
	f.otter.Revision = catalog.Revision{Number: 1, At: noon, Contributor: "blue-kite"}
	f.gear()
	equal(t, "horn", must(f.store.Horn(f.ctx, "Alder"))(t), f.alder)
	equal(t, "mouthpiece", must(f.store.Mouthpiece(f.ctx, "Plover 16.2"))(t), f.plover)
	equal(t, "player", must(f.store.Player(f.ctx, "reed-otter"))(t), f.otter)

	// What was left out is filled with the usual.
	h := must(f.store.Horn(f.ctx, "Rowan"))(t)
	if h.Valves != 3 || h.Receiver != catalog.ShankCornet || h.Number != 1 || time.Since(h.At).Abs() > time.Hour {
		t.Errorf("defaults of a horn: %+v", h)
	}
	f.sound()
}

func gearListed(t *testing.T, f *fixture) {
	equal(t, "horns of an empty catalog", len(must(f.store.Horns(f.ctx, true))(t)), 0)
	for _, label := range []string{"hazel", "Alder", "Éder", "Birch", "alder 2"} {
		f.apply(catalog.Changes{Horns: []catalog.Horn{{Label: label}}, Mouthpieces: []catalog.Mouthpiece{{Label: label}}, Players: []catalog.Player{{Label: label}}})
	}
	want := []string{"Alder", "alder 2", "Birch", "hazel", "Éder"}
	var horns, mouthpieces, players []string
	for _, h := range must(f.store.Horns(f.ctx, false))(t) {
		horns = append(horns, h.Label)
	}
	for _, m := range must(f.store.Mouthpieces(f.ctx, false))(t) {
		mouthpieces = append(mouthpieces, m.Label)
	}
	for _, p := range must(f.store.Players(f.ctx, false))(t) {
		players = append(players, p.Label)
	}
	equal(t, "horns", horns, want)
	equal(t, "mouthpieces", mouthpieces, want)
	equal(t, "players", players, want)
}

func gearFound(t *testing.T, f *fixture) {
	f.gear()
	for _, name := range []string{"Alder", "ALDER", " alder ", string(f.alder.ID)} {
		equal(t, "horn "+name, must(f.store.Horn(f.ctx, name))(t).ID, f.alder.ID)
	}
	for _, name := range []string{"Plover 16.2", "plover  16.2", string(f.plover.ID)} {
		equal(t, "mouthpiece "+name, must(f.store.Mouthpiece(f.ctx, name))(t).ID, f.plover.ID)
	}
	for _, name := range []string{"reed-otter", "Reed-Otter", string(f.otter.ID)} {
		equal(t, "player "+name, must(f.store.Player(f.ctx, name))(t).ID, f.otter.ID)
	}
}

func gearMissing(t *testing.T, f *fixture) {
	f.gear()
	_, err := f.store.Horn(f.ctx, "Aldre")
	wantError(t, err, catalog.NotFound, `no horn "Aldre"`, `"Alder"`)
	_, err = f.store.Mouthpiece(f.ctx, "plover 16.3")
	wantError(t, err, catalog.NotFound, `no mouthpiece "plover 16.3"`, `"Plover 16.2"`)
	_, err = f.store.Player(f.ctx, "reedotter")
	wantError(t, err, catalog.NotFound, `no player "reedotter"`, `"reed-otter"`)
	_, err = f.store.Player(f.ctx, "")
	wantError(t, err, catalog.NotFound)
	_, err = f.store.Horn(f.ctx, string(f.plover.ID))
	wantError(t, err, catalog.NotFound)
	_, err = f.store.HornHistory(f.ctx, f.plover.ID)
	wantError(t, err, catalog.NotFound)
	_, err = f.store.MouthpieceHistory(f.ctx, f.otter.ID)
	wantError(t, err, catalog.NotFound)
	_, err = f.store.PlayerHistory(f.ctx, f.alder.ID)
	wantError(t, err, catalog.NotFound)
}

func gearCase(t *testing.T, f *fixture) {
	f.apply(catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}, {Label: "hazel"}, {Label: "ÉCRU"}}})
	equal(t, "exact", must(f.store.Horn(f.ctx, "hazel"))(t).Label, "hazel")
	equal(t, "exact", must(f.store.Horn(f.ctx, "Hazel"))(t).Label, "Hazel")
	equal(t, "case beyond ASCII", must(f.store.Horn(f.ctx, "écru"))(t).Label, "ÉCRU")
	_, err := f.store.Horn(f.ctx, "HAZEL")
	wantError(t, err, catalog.NotFound, `"Hazel"`, `"hazel"`)
}

// awkwardLabels try quoting, wildcards, other scripts and normal forms.
var awkwardLabels = []string{
	`'; DROP TABLE horn; --`, `" OR 1=1 --`, `100%`, `a_b`, `%`, `_`, `\`, `$1`, `?`, `:name`, `@x`, `NULL`, `0`, `-1`, `1e9`, `--help`,
	`山の笛`, `Тростник`, `شجرة`, `👩‍🎤`, "Éb", `a"b'c`, "ß", `{"json":[1]}`, `<b>&amp;`, `,;`, `=1+1`,
}

func gearLabels(t *testing.T, f *fixture) {
	var c catalog.Changes
	for _, label := range awkwardLabels {
		c.Horns = append(c.Horns, catalog.Horn{Label: label, Maker: label, Model: label, Serial: label, Owner: label, Tags: []string{label}})
		c.Mouthpieces = append(c.Mouthpieces, catalog.Mouthpiece{Label: label, BackboreCharacter: label, Stock: []string{label}})
		c.Players = append(c.Players, catalog.Player{Label: label, Level: label})
	}
	f.apply(c)
	for _, label := range awkwardLabels {
		h := must(f.store.Horn(f.ctx, label))(t)
		equal(t, "horn", []string{h.Label, h.Maker, h.Model, h.Serial, h.Owner, h.Tags[0]}, []string{label, label, label, label, label, label})
		m := must(f.store.Mouthpiece(f.ctx, label))(t)
		equal(t, "mouthpiece", []string{m.Label, m.BackboreCharacter, m.Stock[0]}, []string{label, label, label})
		equal(t, "player", must(f.store.Player(f.ctx, label))(t).Level, label)
	}
	// The same letter in two parts is the same label.
	equal(t, "decomposed", must(f.store.Horn(f.ctx, "E\u0301b"))(t).Label, "Éb")
	equal(t, "horns", len(must(f.store.Horns(f.ctx, false))(t)), len(awkwardLabels))
	f.sound()
}

// longLabels are within the limit of characters but long where case and width
// variants are taken away: U+FDFA becomes 18 letters, a square 4 or 5.
func longLabels(t *testing.T, f *fixture) {
	long := strings.Repeat("\ufdfa", catalog.MaxLabelLength)
	squares := ""
	for r := rune(0x3300); len([]rune(squares)) < catalog.MaxLabelLength; r++ {
		squares += string(r)
	}
	f.gear()
	for _, label := range []string{long, squares, strings.Repeat("🎺", catalog.MaxLabelLength)} {
		f.apply(catalog.Changes{Horns: []catalog.Horn{{Label: label}}, Players: []catalog.Player{{Label: label}}, Sessions: []catalog.Session{f.session(label, 1)}})
		equal(t, "horn", must(f.store.Horn(f.ctx, label))(t).Label, label)
		equal(t, "session", must(f.store.Session(f.ctx, label))(t).Name, label)
	}
	f.openVisit(f.visit(long))
	equal(t, "visit", must(f.store.Visit(f.ctx, long))(t).Name, long)
	f.sound()
}

// unaskable looks for texts with bytes that are no UTF-8, and with U+0000.
func unaskable(t *testing.T, f *fixture) {
	f.gear()
	f.record(f.session("one", 1))
	for _, name := range []string{"Alder\x00", "\x00", "one\xff", "\xff\xfe", "Plover 16.2\x80"} {
		_, err := f.store.Horn(f.ctx, name)
		wantError(t, err, catalog.NotFound)
		_, err = f.store.Mouthpiece(f.ctx, name)
		wantError(t, err, catalog.NotFound)
		_, err = f.store.Player(f.ctx, name)
		wantError(t, err, catalog.NotFound)
		_, err = f.store.Session(f.ctx, name)
		wantError(t, err, catalog.NotFound)
		_, err = f.store.Draft(f.ctx, name)
		wantError(t, err, catalog.NotFound)
		_, err = f.store.Visit(f.ctx, name)
		wantError(t, err, catalog.NotFound)
		equal(t, "sessions of nobody", len(must(f.store.Sessions(f.ctx, catalog.SessionFilter{Contributor: name}))(t)), 0)
		for p, err := range f.store.Pooled(f.ctx, catalog.PoolSelection{Contributors: []string{name}}) {
			t.Errorf("%+v, error %v", p, err)
		}
		wantError(t, f.store.SaveFit(f.ctx, catalog.StoredFit{Digest: "x", Sections: map[string][]byte{name: nil}}), catalog.Invalid)
		f.refuse(catalog.Invalid, catalog.Changes{Horns: []catalog.Horn{{Label: name}}})
		f.refuse(catalog.Invalid, catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel", Owner: name}}})
	}
}

func gearHistory(t *testing.T, f *fixture) {
	f.gear()
	first := must(f.store.Horn(f.ctx, "Alder"))(t)
	second := first
	second.Number, second.At, second.Contributor = 2, noon, "reed-otter"
	second.BoreMM, second.Label = 11.7, "Alder (repaired)"
	third := second
	third.Number, third.Tags = 3, nil
	f.apply(catalog.Changes{Horns: []catalog.Horn{third, second}}) // in any order
	equal(t, "history", must(f.store.HornHistory(f.ctx, first.ID))(t), []catalog.Horn{first, second, third})
	equal(t, "current", must(f.store.Horn(f.ctx, "Alder (repaired)"))(t), third)
	_, err := f.store.Horn(f.ctx, "Alder")
	wantError(t, err, catalog.NotFound)

	// A label that was used for a while in a history taken over is free.
	f.apply(catalog.Changes{Horns: []catalog.Horn{
		{ID: "01HZZZZZZZZZZZZZZZZZZZZZZZ", Revision: catalog.Revision{Number: 1}, Label: "Willow"},
		{ID: "01HZZZZZZZZZZZZZZZZZZZZZZZ", Revision: catalog.Revision{Number: 2}, Label: "Hazel"},
		{ID: "01HZZZZZZZZZZZZZZZZZZZZZZZ", Revision: catalog.Revision{Number: 3}, Label: "Aspen"},
		{Label: "Hazel"}, {Label: "Willow"},
	}})
	equal(t, "aspen", must(f.store.Horn(f.ctx, "Aspen"))(t).Number, 3)

	m := must(f.store.Mouthpiece(f.ctx, "Plover 16.2"))(t)
	m.Number, m.ThroatMM = 2, 3.8
	p := must(f.store.Player(f.ctx, "blue-kite"))(t)
	p.Number, p.Level = 2, "first year"
	f.apply(catalog.Changes{Mouthpieces: []catalog.Mouthpiece{m}, Players: []catalog.Player{p}})
	equal(t, "mouthpiece throats", throats(must(f.store.MouthpieceHistory(f.ctx, m.ID))(t)), []float64{3.66, 3.8})
	players := must(f.store.PlayerHistory(f.ctx, p.ID))(t)
	if len(players) != 2 || players[0].Level != "" || players[1].Level != "first year" {
		t.Errorf("player history %+v", players)
	}
	f.sound()
}

func throats(ms []catalog.Mouthpiece) (out []float64) {
	for _, m := range ms {
		out = append(out, m.ThroatMM)
	}
	return out
}

func gearRetired(t *testing.T, f *fixture) {
	f.gear()
	h := must(f.store.Horn(f.ctx, "Rowan"))(t)
	h.Number, h.Retired = 2, true
	f.apply(catalog.Changes{Horns: []catalog.Horn{h}})
	equal(t, "offered", len(must(f.store.Horns(f.ctx, false))(t)), 1)
	equal(t, "all", len(must(f.store.Horns(f.ctx, true))(t)), 2)
	equal(t, "found", must(f.store.Horn(f.ctx, "rowan"))(t).Retired, true)
	info := must(f.store.Info(f.ctx))(t)
	equal(t, "counts", []int{info.Horns, info.Mouthpieces, info.Players, info.Retired}, []int{1, 2, 2, 1})
	// Its label stays taken, and it can be offered again.
	f.refuse(catalog.Conflict, catalog.Changes{Horns: []catalog.Horn{{Label: "Rowan"}}}, `"Rowan"`)
	h.Number, h.Retired = 3, false
	f.apply(catalog.Changes{Horns: []catalog.Horn{h}})
	equal(t, "offered again", len(must(f.store.Horns(f.ctx, false))(t)), 2)
}

func title(t *testing.T, f *fixture) {
	if err := f.store.SetTitle(f.ctx, "  Lantern Bay (invented) "); err != nil {
		t.Fatal(err)
	}
	equal(t, "title", must(f.store.Info(f.ctx))(t).Title, "Lantern Bay (invented)")
	wantError(t, f.store.SetTitle(f.ctx, "bell \a"), catalog.Invalid, "title", "U+0007")
	equal(t, "title", must(f.store.Info(f.ctx))(t).Title, "Lantern Bay (invented)")
}

func cancelled(t *testing.T, f *fixture) {
	f.gear()
	f.record(f.session("one", 1, 2))
	ctx, cancel := context.WithCancel(f.ctx)
	cancel()
	check := func(what string, err error) {
		t.Helper()
		var domain *catalog.Error
		if !errors.Is(err, context.Canceled) || errors.As(err, &domain) {
			t.Errorf("%s: error %v is not that of the context", what, err)
		}
	}
	check("apply", f.store.Apply(ctx, catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}}}))
	_, err := f.store.Horns(ctx, false)
	check("horns", err)
	_, err = f.store.Horn(ctx, "Alder")
	check("horn", err)
	_, err = f.store.Sessions(ctx, catalog.SessionFilter{})
	check("sessions", err)
	_, err = f.store.Info(ctx)
	check("info", err)
	_, err = f.store.Integrity(ctx)
	check("integrity", err)
	n := 0
	for _, err := range f.store.Measurements(ctx, 0) {
		check("measurements", err)
		n++
	}
	equal(t, "yields of a cancelled stream", n, 1)
	equal(t, "horns", len(must(f.store.Horns(f.ctx, false))(t)), 2)
}
