package show

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"centwise/catalog/pitch"
	"centwise/match"
)

// staffChart is a drawing of a profile on a page: notes upwards as on a staff,
// whose five lines run through it, and cents across. What lies across is placed
// in percent of the width, so that letters have the size of the page's own on
// any screen.
type staffChart struct {
	ID, Title   string
	Reading     string // how to read it
	Alternative string // the same in words
	Ticks       []chartTick
	Zone        *staffBar // what counts as in tune
	Zero        percentX
	Rows        []staffRow
	Key         []keyEntry
}

// percentX is a place across a drawing, in percent of its width.
type percentX float64

func (x percentX) String() string { return fmt.Sprintf("%.2f%%", float64(x)) }

// chartTick is a labelled place on the scale of a drawing.
type chartTick struct {
	X      percentX
	Label  string
	Anchor string // of the label: start, middle, end
}

// staffRow is a note of a chart.
type staffRow struct {
	Note, Valves string
	Value        string // signed cents
	Tone         string
	Y, TextY     float64
	At           percentX
	Low, High    percentX
	Mark         string // id of the mark at At; empty for a bar
	Bar          *staffBar
	Read         *staffRead
	Staff        *staffLine
}

// staffBar reaches across from Low.
type staffBar struct {
	Low, Wide percentX
	Y         float64
	Tone      string
}

// staffRead is what was read of a note, below what is predicted.
type staffRead struct {
	At, Low, High percentX
	Y             float64
}

// staffLine is one of the lines of the staff, or a ledger line.
type staffLine struct {
	Low, High percentX
	Y         float64
}

// keyEntry explains a mark: a bar of a tone, a whisker, or a mark by its id.
type keyEntry struct {
	Bar, Mark string
	Whisker   bool
	Text      string
}

// Sizes of a staff chart: down in pixels, across in percent of the width.
const (
	staffTop   = 22.0 // first row begins
	staffPitch = 15.5 // from row to row
	staffRoom  = 18.0 // below the last row
	fingerEnd  = 19.5 // where fingerings end
	plotLeft   = 22.0
	plotRight  = 86.0
)

// Top, Bottom and Deep bound the rows; HeadY and FootY are the lines of the
// scale's numbers.
func (c *staffChart) Top() float64      { return staffTop }
func (c *staffChart) Bottom() float64   { return staffTop + staffPitch*float64(len(c.Rows)) }
func (c *staffChart) Deep() float64     { return c.Bottom() - c.Top() }
func (c *staffChart) HeadY() float64    { return staffTop - 7 }
func (c *staffChart) FootY() float64    { return c.Bottom() + 14 }
func (c *staffChart) Height() float64   { return c.Bottom() + staffRoom }
func (*staffChart) FingerX() percentX   { return fingerEnd }
func rowY(i int) float64                { return staffTop + staffPitch*(float64(i)+0.5) }
func (r *staffRow) place(i int)         { r.Y, r.TextY = rowY(i), rowY(i)+4 }
func (b staffBar) Right() percentX      { return b.Low + b.Wide }
func textTone(cents float64) string     { return toneTexts[ToneOf(cents)] }
func typographic(text string) string    { return strings.ReplaceAll(text, "-", "−") }
func signed(v float64, n int) string    { return typographic(Signed(v, n)) }
func interval(low, high float64) string { return signed(low, 0) + " to " + signed(high, 0) }

var (
	toneNames = map[Tone]string{Plain: "plain", Sharp: "sharp", Flat: "flat"}
	toneTexts = map[Tone]string{Plain: "plain-text", Sharp: "sharp-text", Flat: "flat-text"}
)

// staffNote is a note to draw; Read is what was measured, if anything.
type staffNote struct {
	Note, Valves     string
	Cents, Low, High float64
	Read             *match.ReadNote
}

// staffKind is what a staff chart shows.
type staffKind int

const (
	staffLeft  staffKind = iota // what is left, as bars from nought
	staffPlays                  // how notes come, as marks
	staffMoves                  // how notes are moved, as marks
)

// toneOf is the tone of a note: sharp or flat by more than what is in tune, or
// surely moved up or down.
func (k staffKind) toneOf(n staffNote) Tone {
	switch {
	case k != staffMoves:
		return ToneOf(n.Cents)
	case n.Low > 0:
		return Sharp
	case n.High < 0:
		return Flat
	}
	return Plain
}

// newStaffChart draws notes, given upwards.
func newStaffChart(notes []staffNote, kind staffKind) staffChart {
	var all []float64
	for _, n := range notes {
		all = append(all, n.Cents, n.Low, n.High)
		if n.Read != nil {
			all = append(all, n.Read.Low, n.Read.High)
		}
	}
	scale := newCentScale(all)
	c := staffChart{Ticks: scale.ticks(), Zero: scale.at(0), Alternative: kind.inWords(notes), Key: kind.key()}
	if kind != staffMoves {
		zone := scale.between(-InTuneCents, InTuneCents)
		c.Zone = &zone
	}
	for i, n := range slices.Backward(notes) {
		row := staffRow{
			Note: n.Note, Valves: valveNames(n.Valves), Value: signed(n.Cents, 1), Tone: toneNames[kind.toneOf(n)],
			At: scale.at(n.Cents), Low: scale.at(n.Low), High: scale.at(n.High),
		}
		row.place(len(notes) - 1 - i)
		row.Staff = scale.staffLine(n.Note, row.Y)
		if kind == staffLeft {
			bar := scale.between(min(0, n.Cents), max(0, n.Cents))
			bar.Y, bar.Tone = row.Y-4.5, row.Tone
			row.Bar = &bar
		} else {
			row.Mark = row.Tone
		}
		if r := n.Read; r != nil {
			row.Read = &staffRead{At: scale.at(r.Cents), Low: scale.at(r.Low), High: scale.at(r.High), Y: row.Y + 4}
			row.Y -= 2.5
		}
		c.Rows = append(c.Rows, row)
	}
	return c
}

