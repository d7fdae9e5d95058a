package cli

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"

	"centwise/catalog"
)

func TestWriteFile(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "out.csv")
	text := func(s string) func(io.Writer) error {
		return func(w io.Writer) error { _, err := io.WriteString(w, s); return err }
	}
	content := func() string {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	if err := writeFile(path, false, text("one")); err != nil || content() != "one" {
		t.Fatalf("%v, %q", err, content())
	}
	if err := writeFile(path, false, text("two")); catalog.KindOf(err) != catalog.Conflict || content() != "one" {
		t.Errorf("existing file: %v, %q", err, content())
	}
	broken := errors.New("broken")
	half := func(w io.Writer) error { io.WriteString(w, "half"); return broken }
	if err := writeFile(path, true, half); !errors.Is(err, broken) || content() != "one" {
		t.Errorf("broken half way: %v, %q", err, content())
	}
	if err := writeFile(path, true, text("three")); err != nil || content() != "three" {
		t.Errorf("replaced: %v, %q", err, content())
	}
	if err := writeFile(filepath.Join(dir, "none", "out.csv"), false, text("x")); catalog.KindOf(err) != catalog.Unavailable {
		t.Errorf("no such folder: %v", err)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, ".centwise-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

func TestEndingOfAnotherFormat(t *testing.T) {
	dir := t.TempDir()
	for _, tc := range []struct {
		path, try string
		refused   bool
	}{
		{"x.wav", "--output sound.wav", false},
		{"X.WAV", "--output sound.wav", false},
		{"x.mp3", "--output sound.wav", true},
		{"sessions.xlsx", "--output sessions.csv", true},
		{"page.PDF", "--output report.html", true},
		{"sessions.txt", "--output sessions.csv", false},
		{"Curlew 17.0", "--svg profile.svg", false},
		{"profile.png", "--svg profile.svg", true},
		{"key.csv", "--blind key.txt", false}, // plain text goes by any name
	} {
		if err := checkPlace(filepath.Join(dir, tc.path), false, tc.try); (codeOf(err) == exitUsage) != tc.refused {
			t.Errorf("%s for %s: %v", tc.path, tc.try, err)
		}
	}
}
