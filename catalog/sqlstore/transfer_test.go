package sqlstore_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/catalog/sqlstore"
	"centwise/catalog/sqlstore/pgtest"
)

// full is a catalog with something in every table that commands can fill.
func full(t *testing.T, s *sqlstore.Store) {
	t.Helper()
	c := invented(30)
	c.Horns = append(c.Horns, catalog.Horn{ID: catalog.NewID(), Label: "Rowan ; \" 'é山"}, catalog.Horn{ID: catalog.NewID(), Label: "Rowan again"})
	c.Sessions[2].Readings[0] = catalog.Reading{Slot: pitch.Slot{Partial: 12}, Repeat: 3, Cents: -333.125, Odd: true}
	c.Sessions[3].TemperatureC, c.Sessions[3].At = new(float64), time.Date(1969, 12, 31, 23, 59, 59, 1e6, time.UTC)
	c.Sessions[4].Remark = "first line\nsecond\tline \\ \\N"
	apply(t, s, c)
	list, err := s.Sessions(ctx, catalog.SessionFilter{})
	if err != nil {
		t.Fatal(err)
	}
	corrected := invented(1).Sessions[0]
	corrected.ID, corrected.Name, corrected.Horn, corrected.Mouthpiece, corrected.Player = catalog.NewID(), list[5].Name, list[5].Horn, list[5].Mouthpiece, list[5].Player
	h, err := s.Horn(ctx, "Alder")
	if err != nil {
		t.Fatal(err)
	}
	h.Number, h.BoreMM = 2, 11.7
	apply(t, s, catalog.Changes{Horns: []catalog.Horn{h}, Sessions: []catalog.Session{corrected},
		Retractions: []catalog.RetractionOf{{Session: list[5].ID, Retraction: catalog.Retraction{Reason: "slip", ReplacedBy: corrected.ID}}},
		Loans:       []catalog.Loan{{Horn: h.ID, Player: c.Players[0].ID}}})
	apply(t, s, catalog.Changes{Links: []catalog.Link{{Kind: catalog.LinkHorn, Alias: string(c.Horns[2].ID), Kept: string(c.Horns[1].ID)}}})
	slot := pitch.Slot{Partial: 2}
	d := catalog.Draft{ID: catalog.NewID(), Rounds: [][]pitch.Slot{{slot}}, Session: catalog.Session{Name: "Monday", Horn: h.ID, Mouthpiece: c.Mouthpieces[0].ID, Player: c.Players[0].ID}}
	if err := s.OpenDraft(ctx, d); err != nil {
		t.Fatal(err)
	}
	if err := s.AddDraftLine(ctx, d.ID, 1, catalog.DraftLine{Kind: catalog.LineRead, Slot: slot, Cents: []float64{-3}}); err != nil {
		t.Fatal(err)
	}
	if err := s.SaveFit(ctx, catalog.StoredFit{Digest: "d", Version: 2, At: time.Now(), Sections: map[string][]byte{"items": {0, 1, 255}, "none": {}}}); err != nil {
		t.Fatal(err)
	}
	if err := s.SetTitle(ctx, "Lantern Bay (invented)"); err != nil {
		t.Fatal(err)
	}
	other := catalog.OtherRecord{Kind: "oil", Body: `{"id":7,"text":"` + strings.Repeat("x", 10_000) + `"}`}
	_, err = s.Merge(ctx, func(yield func(catalog.Pooled, error) bool) { yield(catalog.Pooled{Other: &other}, nil) })
	if err != nil {
		t.Fatal(err)
	}
}

// rowsOf writes down every row of a catalog, table by table, sorted.
func rowsOf(t *testing.T, s *sqlstore.Store) map[string][]string {
	t.Helper()
	tables, err := s.Columns(ctx)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]string{}
	for name, columns := range tables {
		rows, err := s.DB().Query("SELECT " + strings.Join(columns, ", ") + " FROM " + name)
		if err != nil {
			t.Fatal(err)
		}
		for rows.Next() {
			values := make([]any, len(columns))
			places := make([]any, len(columns))
			for i := range values {
				places[i] = &values[i]
			}
			if err := rows.Scan(places...); err != nil {
				t.Fatal(err)
			}
			out[name] = append(out[name], fmt.Sprintf("%T %[1]q", values))
		}
		if err := rows.Err(); err != nil {
			t.Fatal(err)
		}
		slices.Sort(out[name])
	}
	return out
}

