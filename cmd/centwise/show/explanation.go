package show

import (
	"fmt"
	"io"
	"slices"

	"centwise/match"
)

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
		{Title: "pair", Name: "pair", Right: true, Drop: 4},
		{Title: "sum", Name: "cents", Right: true},
		{Name: "sd", Right: true},
		{Title: "80 % interval", Right: true, Drop: 2},
		{Name: "low", Right: true}, {Name: "high", Right: true},
		{Title: title(x.Temperament != "equal", "target"), Name: "target", Right: true, Drop: 1},
		{Title: "slide", Name: "slide", Right: true, Drop: 1},
		{Title: "throw", Name: "throw", Right: true, Drop: 1},
		{Title: "left", Name: "left", Right: true},
		{Name: "support", Right: true},
		{Title: "flat | sharp", Draw: true, Drop: 3},
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
	support := ""
	if n.Help != nil {
		support = full(*n.Help)
	}
	return []Cell{
		Words(n.Note), Words(n.Concert), Words(n.Valves), Count(n.Partial),
		Share(n.Horn), Share(n.Mouthpiece), Share(n.Player), Share(n.Pair),
		Cents(n.Cents, 1), Number(n.SD, 1),
		Words(Signed(n.Low, 0) + ".." + Signed(n.High, 0)),
		Number(n.Low, 1), Number(n.High, 1),
		Number(n.Target, 1), Number(n.Slide, 1), Number(n.Throw, 1),
		Cents(n.Left, 1), Words(support),
		Drawn(func(s Style, width int) string { return Bar(s, width, n.Cents, n.Low, n.High, scale) }),
	}
}

// Share is a cell with a part of a deviation: signed, not coloured.
func Share(v float64) Cell { return Cell{short: Signed(v, 1), full: full(v)} }

// Explanation draws a prediction for people: the table of notes, how to read
// it, and what it says in sentences.
func Explanation(w io.Writer, s Style, x *match.Explanation, concert bool) error {
	who := "a typical player"
	if x.Player != "" {
		who = x.Player
	}
	heading := fmt.Sprintf("%s with %s, played by %s", Clean(x.Horn), Clean(x.Mouthpiece), Clean(who))
	if _, err := fmt.Fprintf(w, "%s\n\n", s.Paint(Strong, heading)); err != nil {
		return err
	}
	if err := NoteTable(x, concert).Write(w, s); err != nil {
		return err
	}
	target := title(x.Temperament != "equal", " - target")
	legend := fmt.Sprintf("Cents, + sharp, - flat. horn + mouthpiece%s + pair = sum; sum%s - slide - throw = left, which the lip must do. "+
		"The bar (on a terminal wide enough) is the sum, its shade the 80 %% interval, either side of nought to %.0f cents.", title(x.Player != "", " + player"), target, noteScale(x.Notes))
	return Sentences(w, s, append([]string{legend}, ExplanationSentences(x)...))
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

func slideLine(x *match.Explanation) string {
	switch {
	case x.SlideMM > 0.05:
		return fmt.Sprintf("Slide: this profile is in tune as a whole with the tuning slide %.1f mm further out than where its notes average nought.", x.SlideMM)
	case x.SlideMM < -0.05:
		return fmt.Sprintf("Slide: this profile is in tune as a whole with the tuning slide %.1f mm further in than where its notes average nought.", -x.SlideMM)
	}
	return ""
}

func supportLine(x *match.Explanation) string {
	if x.Support == nil {
		return ""
	}
	return fmt.Sprintf("Harmonic support %.2f of 1: how well the notes' own overtones find resonances. An index for comparing setups, not cents.", *x.Support)
}

// wideCents is the half width of the typical 80 % interval above which a
// prediction is said to be wide: horn, mouthpiece and player that are not known
// at all give about 9 cents, well measured ones less than 5.
const wideCents = 6.0

func wideLine(x *match.Explanation) string {
	var widths []float64
	for _, n := range x.Notes {
		widths = append(widths, (n.High-n.Low)/2)
	}
	if len(widths) == 0 {
		return ""
	}
	slices.Sort(widths)
	typical := widths[len(widths)/2]
	if typical < wideCents {
		return ""
	}
	return fmt.Sprintf("These intervals are wide: plus or minus %.0f cents on a typical note. Take this as a first guess and measure before you decide.", typical)
}
