package sqlstore

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"testing"
)

// What is tried after each kind of failure to open, as mode, journal and
// whether the medium is taken to be unchanging.
func TestFallbacks(t *testing.T) {
	type way struct {
		mode, journal string
		immutable     bool
	}
	dir := t.TempDir()
	alone, beside := filepath.Join(dir, "alone.db"), filepath.Join(dir, "beside.db")
	for _, path := range []string{alone, beside, beside + "-wal"} {
		if err := os.WriteFile(path, []byte("x"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, tc := range []struct {
		name, path string
		start      way
		why        class
		want       []way
	}{
		{"no shared memory", alone, way{"rwc", "WAL", false}, inputOutput, []way{{"rwc", "DELETE", false}}},
		{"failing disk, other journal", alone, way{"rw", "DELETE", false}, inputOutput, nil},
		{"no right", alone, way{"rw", "WAL", false}, readOnly, []way{{"ro", "", false}, {"ro", "", true}}},
		{"no place beside", alone, way{"rw", "WAL", false}, cannotOpen, []way{{"rw", "DELETE", false}, {"ro", "", false}, {"ro", "", true}}},
		{"another writes", beside, way{"ro", "", false}, cannotOpen, []way{{"ro", "", false}}},
		{"locked", alone, way{"rw", "WAL", false}, busy, nil},
		{"no database", alone, way{"rw", "WAL", false}, notDatabase, nil},
		{"damaged", alone, way{"rw", "WAL", false}, damaged, nil},
	} {
		s := &Store{dialect: dialect{classify: func(error) class { return tc.why }}}
		var got []way
		for _, c := range s.fallbacks(connection{path: tc.path, mode: tc.start.mode, journal: tc.start.journal, immutable: tc.start.immutable}, errors.New("x")) {
			got = append(got, way{c.mode, c.journal, c.immutable})
		}
		if !reflect.DeepEqual(got, tc.want) {
			t.Errorf("%s: %v, want %v", tc.name, got, tc.want)
		}
	}
}
