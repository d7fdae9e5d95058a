package protocol_test

import (
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog"
	"centwise/match/protocol"
)

func TestParseEntry(t *testing.T) {
	for text, want := range map[string][]float64{
		"-3": {-3}, "+4.5": {4.5}, "3": {3}, "0": {0}, "-0": {0}, " -3 -5  -4 ": {-3, -5, -4}, "4,5": {4.5}, "-4,5 3,25": {-4.5, 3.25},
		"-3, -5, -4": {-3, -5, -4}, "-3; -5;4": {-3, -5, 4}, "\u22123": {-3}, "\u201312,5": {-12.5}, "\uff0b4 \uff0d2": {4, -2}, ".5": {0.5}, "5.": {5}, "-3\t+2": {-3, 2},
		"150": {150}, "-150.0": {-150}, "007": {7}, "-3\u00a0-5": {-3, -5},
	} {
		got, err := protocol.ParseEntry(text)
		if err != nil || got.Command != protocol.Read || !reflect.DeepEqual(got.Cents, want) {
			t.Errorf("%q: %+v (error %v), want %v", text, got, err, want)
		}
	}
	for text, want := range map[string]protocol.Command{
		"": protocol.Empty, "  \t": protocol.Empty, "skip": protocol.Skip, " SKIP ": protocol.Skip, "s": protocol.Skip, "undo": protocol.Undo, "U": protocol.Undo,
		"keep": protocol.Keep, "=": protocol.Keep, "?": protocol.Help, "help": protocol.Help, "quit": protocol.Quit, "q": protocol.Quit, "stop": protocol.Quit, "done": protocol.Done,
	} {
		if got, err := protocol.ParseEntry(text); err != nil || got.Command != want || got.Cents != nil {
			t.Errorf("%q: %+v (error %v), want %v", text, got, err, want)
		}
	}
	for text, words := range map[string]string{
		"abc": `"abc" is not a reading`, "-3 x": `"x"`, "--3": "--3", "+-3": "+-3", "3-5": "3-5", "-3-5": "-3-5", "1.2.3": "1.2.3", "1,2,3": "1,2,3", "- 3": `"-"`, ".": `"."`,
		"1e2": "1e2", "0x1": "0x1", "nan": "nan", "inf": "inf", "-151": "outside", "1000": "outside", "3 cents": "cents", "undo 3": "undo", ",": "readings", ";;": "readings",
		"1_0": "1_0", "٣": "٣", "0000000000003": "is not a reading", strings.Repeat("1 ", 21): "21 readings",
	} {
		_, err := protocol.ParseEntry(text)
		if catalog.KindOf(err) != catalog.Invalid || !strings.Contains(err.Error(), words) {
			t.Errorf("%q: error %v, want one with %q", text, err, words)
		}
	}
}

// Whatever is typed, nothing breaks; and what is understood as readings can be
// stored, and is understood again when it is written in full.
func FuzzParseEntry(f *testing.F) {
	for _, text := range []string{"-3", "+4,5", "-3 -5 -4", "skip", "undo", "?", "\u22123", "1e9", "NaN", "-0", "3,", ",3", "\xff", "- 3"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		e, err := protocol.ParseEntry(text)
		if err != nil {
			if catalog.KindOf(err) != catalog.Invalid {
				t.Fatalf("%q: %v", text, err)
			}
			return
		}
		if (e.Command == protocol.Read) != (len(e.Cents) > 0) {
			t.Fatalf("%q: %+v", text, e)
		}
		if e.Command != protocol.Read {
			return
		}
		line := catalog.DraftLine{Kind: catalog.LineRead, Cents: e.Cents}
		line.Slot.Partial = 2
		if err := line.Validate(); err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		_, written, _ := strings.Cut(line.String(), " ")
		if len(written) > 100 {
			return // fractions that nobody types
		}
		if again, err := protocol.ParseEntry(written); err != nil || !reflect.DeepEqual(again, e) {
			t.Fatalf("%q is %v, written %q, read %v (%v)", text, e, written, again, err)
		}
	})
}

// Decimal comma and other minus signs change nothing.
func TestParseEntryWritings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`-?[0-9]{1,2}(\.[0-9]{1,2})?( [+-]?[0-9]{1,2}(\.[0-9])?){0,3}`).Draw(t, "text")
		want, err := protocol.ParseEntry(text)
		if err != nil {
			t.Fatal(err)
		}
		other := strings.NewReplacer(".", ",", "-", rapid.SampledFrom([]string{"-", "\u2212", "\u2013"}).Draw(t, "minus"), " ", rapid.SampledFrom([]string{" ", ";", "; ", ", ", "\t"}).Draw(t, "gap")).Replace(text)
		if got, err := protocol.ParseEntry(other); err != nil || !reflect.DeepEqual(got, want) {
			t.Fatalf("%q is %v (%v), %q is %v", other, got, err, text, want)
		}
	})
}
