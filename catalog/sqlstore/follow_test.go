package sqlstore_test

import (
	"path/filepath"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
)

// A catalog from before there was an order of changes gets one with all its
// records.
func TestOrderOfChangesOfAnOlderCatalog(t *testing.T) {
	path := small(t)
	s := openFile(t, path, sqlstore.Options{})
	other := catalog.OtherRecord{Kind: "hall", Body: `{"name":"harbour"}`}
	_, err := s.Merge(ctx, func(yield func(catalog.Pooled, error) bool) { yield(catalog.Pooled{Other: &other}, nil) })
	if err != nil {
		t.Fatal(err)
	}
	want, err := s.ChangedRecords(ctx, catalog.Position{}, 1000)
	if err != nil {
		t.Fatal(err)
	}
	_, down, _ := strings.Cut(readMigration(t, "00009_changes.sql"), "-- +goose Down")
	execSQL(t, s.DB(), down)
	execSQL(t, s.DB(), `DELETE FROM goose_db_version WHERE version_id = 9`)
	s.Close()

	s = openFile(t, path, sqlstore.Options{})
	got, err := s.ChangedRecords(ctx, catalog.Position{}, 1000)
	if err != nil || len(got) != len(want) || len(got) < 40 {
		t.Fatalf("%d records in order, %d before, error %v", len(got), len(want), err)
	}
	if end, err := s.End(ctx); err != nil || end.Number != 1 {
		t.Errorf("the end is %v, error %v", end, err)
	}
	if findings, err := s.Integrity(ctx); err != nil || len(findings) > 0 {
		t.Errorf("findings %v, error %v", findings, err)
	}
	execSQL(t, s.DB(), `DELETE FROM pool_change WHERE rank = 2`)
	findings, err := s.Integrity(ctx)
	if err != nil || len(findings) == 0 || findings[0].Kind != "unlogged" || !strings.HasPrefix(findings[0].Subject, "horn ") {
		t.Errorf("findings %v, error %v", findings, err)
	}
}

// A catalog that went back to a backup knows the positions from before, and none
// from after, although it gives the same numbers out again.
func TestPositionsAfterGoingBackToABackup(t *testing.T) {
	s := openFile(t, small(t), sqlstore.Options{})
	before, err := s.End(ctx)
	if err != nil {
		t.Fatal(err)
	}
	backup := filepath.Join(t.TempDir(), "backup.db")
	if err := s.Backup(ctx, backup); err != nil {
		t.Fatal(err)
	}
	change := func(s *sqlstore.Store) catalog.Position {
		h := catalog.Horn{ID: catalog.NewID(), Label: "Hazel", Key: "Bb", Instrument: catalog.Trumpet}
		if err := s.Apply(ctx, catalog.Changes{Horns: []catalog.Horn{h}}); err != nil {
			t.Fatal(err)
		}
		end, err := s.End(ctx)
		if err != nil {
			t.Fatal(err)
		}
		return end
	}
	lost := change(s)
	back := openFile(t, backup, sqlstore.Options{})
	has := func(p catalog.Position, want bool) {
		t.Helper()
		if got, err := back.HasPosition(ctx, p); err != nil || got != want {
			t.Errorf("position %v is known: %v, error %v", p, got, err)
		}
	}
	has(before, true)
	has(lost, false)
	again := change(back)
	if again.Number != lost.Number {
		t.Errorf("numbers %d and %d", again.Number, lost.Number)
	}
	has(again, true)
	has(lost, false)
}
