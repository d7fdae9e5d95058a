package impedance

import (
	"errors"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
)

// layout is how the numbers of a file are written.
type layout struct {
	separator rune // ',', ';', '\t' or ' ' for any white space
	comma     bool // decimal commas
	columns   int
}

// layouts are tried in this order; of those that read equally many lines the
// first is taken. "100,5" is two columns if commas separate, and they do if
// nothing else does.
var layouts = []layout{
	{separator: ';'}, {separator: ';', comma: true}, {separator: '\t'}, {separator: '\t', comma: true},
	{separator: ','}, {separator: ' '}, {separator: ' ', comma: true},
}

// sampled is how many lines of numbers a layout is judged by.
const sampled = 200

// findLayout finds out how the lines are written, by which way gives most lines
// with one and the same number of columns, two or more. False if none does.
func findLayout(lines []line) (layout, bool) {
	var best layout
	most := 0
	for _, l := range layouts {
		counts := map[int]int{}
		for _, text := range lines[:min(sampled, len(lines))] {
			if _, err := l.numbers(text.text, nil); err == nil {
				counts[len(l.cells(text.text))]++
			}
		}
		for _, columns := range slices.Sorted(maps.Keys(counts)) { // of equals the fewest, each time
			if n := counts[columns]; columns >= 2 && n > most {
				most, best = n, l
				best.columns = columns
			}
		}
	}
	return best, most > 0
}

// cells cuts a line into its columns.
func (l layout) cells(text string) []string {
	if l.separator == ' ' {
		return strings.Fields(text)
	}
	var out []string
	quoted, start := false, 0
	for i, r := range text {
		switch r {
		case '"':
			quoted = !quoted
		case l.separator:
			if !quoted {
				out = append(out, text[start:i])
				start = i + 1
			}
		}
	}
	out = append(out, text[start:])
	if n := len(out); n > 1 && strings.TrimSpace(out[n-1]) == "" { // a separator at the end of each line
		out = out[:n-1]
	}
	return out
}

var (
	errNotNumber = errors.New("is not a number")
	errNotFinite = errors.New("is not a finite number")
)

// badCell is a cell that is no number.
type badCell struct {
	text string
	err  error
}

func (b *badCell) Error() string { return strconv.Quote(shortened(b.text)) + " " + b.err.Error() }

// numbers reads the cells of a line into the room of into.
func (l layout) numbers(text string, into []float64) ([]float64, error) {
	into = into[:0]
	for _, cell := range l.cells(text) {
		v, err := l.number(cell)
		if err != nil {
			return into, &badCell{strings.TrimSpace(cell), err}
		}
		into = append(into, v)
	}
	return into, nil
}

// number reads a cell: digits, a sign, one mark and an exponent, no "inf", no
// units. A cell in quotation marks may have a decimal comma in any layout.
func (l layout) number(cell string) (float64, error) {
	s := strings.TrimSpace(cell)
	comma := l.comma
	if len(s) >= 2 && s[0] == '"' && s[len(s)-1] == '"' {
		s, comma = strings.TrimSpace(s[1:len(s)-1]), true
	}
	s = strings.Replace(s, "\u2212", "-", 1) // minus sign
	if comma && strings.IndexByte(s, '.') < 0 {
		s = strings.Replace(s, ",", ".", 1)
	}
	if len(s) == 0 || len(s) > 40 {
		return 0, errNotNumber
	}
	for i := range len(s) {
		if c := s[i]; (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			switch strings.ToLower(strings.TrimLeft(s, "+-")) {
			case "nan", "inf", "infinity":
				return 0, errNotFinite
			}
			return 0, errNotNumber
		}
	}
	v, err := strconv.ParseFloat(s, 64)
	switch {
	case math.IsInf(v, 0):
		return 0, errNotFinite
	case err != nil:
		return 0, errNotNumber
	}
	return v, nil
}

// words cuts a header written with spaces into its columns; a unit in brackets
// belongs to the name before it.
func words(text string) []string {
	var out []string
	var b strings.Builder
	depth := 0
	flush := func() {
		if b.Len() > 0 {
			out = append(out, b.String())
			b.Reset()
		}
	}
	for _, w := range strings.Fields(text) {
		opens := strings.IndexAny(w, "([") == 0
		if depth == 0 && !(opens && b.Len() > 0) {
			flush()
		}
		if b.Len() > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(w)
		depth = max(0, depth+strings.Count(w, "(")+strings.Count(w, "[")-strings.Count(w, ")")-strings.Count(w, "]"))
	}
	flush()
	return out
}
