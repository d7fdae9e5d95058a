package server_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/cmd/centwise/scenario"
	"centwise/cmd/centwise/show/browsertest"
	"centwise/importers/sheet"
)

// orchestra imports the invented orchestra, with gear and people whose names are
// as long and as nasty as can be, and plenty of mouthpieces.
func orchestra(tb testing.TB, s catalog.Store) {
	tb.Helper()
	var gear, sessions bytes.Buffer
	invented := scenario.New(scenario.DefaultSeed)
	if err := invented.WriteGear(&gear); err != nil {
		tb.Fatal(err)
	}
	if err := invented.WriteSessions(&sessions); err != nil {
		tb.Fatal(err)
	}
	must(sheet.Import(ctx, s, []sheet.File{{Name: "gear.csv", Content: &gear}, {Name: "sessions.csv", Content: &sessions}}, sheet.Options{Create: true}))(tb)
	if err := s.SetTitle(ctx, scenario.Title); err != nil {
		tb.Fatal(err)
	}
	c := catalog.Changes{
		Horns:   []catalog.Horn{{ID: catalog.NewID(), Label: hostile, Maker: hostile, Model: hostile, Serial: hostile}},
		Players: []catalog.Player{{ID: catalog.NewID(), Label: "grey-heron"}},
	}
	for i := range 130 {
		c.Mouthpieces = append(c.Mouthpieces, catalog.Mouthpiece{ID: catalog.NewID(), Label: fmt.Sprintf("Sandpiper %d", i), Maker: "Northlamp", Model: "Sandpiper", RimMM: 16 + float64(i%9)/10})
	}
	c.Mouthpieces[0].Label, c.Mouthpieces[0].Model = hostile, hostile
	c.Sessions = []catalog.Session{{ID: catalog.NewID(), Name: "hostile", Horn: c.Horns[0].ID, Mouthpiece: c.Mouthpieces[0].ID, Player: c.Players[0].ID, Contributor: hostile}}
	for k, slot := range pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3) {
		c.Sessions[0].Readings = append(c.Sessions[0].Readings, catalog.Reading{Slot: slot, Cents: float64(k%9) - 4})
	}
	if err := s.Apply(ctx, c); err != nil {
		tb.Fatal(err)
	}
}

// hostile is as long as a label may be, and would do harm if anything did.
var hostile = `<script>x</script>"'&` + strings.Repeat("W", 40) + ` =cmd ` + strings.Repeat("m", 33)

// fitted waits until pages show what was measured.
func (r running) fitted() {
	r.Helper()
	for deadline := time.Now().Add(2 * time.Minute); !strings.Contains(r.Journal.String(), `"msg":"fitted"`); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			r.Fatalf("no fit: %s", r.Journal)
		}
	}
}

// Every page of a server, in a browser, on a phone and a large screen.
func TestPagesInABrowser(t *testing.T) {
	b := browsertest.Start(t)
	r := start(t, newStore(t), nil)
	orchestra(t, r.Store)
	secret := r.Token("harbour-shop", catalog.ScopeRead, nil)
	r.fitted()
	id := func(h catalog.Horn, err error) string { return string(must(h, err)(t).ID) }
	piece := func(m catalog.Mouthpiece, err error) string { return string(must(m, err)(t).ID) }
	for name, path := range map[string]string{
		"home": "/", "mouthpieces": "/mouthpieces?page=2", "designs": "/designs", "setups": "/setups", "contributors": "/contributors",
		"mouthpiece": "/mouthpieces/" + piece(r.Store.Mouthpiece(ctx, "Plover 16.2")),
		"rank": "/horns/" + id(r.Store.Horn(ctx, "Alder")) + "/rank?page=2", "rank-horns": "/mouthpieces/" + piece(r.Store.Mouthpiece(ctx, "Plover 16.2")) + "/rank",
		"hostile": "/horns/" + id(r.Store.Horn(ctx, hostile)), "hostile-rank": "/horns/" + id(r.Store.Horn(ctx, hostile)) + "/rank",
		"problems": "/problems",
	} {
		b.Visit(t, "pool-"+name, r.URL+path, secret.Reveal())
	}
}
