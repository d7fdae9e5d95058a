package cli

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/catalog/sqlstore"
)

var oneHorn = catalog.Changes{Horns: []catalog.Horn{{Label: "Alder", Key: pitch.KeyBb}}}

func TestBegin(t *testing.T) {
	s, _, _ := Test("")
	f := NewFactory(s)
	folder := t.TempDir()
	f.catalogFlag = filepath.Join(folder, "band", "catalog.db")
	if err := f.Begin(context.Background(), oneHorn); err != nil {
		t.Fatal(err)
	}
	store, err := f.Existing(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	if _, err := store.Horn(context.Background(), "Alder"); err != nil {
		t.Error(err)
	}
	// Somebody else was quicker: theirs stays.
	other := catalog.Changes{Horns: []catalog.Horn{{Label: "Rowan", Key: pitch.KeyBb}}}
	err = f.Begin(context.Background(), other)
	if catalog.KindOf(err) != catalog.Conflict || !strings.Contains(err.Error(), "has just made the catalog") {
		t.Errorf("a second time: %v", err)
	}
	if _, err := store.Horn(context.Background(), "Rowan"); catalog.KindOf(err) != catalog.NotFound {
		t.Errorf("the second catalog replaced the first: %v", err)
	}
	onlyCatalog(t, filepath.Dir(f.catalogFlag))
}

// onlyCatalog fails the test if anything but the catalog was left in a folder.
func onlyCatalog(t *testing.T, folder string) {
	t.Helper()
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), "catalog.db") {
			t.Errorf("%s was left behind", e.Name())
		}
	}
}

// A store that can't take the content leaves nothing, and the error speaks of
// the catalog, not of where it was being made.
func TestBeginFails(t *testing.T) {
	s, _, _ := Test("")
	f := NewFactory(s)
	folder := t.TempDir()
	f.catalogFlag = filepath.Join(folder, "catalog.db")
	open := f.Open
	f.Open = func(ctx context.Context, path string, o sqlstore.Options) (catalog.Store, error) {
		store, err := open(ctx, path, o)
		return brokenStore{store, path}, err
	}
	err := f.Begin(context.Background(), oneHorn)
	if catalog.KindOf(err) != catalog.Unavailable || !strings.Contains(err.Error(), "saving in catalog "+f.catalogFlag+": full") {
		t.Errorf("got %v", err)
	}
	if entries, _ := os.ReadDir(folder); len(entries) > 0 {
		t.Errorf("%s was left behind", entries[0].Name())
	}
}

type brokenStore struct {
	catalog.Store
	path string
}

func (s brokenStore) Apply(context.Context, catalog.Changes) error {
	return &catalog.Error{Kind: catalog.Unavailable, What: "saving in catalog " + s.path, Err: errors.New("full"), Hint: "make room"}
}

// An addition that is not valid makes no folder either.
func TestAddMakesNothingOfNonsense(t *testing.T) {
	s, _, _ := Test("")
	folder := t.TempDir()
	path := filepath.Join(folder, "band", "catalog.db")
	code := Run(context.Background(), NewFactory(s), []string{"horn", "add", "Alder", "--key", "Bb", "--bore-mm", "300", "--catalog", path})
	if entries, _ := os.ReadDir(folder); code != exitFailed || len(entries) > 0 {
		t.Errorf("exit %d, %d files", code, len(entries))
	}
}
