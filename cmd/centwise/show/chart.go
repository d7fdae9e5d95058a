package show

import (
	"fmt"
	"io"
	"strings"

	"centwise/match"
)

// Widths of charts. A panel is a number and a bar; with less room for bars the
// valves go, then the player's panel.
const (
	numberWidth  = 6
	widestBar    = 31
	narrowestBar = 7
	valvesFrom   = 70 // columns
)

// panel is one deviation of every note, side by side with others.
type panel struct {
	title string
	of    func(n match.NoteLine) (cents, low, high float64)
}

func alone(cents float64) (value, low, high float64) { return cents, cents, cents }

// panels are what a chart shows side by side.
func panels(x *match.Explanation, player bool) []panel {
	out := []panel{
		{"horn", func(n match.NoteLine) (float64, float64, float64) { return alone(n.Horn) }},
		{"mouthpiece", func(n match.NoteLine) (float64, float64, float64) { return alone(n.Mouthpiece) }},
	}
	if player {
		out = append(out, panel{"player", func(n match.NoteLine) (float64, float64, float64) { return alone(n.Player) }})
	}
	return append(out, panel{"sum", func(n match.NoteLine) (float64, float64, float64) { return n.Cents, n.Low, n.High }})
}

// chart is a layout of panels.
type chart struct {
	Style
	panels []panel
	valves bool
	bar    int // width of a bar, odd: the axis is its middle
	scale  float64
}

func newChart(s Style, x *match.Explanation) chart {
	c := chart{Style: s, valves: s.Columns() >= valvesFrom, scale: chartScale(x)}
	for _, player := range []bool{x.Player != "", false} {
		c.panels = panels(x, player)
		room := s.Columns() - c.labelWidth() - len(c.panels)*(len(gutter)+numberWidth+1)
		c.bar = min(widestBar, (room/len(c.panels)-1)/2*2+1)
		if c.bar >= narrowestBar {
			break
		}
	}
	return c
}

// chartScale is one scale for all bars, so that their lengths can be compared.
func chartScale(x *match.Explanation) float64 {
	scale := noteScale(x.Notes)
	for _, n := range x.Notes {
		scale = max(scale, Scale([]float64{n.Horn, n.Mouthpiece, n.Player}))
	}
	return scale
}

const noteWidth, valvesWidth = 4, 6

func (c chart) labelWidth() int {
	if c.valves {
		return noteWidth + 1 + valvesWidth
	}
	return noteWidth
}

// ProfileChart draws the shares of horn, mouthpiece and, where there is room,
// player, and their sum with its interval as bars around nought, a line a note.
// With concert the sounding notes head the lines.
func ProfileChart(w io.Writer, s Style, x *match.Explanation, concert bool) error {
	c := newChart(s, x)
	lines := []string{s.Paint(Strong, setupOf(x)), "", c.heading()}
	for _, n := range x.Notes {
		lines = append(lines, c.line(n, concert))
	}
	if _, err := fmt.Fprintln(w, strings.Join(lines, "\n")); err != nil {
		return err
	}
	return Sentences(w, s, append([]string{c.legend(x, concert)}, ExplanationSentences(x)...))
}

// setupOf names what was predicted.
func setupOf(x *match.Explanation) string {
	who := "a typical player"
	if x.Player != "" {
		who = x.Player
	}
	return fmt.Sprintf("%s with %s, played by %s", Clean(x.Horn), Clean(x.Mouthpiece), Clean(who))
}

func (c chart) heading() string {
	ellipsis := c.glyphs().ellipsis
	label := "note"
	if c.valves {
		label += " valves"
	}
	line := squareOff(label, c.labelWidth(), false, ellipsis)
	for _, p := range c.panels {
		line += gutter + squareOff(p.title, numberWidth+1+c.bar, false, ellipsis)
	}
	return c.Paint(Strong, strings.TrimRight(line, " "))
}

func (c chart) line(n match.NoteLine, concert bool) string {
	name := n.Note
	if concert {
		name = n.Concert
	}
	line := squareOff(name, noteWidth, false, c.glyphs().ellipsis)
	if c.valves {
		line += " " + squareOff(n.Valves, valvesWidth, false, c.glyphs().ellipsis)
	}
	for _, p := range c.panels {
		cents, low, high := p.of(n)
		number := squareOff(Signed(cents, 1), numberWidth, true, c.glyphs().ellipsis)
		line += gutter + c.Paint(ToneOf(cents), number) + " " + Bar(c.Style, c.bar, cents, low, high, c.scale)
	}
	return strings.TrimRight(line, " ")
}

func (c chart) legend(x *match.Explanation, concert bool) string {
	notes := "written notes"
	if concert {
		notes = "sounding notes"
	}
	text := fmt.Sprintf("Cents by %s, + sharp, - flat. Bars reach to %.0f cents on either side; the shade of the sum is its 80 %% interval.", notes, c.scale)
	var hidden []string
	if x.Player != "" && len(c.panels) < 4 {
		hidden = append(hidden, "the player's share, drawn on a wider terminal")
	}
	if largest := largestPair(x); largest >= 0.05 {
		hidden = append(hidden, fmt.Sprintf("what the two do together, %.1f at most", largest))
	}
	if len(hidden) > 0 {
		text += " The sum holds besides " + strings.Join(hidden, ", and ") + "."
	}
	return text
}
