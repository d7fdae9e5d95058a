package score_test

import (
	"context"
	"fmt"
	"strings"

	"centwise/importers/score"
)

// Two quarter notes and a half note at 120 quarters a minute: the half note counts
// for as long as the quarters together.
func ExampleScore_Part() {
	const music = `<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Trumpet</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes><sound tempo="120"/>
<note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration></note>
<note><pitch><step>E</step><octave>4</octave></pitch><duration>1</duration></note>
<note><pitch><step>G</step><octave>4</octave></pitch><duration>2</duration></note></measure></part></score-partwise>`
	s, err := score.Read(context.Background(), "call.musicxml", strings.NewReader(music))
	if err != nil {
		fmt.Println(err)
		return
	}
	part, err := s.Part("", score.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, n := range []string{"C4", "E4", "G4"} {
		for note, seconds := range part.Durations {
			if note.String() == n {
				fmt.Println(note, seconds)
			}
		}
	}
	// Output:
	// C4 0.5
	// E4 0.5
	// G4 1
}
