package show

import (
	"fmt"
	"strings"

	"centwise/match"
)

// AdjustTable lists adjustments, a line each, the best combination last.
func AdjustTable(a *match.Adjusted) *Table {
	t := &Table{Columns: []Column{
		{Title: "adjustment", Name: "adjustment", Whole: true}, {Title: "can be undone", Name: "reversible", Drop: 2},
		{Title: "error", Name: "error_cents", Right: true}, {Title: "gain", Name: "gain_cents", Right: true},
		{Title: "", Name: "uncertain"}, {Title: "", Name: "measurable"},
		{Title: "improves", Name: "improves", Drop: 1}, {Title: "spoils", Name: "spoils", Drop: 1},
	}}
	add := func(name string, reversible, uncertain bool, o match.Outcome) {
		undone := "yes"
		if !reversible {
			undone = "no"
		}
		short := name
		if uncertain {
			short += " (uncertain)"
		}
		t.Add(Either(short, name), Either(undone, fmt.Sprint(reversible)), Number(o.ErrorCents, 1), gainCell(o),
			Words(fmt.Sprint(uncertain)), Words(fmt.Sprint(o.Measurable)), noteList(o.Improved), noteList(o.Spoilt))
	}
	for _, c := range a.Changes {
		add(c.Name(), c.Reversible, c.Uncertain, c.Outcome)
	}
	if a.Best != nil {
		add("best combination", true, false, a.Best.Outcome)
	}
	return t
}

// gainCell shows a gain; on terminals one below measurement stands in brackets.
func gainCell(o match.Outcome) Cell {
	text := Signed(o.Gain, 1)
	if !o.Measurable {
		text = "(" + text + ")"
	}
	return Cell{short: text, full: full(o.Gain)}
}

// shownNotes is how many notes a line of a table names.
const shownNotes = 4

func noteList(notes []string) Cell {
	all := strings.Join(notes, " ")
	if len(notes) <= shownNotes {
		return Words(all)
	}
	return Either(fmt.Sprintf("%s +%d", strings.Join(notes[:shownNotes], " "), len(notes)-shownNotes), all)
}

// ShiftTable lists shifts, a line an adjustment and note.
func ShiftTable(a *match.Adjusted) *Table {
	t := &Table{Columns: []Column{
		{Name: "adjustment"}, {Name: "step"}, {Name: "unit"}, {Name: "reversible"}, {Name: "uncertain"},
		{Name: "note"}, {Name: "valves"}, {Name: "partial"}, {Name: "shift_cents"}, {Name: "left"}, {Name: "error_cents"},
	}}
	add := func(what string, step float64, unit string, reversible, uncertain bool, o match.Outcome) {
		for j, n := range a.Notes {
			t.Add(Words(what), Number(step, 2), Words(unit), Words(fmt.Sprint(reversible)), Words(fmt.Sprint(uncertain)),
				Words(n.Note), Words(n.Valves), Count(n.Partial), Cents(o.Cents[j], 2), Cents(o.Left[j], 2), Number(o.ErrorCents, 2))
		}
	}
	for _, c := range a.Changes {
		add(c.What, c.Step, c.Unit, c.Reversible, c.Uncertain, c.Outcome)
	}
	if a.Best != nil {
		add("best combination", 0, "", true, false, a.Best.Outcome)
	}
	return t
}

// ShiftMatrix shows shifts, a line an adjustment and a column a note, then the
// error after it, for terminals.
func ShiftMatrix(a *match.Adjusted) *Table {
	t := &Table{Columns: []Column{{Title: "adjustment", Whole: true}, {Title: "error", Right: true}}}
	for j, n := range a.Notes {
		t.Columns = append(t.Columns, Column{Title: n.Note, Right: true, Drop: dropOfNote(j)})
	}
	add := func(name string, o match.Outcome) {
		row := []Cell{Words(name), Number(o.ErrorCents, 1)}
		for _, cents := range o.Cents {
			row = append(row, Cents(cents, 0))
		}
		t.Add(row...)
	}
	for _, c := range a.Changes {
		add(c.Name(), c.Outcome)
	}
	if a.Best != nil {
		add("best combination", a.Best.Outcome)
	}
	return t
}

// dropOfNote is when a narrow terminal leaves a note out: every other one first,
// then every other one of the rest, so that what stays covers the range.
func dropOfNote(j int) int {
	drop := 6
	for step := 2; step <= 32 && j%step == 0; step *= 2 {
		drop--
	}
	return max(drop, 1)
}
