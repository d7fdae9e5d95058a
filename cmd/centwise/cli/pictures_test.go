package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What can't be written is refused before the work.
func TestPictureFlagsCheck(t *testing.T) {
	dir := t.TempDir()
	there, fresh := filepath.Join(dir, "there.svg"), filepath.Join(dir, "fresh.svg")
	if err := os.WriteFile(there, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		flags pictureFlags
		want  string
	}{
		{pictureFlags{}, ""},
		{pictureFlags{svg: fresh}, ""},
		{pictureFlags{svg: there}, "exists already"},
		{pictureFlags{png: there}, "would not be what .svg says"},
		{pictureFlags{svg: there, force: true}, ""},
		{pictureFlags{force: true}, "--force needs"},
		{pictureFlags{svg: dir}, "is a folder"},
		{pictureFlags{svg: fresh, png: fresh}, "same file"},
		{pictureFlags{svg: filepath.Join(there, "inside.svg")}, "writing"},
	} {
		err := tc.flags.check()
		if (err == nil) != (tc.want == "") || err != nil && !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%+v: %v, want %q", tc.flags, err, tc.want)
		}
	}
	if text, err := os.ReadFile(there); err != nil || string(text) != "mine" {
		t.Errorf("the file there is now %q (%v)", text, err)
	}
}
