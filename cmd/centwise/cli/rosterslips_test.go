package cli

import (
	"slices"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/match"
)

// The lengths were reckoned by hand from x = L r (2^(c/1200) - 1) / 2 with L =
// 1480 mm and r = 2^(5/12) for 1-3, 2^(6/12) for 1-2-3, 2^(2/12) for 1.
func TestSlipWords(t *testing.T) {
	x := &match.Explanation{Notes: []match.NoteLine{
		{Note: "F#3", Concert: "E3", Valves: "123", Throw: 40, Weight: 1},                                // 24.46 mm
		{Note: "G3", Concert: "F3", Valves: "13", Throw: 20, Left: -12.4, Weight: 1},                     // 11.48 mm
		{Note: "F4", Concert: "Eb4", Valves: "1", Throw: 10, Weight: 1},                                  // 4.81 mm
		{Note: "G4", Concert: "F4", Valves: "0", Cents: 9, Slide: -3.2, Left: 9.1, Weight: 1},            // reads +12
		{Note: "A4", Concert: "G4", Valves: "12", Throw: 4.9, Left: 4.9, Weight: 1},                      // too little for a line
		{Note: "C5", Concert: "Bb4", Valves: "0", Cents: -3, Slide: -3.2, Left: 30, Weight: 0},           // does not count
		{Note: "E5", Concert: "D5", Valves: "0", Cents: 3, Slide: 3.2, Left: -6, Weight: 1, Partial: 5}}, // flat
		Alternates: []match.Alternate{{Note: "G4", Valves: "13", Low: 1}, {Note: "E5", Valves: "12", Low: -1}}}
	h := catalog.Horn{Instrument: catalog.Trumpet, Key: "Bb", Valves: 3, Throw1MM: 12, Throw3MM: 20}
	if got, want := tuneWords(x), "C5 (a tuner says Bb4) reads in tune"; !strings.Contains(got, want) {
		t.Errorf("%q does not say %q", got, want)
	}
	x.Notes = slices.Delete(x.Notes, 5, 6)
	if got, want := tuneWords(x), "G4 (a tuner says F4) reads +12 cents"; !strings.Contains(got, want) {
		t.Errorf("%q does not say %q", got, want)
	}
	if got, want := throwWords(x, h), []string{"F#3, 1-2-3: third slide out by 20 mm, first slide out by 4 mm", "G3, 1-3: third slide out by 11 mm", "F4, 1: first slide out by 5 mm"}; !slices.Equal(got, want) {
		t.Errorf("throws %q, want %q", got, want)
	}
	if got, want := watchWords(x), []string{"G3: about 12 cents flat, bring it up", "G4: about 9 cents sharp, bring it down, or try it on 1-3", "E5: about 6 cents flat, bring it up"}; !slices.Equal(got, want) {
		t.Errorf("watched %q, want %q", got, want)
	}
	if got := tuneWords(&match.Explanation{}); !strings.Contains(got, "in the middle") {
		t.Errorf("without an open note: %q", got)
	}
}

func TestSlipsHaveRoomForTheLargestNotes(t *testing.T) {
	var notes []match.NoteLine
	for i := range 9 {
		notes = append(notes, match.NoteLine{Note: string(rune('a' + i)), Left: float64(5 + (i*4)%9), Weight: 1})
	}
	var got []string
	for _, n := range largest(notes, func(n match.NoteLine) float64 { return n.Left }, 6) {
		got = append(got, n.Note)
	}
	if want := []string{"b", "c", "d", "e", "g", "i"}; !slices.Equal(got, want) { // 9 13 8 12 (7) 11 (6) 10: without f 7 and h 6
		t.Errorf("%q, want %q", got, want)
	}
}
