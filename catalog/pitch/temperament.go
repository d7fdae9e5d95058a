package pitch

import (
	"fmt"
	"math"
	"strings"
)

// Temperament is a target for each note, in cents above equal temperament: by
// written pitch class, C = 0, but for the written notes that have their own.
type Temperament struct {
	Name  string
	Cents [12]float64
	Notes map[Note]float64
}

// Class is a pitch class: a note in any octave, C = 0 up to B = 11.
type Class int

// ParseClass reads a note name without an octave, as in C, F# or B♭.
func ParseClass(text string) (Class, error) {
	n, err := ParseNote(strings.TrimSpace(text) + "4")
	if err != nil {
		return 0, fmt.Errorf("%q is not the name of a note: write a letter and an accidental if any, without an octave, as in C or Eb", text)
	}
	return Class(int(n) % 12), nil
}

// Name gives the usual trumpet spelling: F#, Ab, Bb.
func (c Class) Name() string { return noteNames[c] }

// Equal is twelve-tone equal temperament.
var Equal = Temperament{Name: "equal"}

// justRatios is the five-limit just chromatic scale on its tonic, as tabulated
// in A. J. Ellis's appendix to Helmholtz, "On the Sensations of Tone" (1885)
// (from memory).
var justRatios = [12]float64{1, 16. / 15, 9. / 8, 6. / 5, 5. / 4, 4. / 3, 45. / 32, 3. / 2, 8. / 5, 5. / 3, 9. / 5, 15. / 8}

// Just is five-limit just intonation on a written tonic, such as "C" or "Eb",
// with the tonic itself at its equal-tempered place.
func Just(tonic string) (Temperament, error) {
	class, err := ParseClass(tonic)
	if err != nil {
		return Temperament{}, fmt.Errorf("%q is not a tonic: write a note name without an octave, as in C or Eb", tonic)
	}
	t := Temperament{Name: "just in " + class.Name()}
	for i, ratio := range justRatios {
		t.Cents[(int(class)+i)%12] = 1200*math.Log2(ratio) - 100*float64(i)
	}
	return t, nil
}

// Target is the cents above equal temperament that t asks of a written note.
func (t Temperament) Target(n Note) float64 {
	if own, ok := t.Notes[n]; ok {
		return own
	}
	return t.Cents[((int(n)%12)+12)%12]
}
