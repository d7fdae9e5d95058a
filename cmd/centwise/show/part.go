package show

import (
	"fmt"
	"io"
	"math"
	"strings"
)

// PartNote is one written note of a player's part.
type PartNote struct {
	Note    string  `json:"note"`
	Valves  string  `json:"valves"` // the usual fingering
	Partial int     `json:"partial"`
	Times   int     `json:"times"` // struck
	Seconds float64 `json:"seconds"`
	Share   float64 `json:"share"` // of the time that counts, 0..1
}

// Part draws a part under its name.
func Part(w io.Writer, s Style, name string, notes []PartNote) error {
	if _, err := fmt.Fprintf(w, "%s\n\n", s.Paint(Strong, Clean(name))); err != nil {
		return err
	}
	return PartTable(notes).Write(w, s)
}

// PartTable lays a part out a line a note, with a bar for its share of the time.
func PartTable(notes []PartNote) *Table {
	t := &Table{Columns: []Column{
		{Title: "note", Name: "note"},
		{Title: "valves", Name: "valves"},
		{Name: "partial", Right: true},
		{Title: "times", Name: "times", Right: true, Drop: 1},
		{Title: "seconds", Name: "seconds", Right: true},
		{Title: "share", Right: true},
		{Name: "share", Right: true},
		{Title: " ", Draw: true, Drop: 2},
	}}
	most := 0.0
	for _, n := range notes {
		most = max(most, n.Share)
	}
	for _, n := range notes {
		t.Add(Words(n.Note), Words(n.Valves), Count(n.Partial), Count(n.Times), Number(n.Seconds, 1),
			Words(Percent(n.Share)), Number(n.Share, 4),
			Drawn(func(s Style, width int) string { return length(s, width, n.Share/most) }))
	}
	return t
}

// Percent writes a share in whole percent, or as below one.
func Percent(share float64) string {
	if share > 0 && share < 0.005 {
		return "<1 %"
	}
	return Number(100*share, 0).short + " %"
}

// length draws a share of width as a bar from the left, to half a column.
func length(s Style, width int, share float64) string {
	g := s.glyphs()
	halves := int(math.Round(2 * float64(width) * share))
	bar := strings.Repeat(g.full, halves/2)
	if halves%2 == 1 {
		bar += g.halfRight
	}
	return s.Paint(Strong, bar)
}
