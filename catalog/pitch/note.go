// Package pitch is the ground floor of centwise: notes, keys, valves, slots,
// fingerings, cents and temperaments. It imports nothing else of the module.
//
// Notes are written pitch in scientific notation (C4 is the written middle C of
// the instrument); a [Key] turns written into sounding pitch. Intervals are in
// cents, frequencies in Hz.
package pitch

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Note is a pitch as a number of equal-tempered semitones, C4 = 60, A4 = 69.
type Note int

// noteNames are the usual spellings for a trumpet's written range (common
// practice, no source): the sharps C# and F#, the flats Eb, Ab and Bb.
var noteNames = [12]string{"C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"}

var letterSemitones = map[byte]int{'C': 0, 'D': 2, 'E': 4, 'F': 5, 'G': 7, 'A': 9, 'B': 11}

var accidentals = strings.NewReplacer("♯", "#", "♭", "b", "𝄪", "##", "𝄫", "bb", "♮", "")

// Lowest and highest note that can be written: C-1 and B9.
const (
	lowestNote  Note = 0
	highestNote Note = 131
)

// ParseNote reads a note in scientific pitch notation: a letter, up to two
// accidentals (# b, ♯ ♭) and an octave from -1 to 9, as in F#3, Gb3 or B♭4.
// Enharmonic spellings give the same Note: the octave number goes with the
// letter, so B#3 is C4 and Cb4 is B3.
func ParseNote(text string) (Note, error) {
	s := accidentals.Replace(strings.TrimSpace(text))
	bad := func() (Note, error) {
		return 0, fmt.Errorf("%q is not a note: write a letter, an accidental if any, and the octave, as in F#3 or Bb4", text)
	}
	if len(s) < 2 {
		return bad()
	}
	base, ok := letterSemitones[s[0]&^0x20]
	if !ok {
		return bad()
	}
	rest := s[1:]
	body := strings.TrimLeft(rest, "#b")
	marks := rest[:len(rest)-len(body)]
	sharps, flats := strings.Count(marks, "#"), strings.Count(marks, "b")
	if len(marks) > 2 || sharps > 0 && flats > 0 {
		return bad()
	}
	octave, ok := parseOctave(body)
	if !ok {
		return bad()
	}
	n := Note(12*(octave+1) + base + sharps - flats)
	if n < lowestNote || n > highestNote {
		return bad()
	}
	return n, nil
}

// parseOctave reads -1 or a single digit.
func parseOctave(s string) (int, bool) {
	switch {
	case s == "-1":
		return -1, true
	case len(s) == 1 && s[0] >= '0' && s[0] <= '9':
		return int(s[0] - '0'), true
	}
	return 0, false
}

// String gives the usual trumpet spelling: F#3, Ab4, Bb5.
func (n Note) String() string {
	class := ((int(n) % 12) + 12) % 12
	return noteNames[class] + strconv.Itoa((int(n)-class)/12-1)
}

// Hz is the equal-tempered frequency of n read as sounding pitch, in Hz, with
// the A above middle C at a4 Hz (ISO 16:1975 gives 440 Hz).
func (n Note) Hz(a4 float64) float64 {
	return a4 * math.Exp2(float64(n-69)/12)
}

// Cents is the interval from reference to f, both in Hz, in cents.
func Cents(f, reference float64) float64 { return 1200 * math.Log2(f/reference) }

// Shift is the frequency in Hz that lies the given cents above f Hz.
func Shift(f, cents float64) float64 { return f * math.Exp2(cents/1200) }

// Nearest is the sounding note nearest to f Hz and the deviation of f from it
// in cents (-50..50), with the A above middle C at a4 Hz. Both must be positive.
func Nearest(f, a4 float64) (Note, float64) {
	semitones := 69 + 12*math.Log2(f/a4)
	n := math.Round(semitones)
	return Note(n), 100 * (semitones - n)
}
