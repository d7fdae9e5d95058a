package pitch

import (
	"fmt"
	"math"
	"strings"
)

// Temperament is a target for each pitch class: cents above equal temperament,
// indexed by written pitch class, C = 0.
type Temperament struct {
	Name  string
	Cents [12]float64
}

// Equal is twelve-tone equal temperament.
var Equal = Temperament{Name: "equal"}

// justRatios is the five-limit just chromatic scale on its tonic, as tabulated
// in A. J. Ellis's appendix to Helmholtz, "On the Sensations of Tone" (1885)
// (from memory).
var justRatios = [12]float64{1, 16. / 15, 9. / 8, 6. / 5, 5. / 4, 4. / 3, 45. / 32, 3. / 2, 8. / 5, 5. / 3, 9. / 5, 15. / 8}

// Just is five-limit just intonation on a written tonic, such as "C" or "Eb",
// with the tonic itself at its equal-tempered place.
func Just(tonic string) (Temperament, error) {
	n, err := ParseNote(strings.TrimSpace(tonic) + "4")
	if err != nil {
		return Temperament{}, fmt.Errorf("%q is not a tonic: write a note name without an octave, as in C or Eb", tonic)
	}
	class := int(n) % 12
	t := Temperament{Name: "just in " + noteNames[class]}
	for i, ratio := range justRatios {
		t.Cents[(class+i)%12] = 1200*math.Log2(ratio) - 100*float64(i)
	}
	return t, nil
}

// Target is the cents above equal temperament that t asks of a written note.
func (t Temperament) Target(n Note) float64 { return t.Cents[((int(n)%12)+12)%12] }
