package catalog_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog"
)

func TestPositionsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := catalog.Position{
			Number: rapid.Int64Min(1).Draw(t, "number"), Tag: rapid.StringMatching(`[0-9a-f]{1,16}`).Draw(t, "tag"),
			Rank: rapid.IntRange(0, 99).Draw(t, "rank"), ID: rapid.StringN(0, 40, -1).Draw(t, "id"),
		}
		back, err := catalog.ParsePosition(p.String())
		if err != nil || back != p {
			t.Fatalf("%v became %v, error %v", p, back, err)
		}
		if strings.ContainsFunc(p.String(), func(r rune) bool { return r <= ' ' || r > '~' }) {
			t.Fatalf("%q does not fit into a header", p)
		}
	})
}

func FuzzParsePosition(f *testing.F) {
	for _, seed := range []string{"", "0", "1.ab.2.01K", "12.00ff.99.", "1.ab.2", "-1.ab.2.x", "1.AB.2.x", "1.ab.2.%zz", "1..2.x", "01.ab.2.x", "1.ab.+2.x"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		p, err := catalog.ParsePosition(text)
		if err != nil {
			if catalog.KindOf(err) != catalog.Invalid {
				t.Errorf("error %v", err)
			}
			return
		}
		if text != "" && p.String() != text {
			t.Errorf("%q was read as %q", text, p)
		}
	})
}
