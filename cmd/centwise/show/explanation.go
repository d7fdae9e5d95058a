package show

import (
	"fmt"
	"io"
	"math"

	"centwise/match"
)

// barTitle heads the columns of bars.
const barTitle = "flat | sharp"

// NoteTable lays out an explanation a line a note: the shares and their sum,
// what slide and throw take away, and what is left. Concert adds the sounding
// notes.
func NoteTable(x *match.Explanation, concert bool) *Table {
	t := &Table{Columns: []Column{
		{Title: "note", Name: "note"},
		{Title: title(concert, "sounds"), Name: "concert"},
		{Title: "valves", Name: "valves"},
		{Name: "partial", Right: true},
		{Title: "horn", Name: "horn", Right: true},
		{Title: "mouthpiece", Name: "mouthpiece", Right: true},
		{Title: title(x.Player != "", "player"), Name: "player", Right: true},
		{Title: title(largestPair(x) >= 0.05, "pair"), Name: "pair", Right: true, Drop: 4},
		{Title: "sum", Name: "cents", Right: true},
		{Name: "sd", Right: true},
		{Title: "80 % interval", Right: true, Drop: 2},
		{Name: "low", Right: true}, {Name: "high", Right: true},
		{Title: title(x.Temperament != "equal", "target"), Name: "target", Right: true, Drop: 1},
		{Title: "slide", Name: "slide", Right: true, Drop: 1},
		{Title: "throw", Name: "throw", Right: true, Drop: 1},
		{Title: "left", Name: "left", Right: true},
		{Title: "support", Name: "support", Right: true, Drop: 5},
		{Title: barTitle, Draw: true, Drop: 3},
		{Name: "support_measured", Right: true},
	}}
	scale := noteScale(x.Notes)
	for _, n := range x.Notes {
		t.Add(noteRow(n, scale)...)
	}
	return t
}

func title(shown bool, text string) string {
	if shown {
		return text
	}
	return ""
}

func noteScale(notes []match.NoteLine) float64 {
	var all []float64
	for _, n := range notes {
		all = append(all, n.Cents, n.Low, n.High)
	}
	return Scale(all)
}

func noteRow(n match.NoteLine, scale float64) []Cell {
	return []Cell{
		Words(n.Note), Words(n.Concert), Words(n.Valves), Count(n.Partial),
		Share(n.Horn), Share(n.Mouthpiece), Share(n.Player), Share(n.Pair),
		Cents(n.Cents, 1), Number(n.SD, 1),
		Words(Signed(n.Low, 0) + ".." + Signed(n.High, 0)),
		Number(n.Low, 1), Number(n.High, 1),
		Number(n.Target, 1), Number(n.Slide, 1), Number(n.Throw, 1),
		Cents(n.Left, 1), index(n.Help),
		Drawn(func(s Style, width int) string { return Bar(s, width, n.Cents, n.Low, n.High, scale) }),
		index(n.HelpMeasured),
	}
}

// index is a cell with a harmonic support; empty when it is not known.
func index(support *float64) Cell {
	if support == nil {
		return Cell{}
	}
	return Number(*support, 2)
}

// Share is a cell with a part of a deviation: signed, not coloured.
func Share(v float64) Cell { return Cell{short: Signed(v, 1), full: full(v)} }

// Explanation draws a prediction for people: the table of notes, how to read
// it, and what it says in sentences.
func Explanation(w io.Writer, s Style, x *match.Explanation, concert bool) error {
	if _, err := fmt.Fprintf(w, "%s\n\n", s.Paint(Strong, setupOf(x))); err != nil {
		return err
	}
	table := NoteTable(x, concert)
	if err := table.Write(w, s); err != nil {
		return err
	}
	return Sentences(w, s, append([]string{noteLegend(s, table, x)}, ExplanationSentences(x)...))
}

// noteLegend says how to read the table of notes, as far as it is drawn.
func noteLegend(s Style, t *Table, x *match.Explanation) string {
	optional := func(title, text string) string {
		if t.Shows(s, title) {
			return text
		}
		return ""
	}
	pair := optional("pair", " + pair")
	if largest := largestPair(x); pair == "" && largest >= 0.05 {
		pair = fmt.Sprintf(" + pair (what the two do together, %.1f at most, drawn on a wider terminal)", largest)
	}
	text := fmt.Sprintf("Cents, + sharp, - flat. horn + mouthpiece%s%s = sum; sum%s%s%s = left, which the lip must do.",
		optional("player", " + player"), pair, optional("target", " - target"), optional("slide", " - slide"), optional("throw", " - throw"))
	return text + optional(barTitle, fmt.Sprintf(" The bar is the sum, its shade the 80 %% interval, to %.0f cents on either side.", noteScale(x.Notes)))
}

// largestPair is the largest share of the pair; below 0.05 it is printed as nought.
func largestPair(x *match.Explanation) float64 {
	largest := 0.0
	for _, n := range x.Notes {
		largest = max(largest, math.Abs(n.Pair))
	}
	return largest
}

// ExplanationSentences is what a prediction says in words.
func ExplanationSentences(x *match.Explanation) []string {
	var out []string
	for _, text := range append([]string{slideLine(x)}, append(x.Words, supportLine(x), wideLine(x))...) {
		if text != "" {
			out = append(out, text)
		}
	}
	return out
}

// Sentences prints each text as a paragraph of its own, after an empty line.
func Sentences(w io.Writer, s Style, texts []string) error {
	if _, err := fmt.Fprintln(w); err != nil {
		return err
	}
	for _, text := range texts {
		if _, err := fmt.Fprintln(w, Wrap(Clean(text), s.Columns(), "", "  ")); err != nil {
			return err
		}
	}
	return nil
}

// slideMM is the least way of the tuning slide worth a word: less can't be set
// by hand.
const slideMM = 0.5

func slideLine(x *match.Explanation) string {
	direction := "out"
	if x.SlideMM < 0 {
		direction = "in"
	}
	if math.Abs(x.SlideMM) < slideMM {
		return ""
	}
	return fmt.Sprintf("Slide: the notes as a whole are best with the tuning slide %.1f mm further %s than where they average nought.", math.Abs(x.SlideMM), direction)
}

// supportLine says how well overtones find resonances, and whether that is from
// notes as they are predicted to be played or from measured resonances.
func supportLine(x *match.Explanation) string {
	const what = "how well the notes' own overtones find resonances. An index for comparing setups, not cents."
	measured := ""
	if x.Impedance != nil && x.Impedance.Support != nil {
		measured = fmt.Sprintf("by the resonances measured in %s", match.Count(x.Impedance.Sessions, "impedance session"))
	}
	switch {
	case x.Support == nil && measured == "":
		return ""
	case measured == "":
		return fmt.Sprintf("Harmonic support %.2f of 1: %s", *x.Support, what)
	case x.Support == nil:
		return fmt.Sprintf("Harmonic support %.2f of 1 %s: %s", *x.Impedance.Support, measured, what)
	}
	return fmt.Sprintf("Harmonic support %.2f of 1 by the predicted notes, %.2f %s: %s", *x.Support, *x.Impedance.Support, measured, what)
}

func wideLine(x *match.Explanation) string {
	half, wide := x.Wide()
	if !wide {
		return ""
	}
	return fmt.Sprintf("These intervals are wide: plus or minus %.0f cents on a typical note. Take this as a first guess and measure before you decide.", half)
}
