package catalog_test

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"centwise/catalog"
)

// drawnLinks are links among a few records, some of which are not there, differ in
// a trait or state a serial number; every alias has one.
func drawnLinks(t *rapid.T) ([]catalog.Link, map[string]catalog.Linkable) {
	records := map[string]catalog.Linkable{}
	for i := range 7 {
		if rapid.IntRange(0, 9).Draw(t, "there") > 0 {
			records[fmt.Sprint(i)] = catalog.Linkable{Label: fmt.Sprint(i), Serial: rapid.SampledFrom([]string{"", "", "", "1", "2"}).Draw(t, "serial"),
				Traits: []catalog.Trait{{Name: "key", Value: rapid.SampledFrom([]string{"Bb", "Bb", "Bb", "C"}).Draw(t, "key")}}}
		}
	}
	var links []catalog.Link
	for i := range 7 {
		kept := rapid.IntRange(0, 7).Draw(t, "kept")
		if kept == i || kept == 7 {
			continue
		}
		at := time.Unix(int64(rapid.IntRange(0, 3).Draw(t, "at")), 0)
		links = append(links, catalog.Link{Kind: catalog.LinkHorn, Alias: fmt.Sprint(i), Kept: fmt.Sprint(kept),
			Revision: catalog.Revision{Number: 1, At: at, Retired: rapid.IntRange(0, 5).Draw(t, "apart") == 0}})
	}
	return links, records
}

func settled(links []catalog.Link, records map[string]catalog.Linkable) map[string]catalog.Settled {
	out := map[string]catalog.Settled{}
	for i, s := range catalog.SettleLinks(links, func(_ catalog.LinkKind, id string) (catalog.Linkable, bool) {
		r, ok := records[id]
		return r, ok
	}) {
		out[links[i].Alias] = s
	}
	return out
}

// Whatever is linked: links in effect lead to something that leads nowhere else and
// is there, join nothing that contradicts itself, and don't depend on the order in
// which they are given. One that is not in effect says why, and would do harm.
func TestSettleLinks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		links, records := drawnLinks(t)
		got := settled(links, records)
		groups := map[string][]string{}
		for id := range records {
			root := id
			if s := got[id]; s.Root != "" {
				root = s.Root
			}
			groups[root] = append(groups[root], id)
		}
		for alias, s := range got {
			if (s.Root == "") == (s.Why == "") {
				t.Fatalf("%s: %+v", alias, s)
			}
			if s.Root == "" {
				continue
			}
			if _, there := records[s.Root]; !there || got[s.Root].Root != "" || s.Root == alias {
				t.Fatalf("%s goes by %s, which goes by %+v", alias, s.Root, got[s.Root])
			}
		}
		for root, members := range groups {
			serial := ""
			for _, id := range members {
				r := records[id]
				if r.Traits[0] != records[root].Traits[0] || r.Serial != "" && serial != "" && r.Serial != serial {
					t.Fatalf("group %s: %v", root, members)
				}
				serial += r.Serial
				if len(serial) > 1 {
					serial = serial[:1]
				}
			}
		}
		shuffled := rapid.Permutation(links).Draw(t, "order")
		if again := settled(shuffled, records); fmt.Sprint(again) != fmt.Sprint(got) {
			t.Fatalf("in another order\n%v\n%v", again, got)
		}
		// The link made last is in effect if it can be at all.
		if len(links) == 0 {
			return
		}
		last := slices.MaxFunc(links, func(a, b catalog.Link) int {
			return cmp.Or(a.At.Compare(b.At), strings.Compare(a.Alias, b.Alias))
		})
		if alone := settled([]catalog.Link{last}, records); alone[last.Alias].Root != "" && got[last.Alias].Root == "" {
			t.Fatalf("%+v: %+v", last, got[last.Alias])
		}
	})
}

func TestPlainSerial(t *testing.T) {
	for _, same := range [][]string{
		{"204", "No. 204", "#204", "0204", "2 04", "S/N 204", "nr 204", "204 "}, {"TW-1042", "tw 1042", "TW.1042", "tw1042"}, {"0", "00"}, {"7A", "7a", "7-A"},
	} {
		for _, text := range same {
			if got, want := catalog.PlainSerial(text), catalog.PlainSerial(same[0]); got != want || got == "" {
				t.Errorf("%q is %q, %q is %q", text, got, same[0], want)
			}
		}
	}
	for _, other := range [][2]string{{"204", "205"}, {"204", "2040"}, {"A204", "B204"}, {"0", "1"}} {
		if catalog.PlainSerial(other[0]) == catalog.PlainSerial(other[1]) {
			t.Errorf("%q and %q are the same", other[0], other[1])
		}
	}
	if got := catalog.PlainSerial(""); got != "" {
		t.Errorf("nothing is %q", got)
	}
}

func TestDesignNames(t *testing.T) {
	d := catalog.DesignName{Maker: "Tidewright", Model: "Heron Mk 2"}
	for _, text := range []string{"Tidewright Heron Mk 2", "tidewright  heron mk 2", "Tidewright / Heron Mk 2"} {
		if !d.Is(text) {
			t.Errorf("%q is not %v", text, d)
		}
	}
	if d.Is("Tidewright Heron") || d.Is("") || (catalog.DesignName{Maker: "Tidewright"}).Is("Tidewright") {
		t.Error("something else is the design")
	}
	if (catalog.DesignName{Model: "Heron"}).Exact() != "/ Heron" || !(catalog.DesignName{Model: "Heron"}).Is("/ heron") || d.Key() != "tidewright\theron mk 2" {
		t.Errorf("%q, %q", catalog.DesignName{Model: "Heron"}.Exact(), d.Key())
	}
}