// A catalog goes from a file to a server, from there to another server, and back
// to a file: everything is there, and each copy is a catalog that can be used.
func TestThereAndBackAgain(t *testing.T) {
	server := pgtest.Start(t)
	file := newStore(t)
	full(t, file)
	want := rowsOf(t, file)
	for name, rows := range want {
		if len(rows) == 0 && name != "visit" && name != "visit_line" && name != "visit_candidate" && name != "pool_token" && name != "pool_remote" {
			t.Errorf("nothing in table %s to try with", name)
		}
	}
	first, second, back := server.Catalog(t), server.Catalog(t), filepath.Join(t.TempDir(), "back.db")
	for _, step := range []struct{ from, to string }{{file.Path(), first}, {first, second}, {second, back}} {
		if err := openAt(t, step.from, sqlstore.Options{}).Backup(ctx, step.to); err != nil {
			t.Fatalf("from %s to %s: %v", step.from, step.to, err)
		}
		s := openAt(t, step.to, sqlstore.Options{})
		for name, rows := range rowsOf(t, s) {
			if !slices.Equal(rows, want[name]) {
				t.Errorf("%s: table %s\n got %.300q\nwant %.300q", step.to, name, rows, want[name])
			}
		}
		if list, err := s.Integrity(ctx); err != nil || len(list) > 0 {
			t.Errorf("%s: findings %v, error %v", step.to, list, err)
		}
		// One who copies does not take somebody else's place.
		wantKind(t, file.Backup(ctx, step.to), catalog.Conflict, "already")
	}
	apply(t, openAt(t, first, sqlstore.Options{}), catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}}})
	apply(t, openAt(t, back, sqlstore.Options{}), catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}}})
	if info, err := os.Stat(back); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, error %v", info.Mode(), err)
	}
}

// A copy that can't be finished leaves nothing, neither in a folder nor on a server.
func TestCopyThatFails(t *testing.T) {
	server := pgtest.Start(t)
	s := openAt(t, server.Catalog(t), sqlstore.Options{Create: true})
	apply(t, s, invented(400))
	dir := t.TempDir()
	to := server.Catalog(t)
	for _, after := range []time.Duration{time.Millisecond, 20 * time.Millisecond} {
		for _, path := range []string{filepath.Join(dir, "copy.db"), to} {
			short, cancel := context.WithTimeout(ctx, after)
			err := s.Backup(short, path)
			cancel()
			if err == nil {
				t.Logf("%s was enough", after)
				continue
			}
			if catalog.KindOf(err) != catalog.Internal || short.Err() == nil {
				t.Errorf("after %s: error %v", after, err)
			}
		}
	}
	// A table too many on the way would be lost silently.
	if _, err := s.DB().Exec(`CREATE TABLE ledger (x INT)`); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{filepath.Join(dir, "other.db"), server.Catalog(t)} {
		wantKind(t, s.Backup(ctx, path), catalog.Unavailable, "tables")
		_, err := sqlstore.Open(ctx, path, sqlstore.Options{})
		wantKind(t, err, catalog.NotFound)
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) > 1 {
		t.Errorf("left: %v, error %v", left, err)
	}
	wantKind(t, s.Backup(ctx, filepath.Join(dir, "nowhere", "copy.db")), catalog.Unavailable, "nowhere")
}

// A copy of a server is one moment, though others write meanwhile.
func TestCopyWhileOthersWrite(t *testing.T) {
	address := pgtest.Start(t).Catalog(t)
	s := openAt(t, address, sqlstore.Options{Create: true})
	c := invented(300)
	apply(t, s, c)
	stop, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		other := openAt(t, address, sqlstore.Options{})
		for i := 0; ; i++ {
			select {
			case <-stop:
				return
			default:
			}
			x := invented(1).Sessions[0]
			x.Name, x.Horn, x.Mouthpiece, x.Player = fmt.Sprintf("more %d", i), c.Horns[0].ID, c.Mouthpieces[0].ID, c.Players[0].ID
			if err := other.Apply(ctx, catalog.Changes{Sessions: []catalog.Session{x}}); err != nil {
				t.Error(err)
			}
		}
	}()
	for i := range 3 {
		path := filepath.Join(t.TempDir(), fmt.Sprintf("copy%d.db", i))
		if err := s.Backup(ctx, path); err != nil {
			t.Fatal(err)
		}
		if list := findings(t, path); len(list) > 0 {
			t.Errorf("findings %v", list)
		}
	}
	close(stop)
	<-stopped
}
