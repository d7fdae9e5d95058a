package sheet

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"centwise/catalog"
)

// Problem is one thing that is wrong in a sheet, and where.
type Problem struct {
	File   string `json:"file"`
	Sheet  string `json:"sheet,omitempty"`  // of a workbook
	Line   int    `json:"line,omitempty"`   // as an editor counts, from 1; the row of a workbook; 0 = the file as a whole
	Column string `json:"column,omitempty"` // name of the column
	Value  string `json:"value,omitempty"`  // of the cell, shortened
	What   string `json:"what"`
	Hint   string `json:"hint,omitempty"` // what to do

	order int // of the file among those imported
}

// String is the problem on one line, as in
//
//	visits.csv:7: cents "x" is not a number (write it as in -3.5)
func (p Problem) String() string {
	var b strings.Builder
	b.WriteString(p.place() + ": ")
	if p.Column != "" {
		b.WriteString(p.Column + " ")
	}
	if p.Value != "" {
		fmt.Fprintf(&b, "%q ", p.Value)
	}
	b.WriteString(p.What)
	if p.Hint != "" {
		b.WriteString(" (" + p.Hint + ")")
	}
	return b.String()
}

func (p Problem) place() string {
	s := p.File
	if p.Sheet != "" {
		s += " [" + p.Sheet + "]"
	}
	if p.Line > 0 {
		s = fmt.Sprintf("%s:%d", s, p.Line)
	}
	return s
}

// Problems is everything that is wrong in the sheets of one import; nothing was
// written. It is an error of kind [catalog.Invalid].
type Problems struct {
	List  []Problem // the first thousand or two, labels first, then by file and line
	Count int       // of all
}

// printed is how many problems an error text spells out, and kept how many of
// one sort are remembered at all.
const (
	printed = 50
	kept    = 1000
)

func (ps *Problems) Error() string {
	if ps.Count == 1 && len(ps.List) == 1 {
		return ps.List[0].String()
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%d problems, nothing was written", ps.Count)
	shown := ps.List[:min(printed, len(ps.List))]
	for _, p := range shown {
		b.WriteString("\n  " + p.String())
	}
	if more := ps.Count - len(shown); more > 0 {
		fmt.Fprintf(&b, "\n  and %d more", more)
	}
	return b.String()
}

// Unwrap makes the kind of the error known to [catalog.KindOf].
func (ps *Problems) Unwrap() error {
	return catalog.Errorf(catalog.Invalid, "correct the sheet and import it again", "%d problems in the sheet", ps.Count)
}

// collector gathers problems in bounded memory.
type collector struct {
	labels []Problem // unknown labels, which each stand for many rows
	rows   []Problem
	count  int
}

func (c *collector) add(p Problem) {
	c.count++
	if len(c.rows) < kept {
		p.Value = shortened(p.Value)
		c.rows = append(c.rows, p)
	}
}

func (c *collector) addLabel(p Problem) {
	c.count++
	if len(c.labels) < kept {
		p.Value = shortened(p.Value)
		c.labels = append(c.labels, p)
	}
}

// err is the [*Problems] gathered, nil if there are none.
func (c *collector) err() error {
	if c.count == 0 {
		return nil
	}
	for _, list := range [][]Problem{c.labels, c.rows} {
		slices.SortStableFunc(list, func(a, b Problem) int {
			return cmp.Or(cmp.Compare(a.order, b.order), cmp.Compare(a.Line, b.Line))
		})
	}
	return &Problems{List: append(c.labels, c.rows...), Count: c.count}
}

// shortened cuts what a user typed to a length that fits a message.
func shortened(s string) string {
	const limit = 60
	if utf8.RuneCountInString(s) <= limit {
		return s
	}
	return string([]rune(s)[:limit-3]) + "..."
}
