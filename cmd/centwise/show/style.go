// Package show draws everything that centwise prints: tables, charts,
// explanations and progress. Nothing else writes to the user's screen.
//
// What goes to a terminal is aligned to its width and may be coloured; what
// goes anywhere else is tab-separated at full precision, for other programs.
// Text that came from a user is made harmless on the way out.
package show

import (
	"strconv"
	"strings"
)

// Style says what the place we print to can take.
type Style struct {
	Terminal bool // aligned and rounded; else tabs and full precision
	Width    int  // columns, used when Terminal
	Colour   bool
	Unicode  bool // block characters and accents; else ASCII
}

// Widths between which layouts are made; a narrower or wider terminal is
// treated as one at the limit.
const (
	MinWidth = 60
	MaxWidth = 200
)

// Columns is the width to lay out for.
func (s Style) Columns() int { return max(MinWidth, min(MaxWidth, s.Width)) }

// Tone is the colour a value is drawn in.
type Tone int

// Sharp is orange and flat is blue, which colour-blind readers can tell apart;
// the sign is always printed too.
const (
	Plain Tone = iota
	Sharp
	Flat
	Strong // headings
	Faint  // what matters less
)

// sgr holds the terminal's select-graphic-rendition parameters (ECMA-48) of
// each tone, from the 256-colour palette.
var sgr = map[Tone]string{Sharp: "38;5;208", Flat: "38;5;39", Strong: "1", Faint: "2"}

// Paint wraps text in the escapes of a tone, if the style has colour.
func (s Style) Paint(t Tone, text string) string {
	code, ok := sgr[t]
	if !s.Colour || !ok || text == "" {
		return text
	}
	return "\x1b[" + code + "m" + text + "\x1b[0m"
}

// InTuneCents is the size of a deviation that is drawn as in tune.
const InTuneCents = 5.0

// ToneOf is the tone of a deviation in cents.
func ToneOf(cents float64) Tone {
	switch {
	case cents > InTuneCents:
		return Sharp
	case cents < -InTuneCents:
		return Flat
	}
	return Plain
}

// Signed writes a number with its sign, rounded to the given digits. What
// rounds to zero has no sign.
func Signed(v float64, digits int) string {
	s := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	if v > 0 {
		return "+" + s
	}
	return s
}

// full writes a number so that reading it gives the same number.
func full(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// glyphs are the characters that drawings are made of.
type glyphs struct {
	axis, full, halfLeft, halfRight, band, clip, ellipsis, rule string
}

var (
	blocks = glyphs{axis: "│", full: "█", halfLeft: "▐", halfRight: "▌", band: "░", clip: "›", ellipsis: "…", rule: "─"}
	ascii  = glyphs{axis: "|", full: "#", halfLeft: "#", halfRight: "#", band: "-", clip: ">", ellipsis: "~", rule: "-"}
)

func (s Style) glyphs() glyphs {
	if s.Unicode {
		return blocks
	}
	return ascii
}
