package show

import (
	"fmt"
	"math"
	"strings"

	"centwise/catalog/pitch"
	"centwise/match"
	"centwise/match/protocol"
)

// SpreadTable lists the readings of a sitting note by note: their median and
// how far they lie apart.
func SpreadTable(spread protocol.Spread) *Table {
	t := &Table{Columns: []Column{
		{Title: "note", Name: "note"}, {Title: "valves", Name: "fingering"}, {Name: "partial", Right: true},
		{Title: "readings", Name: "readings", Right: true, Drop: 1}, {Title: "cents", Name: "cents", Right: true},
		{Title: "apart", Name: "spread", Right: true}, {Title: barTitle, Draw: true, Drop: 2},
	}}
	var all []float64
	for _, n := range spread.Notes {
		all = append(all, n.Cents-n.Spread/2, n.Cents+n.Spread/2)
	}
	scale := Scale(all)
	for _, n := range spread.Notes {
		apart := Cell{full: full(n.Spread)}
		if n.Readings > 1 {
			apart = Number(n.Spread, 1)
		}
		t.Add(Words(n.Slot.Note().String()), Words(n.Slot.Valves.String()), Count(n.Slot.Partial), Count(n.Readings), Cents(n.Cents, 1), apart,
			Drawn(func(s Style, width int) string {
				return Bar(s, width, n.Cents, n.Cents-n.Spread/2, n.Cents+n.Spread/2, scale)
			}))
	}
	return t
}

// SpreadWords say how the rounds agree, in sentences.
func SpreadWords(spread protocol.Spread) []string {
	var out []string
	if spread.SD > 0 {
		text := fmt.Sprintf("A single reading scatters by %.1f cents (standard deviation)", spread.SD)
		if wide := widest(spread.Notes); wide != "" {
			text += "; widest apart: " + wide
		}
		out = append(out, text+".")
	}
	if last := len(spread.Drift) - 1; last > 0 && math.Abs(spread.Drift[last]) >= 2 {
		way := "higher"
		if spread.Drift[last] < 0 {
			way = "lower"
		}
		out = append(out, fmt.Sprintf("All notes together ended %.0f cents %s than they began, which happens as a horn warms up or a player tires; it is allowed for.",
			math.Abs(spread.Drift[last]), way))
	}
	if len(spread.Skipped) > 0 {
		out = append(out, fmt.Sprintf("Without a reading: %s.", someSlots(spread.Skipped)))
	}
	return out
}

// wideApart is the distance of a note's readings from which on it is named.
const wideApart = 10.0

// widest names the notes whose readings lie farthest apart, at most three.
func widest(notes []protocol.NoteSpread) string {
	var parts []string
	used := map[int]bool{}
	for range 3 {
		best := -1
		for i, n := range notes {
			if !used[i] && n.Spread >= wideApart && (best < 0 || n.Spread > notes[best].Spread) {
				best = i
			}
		}
		if best < 0 {
			break
		}
		used[best] = true
		parts = append(parts, fmt.Sprintf("%s %.0f cents", notes[best].Slot.Note(), notes[best].Spread))
	}
	return strings.Join(parts, ", ")
}

// someSlots names a few slots and counts the others.
func someSlots(slots []pitch.Slot) string {
	const few = 6
	var names []string
	for i, s := range slots {
		if i == few {
			names = append(names, match.Count(len(slots)-few, "more note"))
			break
		}
		names = append(names, fmt.Sprintf("%s (%s)", s.Note(), Fingering(s.Valves)))
	}
	return strings.Join(names, ", ")
}

// Fingering names pressed valves the way players say them: open, 1-3.
func Fingering(v pitch.Valves) string {
	if v == 0 {
		return "open"
	}
	return strings.Join(strings.Split(v.String(), ""), "-")
}
