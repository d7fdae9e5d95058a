package pitch

import (
	"fmt"
	"strings"
)

// Key is the key an instrument stands in, as the pitch class that its written C
// sounds: "Bb", "C", "D", "Eb", "F", "G" or "A".
type Key string

// The keys of valved trumpet-family instruments.
const (
	KeyBb Key = "Bb"
	KeyC  Key = "C"
	KeyD  Key = "D"
	KeyEb Key = "Eb"
	KeyF  Key = "F"
	KeyG  Key = "G"
	KeyA  Key = "A"
)

// Keys lists the known keys, the commonest first.
var Keys = []Key{KeyBb, KeyC, KeyD, KeyEb, KeyF, KeyG, KeyA}

var keySemitones = map[Key]int{KeyBb: -2, KeyC: 0, KeyD: 2, KeyEb: 3, KeyF: 5, KeyG: 7, KeyA: -3}

// ParseKey reads a key in any usual writing: Bb, B♭, bb, B-flat, eb.
func ParseKey(text string) (Key, error) {
	s := strings.ToLower(accidentals.Replace(strings.TrimSpace(text)))
	s = strings.NewReplacer("-flat", "b", " flat", "b", "flat", "b").Replace(s)
	for _, k := range Keys {
		if strings.ToLower(string(k)) == s {
			return k, nil
		}
	}
	return "", fmt.Errorf("%q is not a key a trumpet is built in: use one of Bb, C, D, Eb, F, G, A", text)
}

// Semitones is how far the sounding pitch lies above the written one for a
// soprano-size instrument in this key: Bb -2, A -3, C 0, D 2, Eb 3, F 5, G 7.
// A piccolo sounds an octave above that.
func (k Key) Semitones() int { return keySemitones[k] }

// Valid reports whether k is one of [Keys].
func (k Key) Valid() bool { _, ok := keySemitones[k]; return ok }
