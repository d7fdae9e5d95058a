package catalog_test

import (
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// anyDraftLine draws lines that are valid.
func anyDraftLine() *rapid.Generator[catalog.DraftLine] {
	return rapid.Custom(func(t *rapid.T) catalog.DraftLine {
		l := catalog.DraftLine{Kind: rapid.SampledFrom([]catalog.LineKind{catalog.LineRead, catalog.LineKeep, catalog.LineSkip, catalog.LineUndo}).Draw(t, "kind")}
		if l.Kind == catalog.LineUndo {
			return l
		}
		l.Slot = pitch.Slot{Valves: pitch.Valves(rapid.IntRange(0, 15).Draw(t, "valves")), Partial: rapid.IntRange(1, pitch.MaxPartial).Draw(t, "partial")}
		if l.Kind != catalog.LineRead {
			return l
		}
		cents := rapid.Map(rapid.Float64Range(catalog.MinCents, catalog.MaxCents), func(x float64) float64 { return x + 0 })
		all := rapid.SliceOfN(cents, 1, catalog.MaxLineReadings).Draw(t, "cents")
		sure := rapid.IntRange(0, len(all)).Draw(t, "sure")
		l.Cents, l.Doubt = append(l.Cents, all[:sure]...), append(l.Doubt, all[sure:]...)
		return l
	})
}

func TestDraftLineRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := anyDraftLine().Draw(t, "line")
		if err := l.Validate(); err != nil {
			t.Fatal(err)
		}
		got, err := catalog.ParseDraftLine(l.String())
		if err != nil || !reflect.DeepEqual(got, l) {
			t.Fatalf("%q came back as %+v, want %+v (error %v)", l, got, l, err)
		}
	})
}

func FuzzParseDraftLine(f *testing.F) {
	for _, text := range []string{"", "undo", "0/2 -3 4.25 ?150", "13/3 skip", "13/3 keep", "13/3", "13/3 ?3 4", "0/2 NaN", "0/2 1e400", "0/2 151", "undo 1", "13/3 skip 4", "0/2 -0"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		l, err := catalog.ParseDraftLine(text)
		if err != nil {
			if catalog.KindOf(err) != catalog.Invalid {
				t.Fatalf("%q: %v", text, err)
			}
			return
		}
		again, err := catalog.ParseDraftLine(l.String())
		if err != nil || !reflect.DeepEqual(again, l) {
			t.Fatalf("%q is written %q, read as %+v (%v)", text, l, again, err)
		}
	})
}
