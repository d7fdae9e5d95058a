package cli

import (
	"context"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
)

// otherBackup is a store whose backups are of another catalog.
type otherBackup struct {
	catalog.Store
	of   catalog.Store
	then func()
}

func (s otherBackup) Backup(ctx context.Context, path string) error {
	if s.then != nil {
		s.then()
	}
	return s.of.Backup(ctx, path)
}

// A backup that lacks something is found out; one that differs because somebody
// changed the catalog meanwhile is no fault of it.
func TestRestoreTestComparesEverything(t *testing.T) {
	ctx := context.Background()
	open := func(title string) catalog.Store {
		s, err := sqlstore.Open(ctx, t.TempDir()+"/catalog.db", sqlstore.Options{Create: true})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { s.Close() })
		if err := s.SetTitle(ctx, title); err != nil {
			t.Fatal(err)
		}
		return s
	}
	add := func(s catalog.Store, label string) {
		if err := s.Apply(ctx, catalog.Changes{Players: []catalog.Player{{Label: label}}}); err != nil {
			t.Fatal(err)
		}
	}
	full, less := open("band"), open("band")
	add(full, "reed-otter")
	busy := open("band")
	n := 0
	for _, tc := range []struct {
		name  string
		store catalog.Store
		want  string
	}{
		{"whole", full, ""},
		{"a record less", otherBackup{Store: full, of: less}, "does not hold what the catalog holds"},
		{"changed each time", otherBackup{Store: busy, of: full, then: func() { n++; add(busy, strings.Repeat("x", n)) }}, "changed during each"},
	} {
		s, _, _ := Test("")
		err := restoreTest(ctx, NewFactory(s), tc.store)
		if tc.want == "" && err != nil || tc.want != "" && (err == nil || !strings.Contains(err.Error(), tc.want)) {
			t.Errorf("%s: %v, want %q", tc.name, err, tc.want)
		}
	}
}
