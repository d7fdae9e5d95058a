package show

import (
	"regexp"
	"strings"
	"sync"
	"unicode"

	"golang.org/x/text/width"
)

// escapes matches terminal control sequences (ECMA-48): CSI and OSC, with one-
// or two-byte introducers, and other two-byte escapes.
var escapes = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile("(?:\x1b\\[|\u009b)[0-?]*[ -/]*[@-~]|(?:\x1b\\]|\u009d)[^\x07\x1b\u009c]*(?:\x07|\x1b\\\\|\u009c)?|\x1b[ -/]*[0-~]")
})

// Clean makes text that came from a user harmless to a terminal and to a line
// of output: escape sequences and control characters go, line ends and tabs
// become spaces, marks that reverse the reading order go.
func Clean(text string) string {
	if isPlain(text) {
		return text
	}
	text = escapes().ReplaceAllString(strings.ToValidUTF8(text, "\uFFFD"), "")
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\r' || r == '\t' || r == '\u2028' || r == '\u2029':
			return ' '
		case hidden(r):
			return -1
		}
		return r
	}, text)
}

// hidden reports whether r acts on a terminal instead of being drawn.
func hidden(r rune) bool {
	return unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r)
}

func isPlain(text string) bool {
	for i := range len(text) {
		if text[i] < 0x20 || text[i] >= 0x7f {
			return false
		}
	}
	return true
}

// Width is the number of terminal columns that text takes.
func Width(text string) int {
	n := 0
	for _, r := range text {
		n += runeWidth(r)
	}
	return n
}

func runeWidth(r rune) int {
	switch {
	case r < 0x7f:
		return 1
	case unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf):
		return 0
	}
	switch width.LookupRune(r).Kind() {
	case width.EastAsianWide, width.EastAsianFullwidth:
		return 2
	}
	return 1
}

// squareOff pads or cuts text to exactly n columns.
func squareOff(text string, n int, right bool, ellipsis string) string {
	w := Width(text)
	if w > n {
		text = cut(text, n, ellipsis)
		w = Width(text)
	}
	pad := strings.Repeat(" ", n-w)
	if right {
		return pad + text
	}
	return text + pad
}

func cut(text string, n int, ellipsis string) string {
	room := n - Width(ellipsis)
	var b strings.Builder
	for _, r := range text {
		if room -= runeWidth(r); room < 0 {
			break
		}
		b.WriteRune(r)
	}
	return b.String() + ellipsis
}

// Wrap breaks text at spaces into lines of at most n columns, the first
// starting with first and the others with rest.
func Wrap(text string, n int, first, rest string) string {
	var out []string
	line, width, empty := first, Width(first), true
	for _, word := range strings.Fields(text) {
		w := Width(word)
		switch {
		case empty:
			line, width = line+word, width+w
		case width+1+w > n:
			out = append(out, line)
			line, width = rest+word, Width(rest)+w
		default:
			line, width = line+" "+word, width+1+w
		}
		empty = false
	}
	return strings.Join(append(out, line), "\n")
}
