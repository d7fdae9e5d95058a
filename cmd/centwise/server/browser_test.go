package server_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/catalog/sqlstore"
	"centwise/cmd/centwise/scenario"
	"centwise/cmd/centwise/show/browsertest"
	"centwise/importers/sheet"
	"centwise/match/fit"
)

// orchestra is a catalog with a fit: the invented orchestra, with gear and people
// whose names are as long and as nasty as can be, and plenty of mouthpieces.
func orchestra(tb testing.TB) *sqlstore.Store {
	tb.Helper()
	original := must(fitted())(tb)
	path := filepath.Join(tb.TempDir(), "catalog.db")
	if err := os.WriteFile(path, original, 0o600); err != nil {
		tb.Fatal(err)
	}
	s := must(sqlstore.Open(ctx, path, sqlstore.Options{}))(tb)
	tb.Cleanup(func() { s.Close() })
	return s
}

// fitted makes the orchestra's file once.
var fitted = sync.OnceValues(func() ([]byte, error) {
	folder, err := os.MkdirTemp("", "centwise-orchestra-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(folder)
	s, err := sqlstore.Open(ctx, filepath.Join(folder, "full.db"), sqlstore.Options{Create: true})
	if err != nil {
		return nil, err
	}
	defer s.Close()
	copied := filepath.Join(folder, "copy.db")
	if err := fill(s); err != nil {
		return nil, err
	}
	if _, err := fit.Current(ctx, s, fit.Options{}); err != nil {
		return nil, err
	}
	if err := s.Backup(ctx, copied); err != nil {
		return nil, err
	}
	return os.ReadFile(copied)
})

func fill(s catalog.Store) error {
	var gear, sessions bytes.Buffer
	invented := scenario.New(scenario.DefaultSeed)
	if err := errors.Join(invented.WriteGear(&gear), invented.WriteSessions(&sessions)); err != nil {
		return err
	}
	if _, err := sheet.Import(ctx, s, []sheet.File{{Name: "gear.csv", Content: &gear}, {Name: "sessions.csv", Content: &sessions}}, sheet.Options{Create: true}); err != nil {
		return err
	}
	if err := s.SetTitle(ctx, scenario.Title); err != nil {
		return err
	}
	c := catalog.Changes{
		Horns:   []catalog.Horn{{ID: catalog.NewID(), Label: hostile, Maker: hostile, Model: hostile, Serial: hostile}},
		Players: []catalog.Player{{ID: catalog.NewID(), Label: "grey-heron"}},
	}
	for i := range 60 {
		c.Mouthpieces = append(c.Mouthpieces, catalog.Mouthpiece{ID: catalog.NewID(), Label: fmt.Sprintf("Sandpiper %d", i), Maker: "Northlamp", Model: "Sandpiper", RimMM: 16 + float64(i%9)/10})
	}
	c.Mouthpieces[0].Label, c.Mouthpieces[0].Model = hostile, hostile
	c.Sessions = []catalog.Session{{ID: catalog.NewID(), Name: "hostile", Horn: c.Horns[0].ID, Mouthpiece: c.Mouthpieces[0].ID, Player: c.Players[0].ID, Contributor: hostile}}
	for k, slot := range pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3) {
		c.Sessions[0].Readings = append(c.Sessions[0].Readings, catalog.Reading{Slot: slot, Cents: float64(k%9) - 4})
	}
	return s.Apply(ctx, c)
}

// hostile is as long as a label may be, and would do harm if anything did.
var hostile = `<script>x</script>"'&` + strings.Repeat("W", 40) + ` =cmd ` + strings.Repeat("m", 33)

// ready waits until pages show what was measured.
func (r running) ready() {
	r.Helper()
	r.until("fit", func() bool { return strings.Contains(r.Journal.String(), `"msg":"fitted"`) })
}

// Every page of a server, in a browser, on a phone and a large screen.
func TestPagesInABrowser(t *testing.T) {
	b := browsertest.Start(t)
	r := start(t, orchestra(t), nil)
	secret := r.Token("harbour-shop", catalog.ScopeRead, nil)
	r.ready()
	id := func(h catalog.Horn, err error) string { return string(must(h, err)(t).ID) }
	piece := func(m catalog.Mouthpiece, err error) string { return string(must(m, err)(t).ID) }
	for name, path := range map[string]string{
		"home": "/", "mouthpieces": "/mouthpieces?page=2", "designs": "/designs", "setups": "/setups", "contributors": "/contributors",
		"mouthpiece": "/mouthpieces/" + piece(r.Store.Mouthpiece(ctx, "Plover 16.2")),
		"rank":       "/horns/" + id(r.Store.Horn(ctx, "Alder")) + "/rank?page=2", "rank-horns": "/mouthpieces/" + piece(r.Store.Mouthpiece(ctx, "Plover 16.2")) + "/rank",
		"hostile": "/horns/" + id(r.Store.Horn(ctx, hostile)), "hostile-rank": "/horns/" + id(r.Store.Horn(ctx, hostile)) + "/rank",
		"problems": "/problems",
	} {
		b.Visit(t, "pool-"+name, r.URL+path, secret.Reveal())
	}
}
