package recording_test

import (
	"fmt"

	"centwise/catalog/pitch"
	"centwise/importers/recording"
)

// The tones of a scale in order: the second is 30 cents flat, and still an E,
// since the notes around it are where they should be.
func ExampleAlign() {
	slots, err := recording.ParseNotes("C4 E4 G4", 3)
	if err != nil {
		fmt.Println(err)
		return
	}
	var tones []recording.Tone
	for i, cents := range []float64{2, -30, 4} {
		written := slots[i].Note()
		tones = append(tones, recording.Tone{Hz: pitch.Shift((written - 2).Hz(440), cents), Grade: recording.Good})
	}
	a := recording.Align([][]recording.Tone{tones}, recording.Expected{Slots: slots, Transposition: -2, A4Hz: 440})
	for _, m := range a.Matches {
		fmt.Printf("%s %+.0f\n", m.Slot.Note(), m.Cents)
	}
	// Output:
	// C4 +2
	// E4 -30
	// G4 +4
}
