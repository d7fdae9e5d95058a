package protocol

import (
	"fmt"
	"strconv"
	"strings"

	"centwise/catalog"
)

// Command is what an entry asks for.
type Command int

// Commands of entry lines.
const (
	Empty Command = iota // nothing was typed
	Read                 // readings
	Skip                 // leave the note out
	Undo                 // take back the last line
	Keep                 // the readings in doubt are right as they are
	Help
	Quit // stop here and go on another time
	Done // record what there is
)

// Entry is a line that was typed.
type Entry struct {
	Command Command
	Cents   []float64 // of Read, in the order typed
}

// words are the commands that can be typed, each whole or by its first letters.
var words = map[string]Command{
	"skip": Skip, "s": Skip, "undo": Undo, "u": Undo, "keep": Keep, "k": Keep, "=": Keep,
	"?": Help, "help": Help, "h": Help, "quit": Quit, "q": Quit, "stop": Quit, "exit": Quit, "done": Done,
}

// signs are other writings of the sign: minus sign, en dash (what phones make of
// a hyphen), small and full-width hyphen and plus.
var signs = strings.NewReplacer("\u2212", "-", "\u2013", "-", "\ufe63", "-", "\uff0d", "-", "\ufe62", "+", "\uff0b", "+")

// EntryHint says how entries are written.
const EntryHint = "write the cents as on the tuner, -3 or +4.5; several readings with spaces between; ? for help"

// ParseEntry reads one line: readings such as "-3", "+4.5", "4,5" or
// "-3 -5 -4", or a command word. A reading without a sign is sharp. Readings
// are separated by spaces, semicolons, or commas with a space after them; a
// comma inside a number is a decimal comma. Invalid, with a hint: anything
// else, and readings outside [catalog.MinCents]..[catalog.MaxCents].
func ParseEntry(line string) (Entry, error) {
	text := strings.ToLower(strings.TrimSpace(line))
	if text == "" {
		return Entry{}, nil
	}
	if c, ok := words[text]; ok {
		return Entry{Command: c}, nil
	}
	e := Entry{Command: Read}
	for _, word := range splitReadings(signs.Replace(text)) {
		x, err := parseCents(word)
		if err != nil {
			return Entry{}, err
		}
		e.Cents = append(e.Cents, x)
	}
	if n := len(e.Cents); n == 0 || n > catalog.MaxLineReadings {
		return Entry{}, catalog.Errorf(catalog.Invalid, fmt.Sprintf("write 1 to %d", catalog.MaxLineReadings), "the line has %d readings", n)
	}
	return e, nil
}

func splitReadings(text string) []string {
	var out []string
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == '\t' || r == '\u00a0' || r == ';' }) {
		if word = strings.TrimSuffix(word, ","); word != "" {
			out = append(out, word)
		}
	}
	return out
}

// longestFigure is the length of the longest reading that is taken for one.
const longestFigure = 12

// parseCents reads a sign, digits, and a decimal point or comma with digits.
func parseCents(word string) (float64, error) {
	figure := strings.Replace(word, ",", ".", 1)
	digits := strings.TrimLeft(figure, "+-")
	plain := len(figure)-len(digits) <= 1 && len(figure) <= longestFigure && strings.Trim(digits, "0123456789.") == "" && digits != "."
	x, err := strconv.ParseFloat(figure, 64)
	if !plain || err != nil {
		return 0, catalog.Errorf(catalog.Invalid, EntryHint, "%q is not a reading", word)
	}
	if x < catalog.MinCents || x > catalog.MaxCents {
		return 0, catalog.Errorf(catalog.Invalid, "check the note, the key and the tuner's A4",
			"%s cents is outside %g..%g, which no reading is", word, catalog.MinCents, catalog.MaxCents)
	}
	return x + 0, nil // -0 becomes 0
}
