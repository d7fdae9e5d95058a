package recording

import (
	"fmt"
	"slices"
	"strings"

	"centwise/catalog/pitch"
)

// UpAndDown is the chromatic range low..high and back, by the usual fingerings.
func UpAndDown(low, high pitch.Note, valves int) []pitch.Slot {
	up := pitch.UsualSlots(low, high, valves)
	down := slices.Clone(up[:max(0, len(up)-1)])
	slices.Reverse(down)
	return append(up, down...)
}

// MostNotes bounds a list of notes.
const MostNotes = 500

// ParseNotes reads a list of written notes in the order played: notes (F#3), ranges
// (F#3-C6, C6-F#3: chromatic), and slots where the fingering is not the usual one
// (13/4: valves and partial), with spaces or commas between them.
func ParseNotes(text string, valves int) ([]pitch.Slot, error) {
	var out []pitch.Slot
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == ',' || r == ';' || r == '\t' || r == '\n' || r == '\r' }) {
		part, err := parseNotes(word, valves)
		if err != nil {
			return nil, err
		}
		if out = append(out, part...); len(out) > MostNotes {
			return nil, fmt.Errorf("more than %d notes", MostNotes)
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("there is no note in it")
	}
	return out, nil
}

func parseNotes(word string, valves int) ([]pitch.Slot, error) {
	if strings.Contains(word, "/") {
		s, err := pitch.ParseSlot(word)
		if err == nil && s.Valves >= 1<<valves {
			err = fmt.Errorf("%s needs a fourth valve, which the horn has not got", s)
		}
		return []pitch.Slot{s}, err
	}
	// A dash after the first letter may also be the octave's sign, as in C-1.
	if at := strings.LastIndex(word, "-"); at > 1 {
		return parseSpan(word[:at], word[at+1:], valves)
	}
	return parseSpan(word, word, valves)
}

// parseSpan gives the notes from one to another, up or down.
func parseSpan(first, last string, valves int) ([]pitch.Slot, error) {
	from, err := pitch.ParseNote(first)
	if err != nil {
		return nil, err
	}
	to, err := pitch.ParseNote(last)
	if err != nil {
		return nil, err
	}
	step := pitch.Note(1)
	if to < from {
		step = -1
	}
	var out []pitch.Slot
	for n := from; ; n += step {
		s, ok := pitch.UsualSlot(n, valves)
		if !ok {
			return nil, fmt.Errorf("%s has no usual fingering on %d valves: leave it out, or write valves and partial, as in 13/4", n, valves)
		}
		if out = append(out, s); n == to {
			return out, nil
		}
	}
}
