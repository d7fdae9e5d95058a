package show

import (
	"bytes"
	"strings"
	"testing"

	"centwise/catalog/pitch"
	"centwise/match/protocol"
)

func TestSpreadTable(t *testing.T) {
	spread := protocol.Spread{Notes: []protocol.NoteSpread{{Slot: pitch.Slot{Partial: 2}, Readings: 3, Cents: -4.5, Spread: 12}, {Slot: pitch.Slot{Valves: 1, Partial: 4}, Readings: 1, Cents: 6}}}
	var b bytes.Buffer
	if err := SpreadTable(spread).Write(&b, Style{Terminal: true, Width: 60}); err != nil {
		t.Fatal(err)
	}
	want := "note  valves  readings  cents  apart  flat | sharp\n" +
		"C4    0              3   -4.5   12.0       --###|-\n" +
		"Bb4   1              1   +6.0                   |###\n"
	if got := b.String(); got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
	b.Reset()
	if err := SpreadTable(spread).Write(&b, Style{}); err != nil || !strings.Contains(b.String(), "C4\t0\t2\t3\t-4.5\t12\n") {
		t.Errorf("%q (%v)", b.String(), err)
	}
}

func TestSpreadWords(t *testing.T) {
	note := func(partial int, spread float64) protocol.NoteSpread {
		return protocol.NoteSpread{Slot: pitch.Slot{Partial: partial}, Readings: 2, Spread: spread}
	}
	for _, tc := range []struct {
		name   string
		spread protocol.Spread
		want   []string
		not    string
	}{
		{"one round", protocol.Spread{Notes: []protocol.NoteSpread{note(2, 0)}, Drift: []float64{0}}, nil, "scatters"},
		{"close together", protocol.Spread{SD: 3.04, Notes: []protocol.NoteSpread{note(2, 9)}, Drift: []float64{0, 1}}, []string{"scatters by 3.0 cents (standard deviation)."}, "widest"},
		{"wide apart", protocol.Spread{SD: 5, Notes: []protocol.NoteSpread{note(2, 11), note(3, 31), note(4, 12), note(5, 21)}}, []string{"widest apart: G4 31 cents, E5 21 cents, C5 12 cents."}, "C4"},
		{"warming up", protocol.Spread{Drift: []float64{0, 3, 6}}, []string{"ended 6 cents higher"}, "lower"},
		{"tiring", protocol.Spread{Drift: []float64{0, -4}}, []string{"ended 4 cents lower"}, "higher"},
		{"skipped", protocol.Spread{Skipped: pitch.UsualSlots(60, 67, 3)}, []string{"Without a reading: C4 (open), C#4 (1-2-3)", "2 more notes."}, "G4"},
	} {
		got := strings.Join(SpreadWords(tc.spread), " ")
		for _, want := range tc.want {
			if !strings.Contains(got, want) {
				t.Errorf("%s: no %q in %q", tc.name, want, got)
			}
		}
		if strings.Contains(got, tc.not) {
			t.Errorf("%s: %q in %q", tc.name, tc.not, got)
		}
	}
}
