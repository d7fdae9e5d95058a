package catalog

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestWriteCell(t *testing.T) {
	for text, want := range map[string]string{
		"": "", "Alder": "Alder", "=1+1": "'=1+1", "-3": "'-3", "+a": "'+a", "@x": "'@x", "'x": "''x", "'=x": "''=x", "'": "''", "a=1": "a=1",
		"\x1b[31m=1\u202e": "[31m=1", "\x07=1": "'=1", "a\nb\tc": "a\nb\tc", "\xff": "\ufffd", "\u200fא": "\u200fא",
	} {
		if got := WriteCell(text); got != want {
			t.Errorf("WriteCell(%q) = %q, want %q", text, got, want)
		}
	}
}

func TestCellsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := strings.TrimSpace(rapid.StringMatching(`[=+\-@'a ,;\\]{0,4}[^ \t]|`).Filter(func(s string) bool { return visible(s) == s }).Draw(t, "text"))
		if ReadCell(WriteCell(text)) != text {
			t.Fatalf("%q is written %q, read as %q", text, WriteCell(text), ReadCell(WriteCell(text)))
		}
		list := normalList(rapid.SliceOf(rapid.StringMatching(`[a-z,;\\ ]{0,5}`)).Draw(t, "list"))
		if got := normalList(ReadList(WriteList(list))); !slices.Equal(got, list) {
			t.Fatalf("%q is written %q, read as %q", list, WriteList(list), got)
		}
	})
}
