package show

import (
	"fmt"
	"strconv"
	"strings"

	"centwise/match"
)

// Residuals is a report on residuals, to be shown.
type Residuals struct {
	*match.ResidualReport
	Files  map[string]string // the drawings, by their names
	Folder string
}

// Table has a line for every check.
func (r Residuals) Table() *Table {
	t := &Table{Columns: []Column{
		{Title: "what is asked", Name: "question", Whole: true},
		{Title: "found", Name: "found", Right: true},
		{Title: "if it holds", Name: "expected", Right: true},
		{Title: "chance", Name: "chance", Right: true, Drop: 1},
		{Title: "holds", Name: "holds"},
		{Title: "farthest off", Name: "where", Drop: 2},
		{Title: "drawing", Name: "plot", Drop: 3},
	}}
	for _, c := range r.Checks {
		plot := ""
		if r.Files[c.Plot] != "" {
			plot = c.Plot + ".svg"
		}
		t.Add(Words(c.Question), checkCell(c.Found), checkCell(c.Expected), checkCell(c.Chance),
			Words(pick(c.Holds(), "yes", "look")), Text(c.Where), Either(plot, r.Files[c.Plot]))
	}
	return t
}

// checkCell writes a number of a check; what rounds to zero has no sign.
func checkCell(v float64) Cell {
	short := strconv.FormatFloat(v, 'f', 2, 64)
	if strings.Trim(short, "-0.") == "" {
		short = strings.TrimPrefix(short, "-")
	}
	return Either(short, full(v))
}

// Sentences say how to read the table and where the drawings are.
func (r Residuals) Sentences() []string {
	if len(r.Checks) == 0 {
		return []string{"There are no readings yet: nothing can be checked, and nothing was drawn."}
	}
	off := 0
	for _, c := range r.Checks {
		if !c.Holds() {
			off++
		}
	}
	verdict := "All that is assumed holds here, or departs from it too little to matter."
	if off > 0 {
		verdict = fmt.Sprintf("Of %s %d differ by more than chance explains and enough to matter: look at the drawings before you trust intervals to the last cent.",
			match.Count(len(r.Checks), "check"), off)
	}
	return []string{
		fmt.Sprintf("Residuals of %s. Chance: standard deviation of what is found if the assumption holds. A spread of 1 is what the fit learned; "+
			"slips count for little except in the law as a whole.", match.Count(r.All.Readings, "reading")),
		verdict,
		fmt.Sprintf("Drawn into %s: %s.", Clean(r.Folder), match.Count(len(r.Files), "drawing")),
	}
}

// Field is the report as a member of JSON.
func (r Residuals) Field() Field {
	checks := []Fields{}
	for _, c := range r.Checks {
		var plot any
		if file := r.Files[c.Plot]; file != "" {
			plot = file
		}
		checks = append(checks, Fields{{"check", c.Name}, {"question", c.Question}, {"found", c.Found}, {"expected", c.Expected},
			{"chance", c.Chance}, {"unit", c.Unit}, {"holds", c.Holds()}, {"where", c.Where}, {"plot", plot}})
	}
	return Field{"residuals", Fields{{"checks", checks}}}
}
