package storetest

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"centwise/catalog"
)

var fitTests = []contract{
	{"a stored fit comes back", fitRoundTrip},
	{"a stored fit is replaced whole", fitReplaced},
	{"a stored fit is amended in part", fitAmended},
	{"only the fit that one knows is amended", fitAmendedMeanwhile},
	{"a fit that is not there", fitMissing},
	{"a backup never replaces a file", backupRefused},
}

// loadFit gives sections of the stored fit as one that keeps them would.
func (f *fixture) loadFit(sections ...string) (catalog.StoredFit, error) {
	var stored catalog.StoredFit
	kept := map[string][]byte{}
	err := f.store.LoadFit(f.ctx, func(of catalog.StoredFit, name string, body []byte) error {
		stored, kept[name] = of, append([]byte{}, body...)
		return nil
	}, sections...)
	stored.Sections = kept
	return stored, err
}

func fitRoundTrip(t *testing.T, f *fixture) {
	f.gear()
	before := f.digest()
	large := bytes.Repeat([]byte("cents"), 600_000)
	fit := catalog.StoredFit{Digest: before, Version: 3, At: noon, Sections: map[string][]byte{
		"items": {0, 1, 2, 255}, "empty": {}, "a 'b' %": []byte("x"), "large": large,
	}}
	if err := f.store.SaveFit(f.ctx, fit); err != nil {
		t.Fatal(err)
	}
	equal(t, "whole fit", must(f.loadFit())(t), fit)
	part := must(f.loadFit("items", "empty"))(t)
	equal(t, "sections", part, catalog.StoredFit{Digest: before, Version: 3, At: noon, Sections: map[string][]byte{"items": {0, 1, 2, 255}, "empty": {}}})
	enough := errors.New("enough of it")
	if err := f.store.LoadFit(f.ctx, func(catalog.StoredFit, string, []byte) error { return enough }); !errors.Is(err, enough) {
		t.Errorf("a reader that has enough gets %v", err)
	}
	info := must(f.store.Info(f.ctx))(t)
	equal(t, "info", []any{info.FitDigest, info.FitAt, info.Digest}, []any{before, noon, before})
	f.sound()
}

func fitReplaced(t *testing.T, f *fixture) {
	for _, name := range []string{"old", "new"} {
		fit := catalog.StoredFit{Digest: name, Sections: map[string][]byte{name: []byte(name), "both": []byte(name)}}
		if err := f.store.SaveFit(f.ctx, fit); err != nil {
			t.Fatal(err)
		}
	}
	got := must(f.loadFit())(t)
	equal(t, "sections", got.Sections, map[string][]byte{"new": []byte("new"), "both": []byte("new")})
	wantError(t, f.store.SaveFit(f.ctx, catalog.StoredFit{Digest: "x", Sections: map[string][]byte{"": {1}}}), catalog.Invalid, "name")
	equal(t, "digest", must(f.loadFit())(t).Digest, "new")
}

func fitAmended(t *testing.T, f *fixture) {
	old := catalog.StoredFit{Digest: "old", Version: 1, At: noon, Sections: map[string][]byte{"kept": []byte("as it was"), "changed": []byte("old")}}
	if err := f.store.SaveFit(f.ctx, old); err != nil {
		t.Fatal(err)
	}
	later := noon.Add(time.Hour)
	amended := catalog.StoredFit{Digest: "new", Version: 2, At: later, Sections: map[string][]byte{"changed": []byte("new"), "added": {}}}
	if err := f.store.AmendFit(f.ctx, amended, "old"); err != nil {
		t.Fatal(err)
	}
	equal(t, "amended fit", must(f.loadFit())(t), catalog.StoredFit{Digest: "new", Version: 2, At: later,
		Sections: map[string][]byte{"kept": []byte("as it was"), "changed": []byte("new"), "added": {}}})
	f.sound()
}

func fitAmendedMeanwhile(t *testing.T, f *fixture) {
	change := catalog.StoredFit{Digest: "newer", Version: 2, At: noon, Sections: map[string][]byte{"a": []byte("newer")}}
	wantError(t, f.store.AmendFit(f.ctx, change, ""), catalog.NotFound, "no fit", "centwise fit")
	stored := catalog.StoredFit{Digest: "another", Version: 1, At: noon, Sections: map[string][]byte{"a": []byte("as it was")}}
	if err := f.store.SaveFit(f.ctx, stored); err != nil {
		t.Fatal(err)
	}
	wantError(t, f.store.AmendFit(f.ctx, change, "old"), catalog.Conflict, "meanwhile")
	change.Sections[""] = []byte{1}
	wantError(t, f.store.AmendFit(f.ctx, change, "another"), catalog.Invalid, "name")
	equal(t, "the fit", must(f.loadFit())(t), stored)
}

func fitMissing(t *testing.T, f *fixture) {
	_, err := f.loadFit()
	wantError(t, err, catalog.NotFound, "no fit", "centwise fit")
	if err := f.store.SaveFit(f.ctx, catalog.StoredFit{Digest: "x"}); err != nil {
		t.Fatal(err)
	}
	equal(t, "sections", len(must(f.loadFit())(t).Sections), 0)
	_, err = f.loadFit("items")
	wantError(t, err, catalog.NotFound, `"items"`, "centwise fit")
}

func backupRefused(t *testing.T, f *fixture) {
	f.gear()
	dir := t.TempDir()
	path := filepath.Join(dir, "copy 100% #1?.db")
	if err := f.store.Backup(f.ctx, path); err != nil {
		t.Fatal(err)
	}
	before, err := os.ReadFile(path)
	if err != nil || len(before) == 0 {
		t.Fatalf("backup of %d bytes, error %v", len(before), err)
	}
	wantError(t, f.store.Backup(f.ctx, path), catalog.Conflict, path)
	after, err := os.ReadFile(path)
	if err != nil || !bytes.Equal(before, after) {
		t.Errorf("the existing file was touched (error %v)", err)
	}
	wantError(t, f.store.Backup(f.ctx, dir), catalog.Conflict, dir)
	wantError(t, f.store.Backup(f.ctx, filepath.Join(dir, "no such folder", "copy.db")), catalog.Unavailable, "folder")
	wantError(t, f.store.Backup(f.ctx, ""), catalog.Invalid)
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 1 {
		t.Errorf("files left over: %v (error %v)", left, err)
	}
}