// valveNames are valves the way players say them.
func valveNames(digits string) string {
	v, err := pitch.ParseValves(digits)
	if err != nil {
		return digits
	}
	return Fingering(v)
}

// centScale places cents across a staff chart.
type centScale struct{ low, high, step float64 }

// newCentScale makes a scale that holds all values and what is in tune, with at
// most seven numbers.
func newCentScale(all []float64) centScale {
	low, high := -2*InTuneCents, 2*InTuneCents
	for _, v := range all {
		low, high = min(low, v), max(high, v)
	}
	return centScale{math.Floor(low/5) * 5, math.Ceil(high/5) * 5, roundStep(5, (high-low)/6)}
}

// roundStep is the least of 1, 2, 5, 10, 20, 50 ... that is no less than either
// of two.
func roundStep(least, enough float64) float64 {
	for decade := 1.0; ; decade *= 10 {
		for _, step := range []float64{decade, 2 * decade, 5 * decade} {
			if step >= least && !(step < enough) {
				return step
			}
		}
	}
}

func (s centScale) at(cents float64) percentX {
	return percentX(plotLeft + (plotRight-plotLeft)*(cents-s.low)/(s.high-s.low))
}

func (s centScale) between(low, high float64) staffBar {
	return staffBar{Low: s.at(low), Wide: s.at(high) - s.at(low)}
}

func (s centScale) ticks() []chartTick {
	var out []chartTick
	for k := math.Ceil(s.low / s.step); k*s.step <= s.high; k++ {
		out = append(out, chartTick{X: s.at(k * s.step), Label: signed(k*s.step, 0), Anchor: "middle"})
	}
	return out
}

// Lines of the treble staff, and the ledger lines above and below it within the
// usual range (common practice).
var (
	staffNotes  = []string{"E4", "G4", "B4", "D5", "F5"}
	ledgerNotes = []string{"A3", "C4", "A5", "C6", "E6", "G6"}
)

// staffLine is the line on which a note stands, nil if it stands on none. A
// ledger line is short, at nought.
func (s centScale) staffLine(note string, y float64) *staffLine {
	switch {
	case slices.Contains(staffNotes, note):
		return &staffLine{plotLeft, plotRight, y}
	case slices.Contains(ledgerNotes, note):
		const half = 5
		return &staffLine{max(plotLeft, s.at(0)-half), min(plotRight, s.at(0)+half), y}
	}
	return nil
}

// words name what is right, left and in the middle of a chart: in its key, and
// before the notes in its text alternative.
func (k staffKind) words() (sharp, flat, plain string) {
	if k == staffMoves {
		return "raised", "lowered", "not sure"
	}
	return "sharp", "flat", fmt.Sprintf("within %.0f cents", InTuneCents)
}

// inWords says which notes of a chart lie to which side.
func (k staffKind) inWords(notes []staffNote) string {
	listed := map[Tone][]string{}
	for _, n := range notes {
		tone := k.toneOf(n)
		listed[tone] = append(listed[tone], fmt.Sprintf("%s %s (%s)", n.Note, signed(n.Cents, 0), interval(n.Low, n.High)))
	}
	sharp, flat, plain := k.words()
	var out []string
	for _, side := range []struct {
		name string
		tone Tone
	}{{sharp, Sharp}, {flat, Flat}} {
		if list := listed[side.tone]; len(list) > 0 {
			out = append(out, fmt.Sprintf("%s: %s.", capital(side.name), strings.Join(list, ", ")))
		}
	}
	return strings.Join(append(out, fmt.Sprintf("%s: %s of %d.", capital(plain), match.Count(len(listed[Plain]), "note"), len(notes))), " ")
}

// capital is a text with a capital first.
func capital(text string) string {
	first, n := utf8.DecodeRuneInString(text)
	if n == 0 {
		return text
	}
	return string(unicode.ToUpper(first)) + text[n:]
}

// key explains the marks of a chart.
func (k staffKind) key() []keyEntry {
	sharp, flat, plain := k.words()
	entry := func(mark, text string) keyEntry {
		if k == staffLeft {
			return keyEntry{Bar: mark, Text: text}
		}
		return keyEntry{Mark: mark, Text: text}
	}
	return []keyEntry{entry("sharp", sharp), entry("flat", flat), entry("plain", plain), {Whisker: true, Text: "80 % interval"}}
}

// errorScale places errors, which begin at nought, across a drawing. It reaches
// to what all of them need and to the tolerance.
type errorScale struct{ high, step float64 }

func newErrorScale(tolerance float64, all ...float64) errorScale {
	high := 1.25 * tolerance
	for _, v := range all {
		high = max(high, 1.05*v)
	}
	return errorScale{high, roundStep(1, high/7)}
}

func (s errorScale) at(cents float64) percentX { return percentX(100 * cents / s.high) }

func (s errorScale) ticks() []chartTick {
	var out []chartTick
	for k := 0.0; k*s.step <= s.high; k++ {
		t := chartTick{X: s.at(k * s.step), Label: fmt.Sprintf("%.0f", k*s.step), Anchor: "middle"}
		switch {
		case k == 0:
			t.Anchor = "start"
		case t.X > 96:
			t.Anchor = "end"
		}
		out = append(out, t)
	}
	return out
}
