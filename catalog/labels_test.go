package catalog_test

import (
	"fmt"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/oklog/ulid/v2"
	"pgregory.net/rapid"

	"centwise/catalog"
)

func TestNewID(t *testing.T) {
	const goroutines, each = 8, 5000
	all := make([][]catalog.ID, goroutines)
	var wg sync.WaitGroup
	for g := range all {
		wg.Go(func() {
			for range each {
				all[g] = append(all[g], catalog.NewID())
			}
		})
	}
	wg.Wait()
	seen := map[catalog.ID]bool{}
	for _, ids := range all {
		if !slices.IsSorted(ids) {
			t.Error("the ids of one goroutine do not rise")
		}
		for _, id := range ids {
			if seen[id] || !id.Valid() {
				t.Fatalf("id %s twice or not valid", id)
			}
			seen[id] = true
		}
	}
	id, err := ulid.ParseStrict(string(catalog.NewID()))
	if err != nil || time.Since(ulid.Time(id.Time())).Abs() > time.Minute {
		t.Errorf("id %s of %v, error %v", id, ulid.Time(id.Time()), err)
	}
	for _, bad := range []catalog.ID{"", "x", "01ARZ3NDEKTSV4RRFFQ69G5FA", "01ARZ3NDEKTSV4RRFFQ69G5FAU", "81ARZ3NDEKTSV4RRFFQ69G5FAV", "01arz3ndektsv4rrffq69g5fav"} {
		if bad.Valid() {
			t.Errorf("%q is valid", bad)
		}
	}
	// The example of https://github.com/ulid/spec.
	if !catalog.ID("01ARZ3NDEKTSV4RRFFQ69G5FAV").Valid() {
		t.Error("the example of the specification is not valid")
	}
}

func TestNear(t *testing.T) {
	have := []string{"Alder", "Adler", "Alder 2", "Rowan", "Hazel", "Plover 16.2", "Plover 16.6", "Dunlin 16.6", "Éider"}
	for _, tc := range []struct {
		want string
		n    int
		near []string
	}{
		{"alder", 3, []string{"Alder", "Adler", "Alder 2"}},
		{"ALDRE", 1, []string{"Alder"}},
		{"rowen", 3, []string{"Rowan"}},
		{"plover 16.3", 2, []string{"Plover 16.2", "Plover 16.6"}},
		{"plover", 5, []string{"Plover 16.2", "Plover 16.6"}},
		{"eider", 1, []string{"Éider"}},
		{"16.6", 5, []string{"Dunlin 16.6", "Plover 16.6"}},
		{"xylophone", 3, nil},
		{"", 3, nil},
		{"alder", 0, nil},
	} {
		if got := catalog.Near(tc.want, have, tc.n); !slices.Equal(got, tc.near) {
			t.Errorf("near %q: %q, want %q", tc.want, got, tc.near)
		}
	}
	if got := catalog.Near("x", []string{"y"}, 3); len(got) != 0 {
		t.Errorf("one letter is near another: %q", got)
	}
}

func TestMissing(t *testing.T) {
	err := catalog.Missing("horn", "Aldr", []string{"Alder", "Rowan"})
	if err.Kind != catalog.NotFound || err.Error() != `no horn "Aldr" in the catalog; did you mean "Alder"?` {
		t.Error(err)
	}
	err = catalog.Missing("horn", "Aldr", nil)
	if !strings.Contains(err.Error(), "centwise horn list") {
		t.Error(err)
	}
}

// What a shell makes of the quoted word is the word, with a space before a hyphen.
func TestShellWord(t *testing.T) {
	sh, err := exec.LookPath("sh")
	if err != nil {
		t.Fatal("no POSIX shell to test quoting against: ", err)
	}
	words := rapid.StringOfN(rapid.RuneFrom([]rune(" '\"$`\\*?~#!&;|<>(){}[]aB9-_./%\t山é")), 0, 12, -1)
	rapid.Check(t, func(t *rapid.T) {
		var want, line strings.Builder
		for range 20 {
			w := words.Draw(t, "word")
			fmt.Fprintf(&line, "show %s\n", catalog.ShellWord(w))
			if strings.HasPrefix(w, "-") {
				w = " " + w
			}
			fmt.Fprintf(&want, "<%s>\n", w)
		}
		script := `show() { printf '<%s>\n' "$1"; }` + "\n" + line.String()
		out, err := exec.Command(sh, "-c", script).CombinedOutput()
		if err != nil || string(out) != want.String() {
			t.Fatalf("got %q\nwant %q\nerror %v", out, want.String(), err)
		}
	})
	if got := catalog.ShellWord("Alder"); got != "Alder" {
		t.Error(got)
	}
	if got := catalog.ShellPath("-march 2.csv"); got != "'./-march 2.csv'" {
		t.Error(got)
	}
	if got := catalog.ShellPath("-march 2.csv"); got != "'./-march 2.csv'" {
		t.Error(got)
	}
}
