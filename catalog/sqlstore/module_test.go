package sqlstore_test

import (
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
)

// The database driver is translated for one version of its C library and
// misbehaves with another, so ours must be the one it asks for.
func TestLibraryOfTheDriver(t *testing.T) {
	ours, err := os.ReadFile("../../go.mod")
	if err != nil {
		t.Fatal(err)
	}
	theirs, err := exec.Command("go", "list", "-m", "-f", "{{.GoMod}}", "modernc.org/sqlite").Output()
	if err != nil {
		t.Fatal(err)
	}
	asked, err := os.ReadFile(strings.TrimSpace(string(theirs)))
	if err != nil {
		t.Fatal(err)
	}
	line := regexp.MustCompile(`modernc\.org/libc (v\S+)`)
	have, want := line.FindSubmatch(ours), line.FindSubmatch(asked)
	if have == nil || want == nil || string(have[1]) != string(want[1]) {
		t.Errorf("go.mod has %s, the driver asks for %s", have, want)
	}
}
