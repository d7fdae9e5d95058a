package pitch_test

import (
	"fmt"

	"centwise/catalog/pitch"
)

func ExampleParseNote() {
	written, _ := pitch.ParseNote("G♭4")
	sounding := written + pitch.Note(pitch.KeyBb.Semitones())
	fmt.Printf("%s sounds %s, %.2f Hz\n", written, sounding, sounding.Hz(440))
	// Output: F#4 sounds E4, 329.63 Hz
}

func ExampleSlotsFor() {
	note, _ := pitch.ParseNote("E5")
	for _, slot := range pitch.SlotsFor(note, 3) {
		fmt.Println(slot)
	}
	// Output:
	// 0/5
	// 12/6
	// 3/6
	// 123/7
}

func ExampleLengthModel() {
	trumpet := pitch.ExactSlides(1480)
	for _, fingering := range []string{"12", "23", "13", "123"} {
		v, _ := pitch.ParseValves(fingering)
		fmt.Printf("%s: %.1f cents sharp, pull %.1f mm\n", v, trumpet.SharpCents(v), trumpet.PullMM(v))
	}
	// Output:
	// 12: 10.6 cents sharp, pull 5.4 mm
	// 23: 15.5 cents sharp, pull 8.3 mm
	// 13: 30.3 cents sharp, pull 17.1 mm
	// 123: 53.6 cents sharp, pull 31.9 mm
}

func ExampleJust() {
	just, _ := pitch.Just("C")
	third, _ := pitch.ParseNote("E5")
	fmt.Printf("%s: %+.1f cents\n", third, just.Target(third))
	// Output: E5: -13.7 cents
}
