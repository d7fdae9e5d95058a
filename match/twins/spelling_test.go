package twins

import (
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

func TestSpellings(t *testing.T) {
	for _, tc := range []struct{ text, letters, marks string }{
		{"Heron Mk 2", "heron", "2"}, {"HERON mark II", "heron", "2"}, {"heron mk.ii", "heron", "2"}, {"Heron MkII", "heron", "2"}, {"2 Heron", "heron", "2"},
		{"Heron No. 2", "heron", "2"}, {"Heron #2", "heron", "2"}, {"Heron two", "heron", "2"}, {"Heron 02", "heron", "2"}, {"Heron, 2nd", "heron", "2"},
		{"Heron Mark V", "heron", "5"}, {"Heron V", "heron", "v"}, {"Heron Mark X", "heron", "10"},
		{"Plover 16,20", "plover", "16.2"}, {"Plover 16.2", "plover", "16.2"}, {"Plover16.2", "plover", "16.2"}, {"Plover ١٦", "plover", "16"}, {"Plover １６", "plover", "16"},
		{"3C", "", "3 c"}, {"3-c", "", "3 c"}, {"3 B", "", "3 b"},
		{"Körting & Sons, Ltd.", "kortingsons", ""}, {"KORTING Sons", "kortingsons", ""}, {"Łódka", "lodka", ""}, {"O’Haligan", "ohaligan", ""},
		{"Mike", "mike", ""}, {"Marker", "marker", ""}, {"", "", ""}, {" - ", "", ""}, {"1.2.3", "", "1.2.3"}, {"5.", "", "5"},
	} {
		if s := newSpelling(tc.text); s.letters != tc.letters || s.marks != tc.marks {
			t.Errorf("%q: letters %q, marks %q", tc.text, s.letters, s.marks)
		}
	}
}

func TestAlike(t *testing.T) {
	for _, tc := range []struct {
		a, b      string
		low, high float64
	}{
		{"Tidewright Heron", "tide-wright heron", 1, 1}, {"Tidewright Heron", "Heron, Tidewright", 1, 1}, {"Northlamp", "Northlmap", 0.85, 0.95},
		{"Tidewright Heron", "Tdie Wright Heron", 0.9, 0.99}, {"Tidewright Heron", "Tidewright Egret", 0, 0.7}, {"Heron", "Tern", 0, 0.3},
		{"Heron 3", "Heron 5", 0, 0}, {"Heron", "Heron 2", 0, 0}, {"Heron", "Hern", 0.79, 0.81}, {"Oystercatcher", "Oystercacther", 0.9, 0.95},
		{"Knot", "Know", 0.7, 0.8}, {"Tern", "", 0, 0}, {"", "", 1, 1},
	} {
		if got := alike(newSpelling(tc.a), newSpelling(tc.b)); got < tc.low || got > tc.high {
			t.Errorf("%q and %q are alike by %.3f, want %g to %g", tc.a, tc.b, got, tc.low, tc.high)
		}
	}
}

// A maker that is not stated may be the other's; a number alone could be anybody's.
func TestDesignsNamedLike(t *testing.T) {
	for _, tc := range []struct {
		a, b      design
		low, high float64
		known     bool
	}{
		{newDesign("Tidewright", "Heron"), newDesign("", "Heron"), noMaker, noMaker, true},
		{newDesign("Tidewright", "Heron"), newDesign("", "Tidewright Heron"), 1, 1, true},
		{newDesign("Tidewright", "Heron"), newDesign("Northlamp", "Heron"), 0, 0.5, true},
		{newDesign("Tidewright", "3C"), newDesign("", "3C"), 0, 0, true},
		{newDesign("Ó Haligan", "Tern"), newDesign("O'Haligan", "tern"), 1, 1, true},
		{newDesign("Tidewright", ""), newDesign("Tidewright", "Heron"), 0, 0, false},
	} {
		got, known := tc.a.namedLike(tc.b)
		if got < tc.low || got > tc.high || known != tc.known {
			t.Errorf("%+v and %+v: %.3f, known %t", tc.a, tc.b, got, known)
		}
	}
}

// The blocked search finds every pair that comparing all with all finds near.
func TestNearMissesNothing(t *testing.T) {
	word := rapid.StringMatching(`[a-e]{1,7}( [a-e]{3,6})?( [12])?`)
	rapid.Check(t, func(t *rapid.T) {
		seen := map[string]bool{}
		var list []spelling
		for range 25 {
			s := newSpelling(word.Draw(t, "text"))
			if key := s.marks + "/" + s.letters; !seen[key] {
				seen[key] = true
				list = append(list, s)
			}
		}
		got := map[[2]int]int{}
		near(list, func(i, j int) { got[[2]int{i, j}]++ })
		for i := range list {
			for j := range i {
				want := list[i].marks == list[j].marks && shareOf(list[i].letters, list[j].letters) >= nearShare
				if n := got[[2]int{j, i}]; n > 1 || (n == 1) != want {
					t.Fatalf("%+v and %+v: visited %d times, near %t", list[j], list[i], n, want)
				}
			}
		}
	})
}

// shareOf is the share of the letter pairs that two texts have in common, counted
// the plain way.
func shareOf(a, b string) float64 {
	in, all := map[[2]rune]int{}, 0
	for k, text := range []string{a, b} {
		for _, g := range letterPairs(text) {
			in[g] |= 1 << k
		}
	}
	common := 0
	for _, mask := range in {
		if all++; mask == 3 {
			common++
		}
	}
	return float64(common) / float64(all)
}

// FuzzSpelling reads any text without panic, is alike to itself, and likeness has
// no direction.
func FuzzSpelling(f *testing.F) {
	for _, seed := range []string{"Heron Mk II", "tide-wright", "16,2", "é΅", "mk", "mkmk2ii", "\xff\x00", "१२ ٣", "𝟙𝟚", "o'", strings.Repeat("ii ", 300)} {
		f.Add(seed, "Heron 2")
	}
	f.Fuzz(func(t *testing.T, a, b string) {
		if len(a)+len(b) > 400 {
			return
		}
		x, y := newSpelling(a), newSpelling(b)
		if alike(x, x) != 1 || !x.same(x) {
			t.Errorf("%q is not like itself", a)
		}
		one, other := alike(x, y), alike(y, x)
		if one != other || one < 0 || one > 1 || math.IsNaN(one) {
			t.Errorf("%q and %q: %g and %g", a, b, one, other)
		}
		if !utf8.ValidString(x.letters) || strings.ContainsAny(x.letters, " ") {
			t.Errorf("%q has the letters %q", a, x.letters)
		}
	})
}
