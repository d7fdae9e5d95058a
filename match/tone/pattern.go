package tone

import (
	"fmt"
	"strings"

	"centwise/catalog/pitch"
)

// Pattern is a set of pitch classes above a tonic, in semitones.
type Pattern []int

// Patterns to play.
var (
	Chromatic = Pattern{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}
	Scale     = Pattern{0, 2, 4, 5, 7, 9, 11} // major
	Arpeggio  = Pattern{0, 4, 7}              // major triad
)

// On gives the notes low..high that belong to the pattern on a tonic, upwards.
// The tonic is a note name without an octave, as in C or Eb.
func (p Pattern) On(tonic string, low, high pitch.Note) ([]pitch.Note, error) {
	root, err := pitch.ParseNote(strings.TrimSpace(tonic) + "4")
	if err != nil {
		return nil, fmt.Errorf("%q is not a tonic: write a note name without an octave, as in C or Eb", tonic)
	}
	in := map[int]bool{}
	for _, s := range p {
		in[s] = true
	}
	var out []pitch.Note
	for n := low; n <= high; n++ {
		if in[((int(n-root)%12)+12)%12] {
			out = append(out, n)
		}
	}
	return out, nil
}
