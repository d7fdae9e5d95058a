package show

import (
	"bufio"
	"encoding/csv"
	"io"
	"slices"
	"strconv"
	"strings"

	"centwise/catalog"
)

// Column is one column of a [Table].
type Column struct {
	Title string // heading on a terminal; empty: not drawn on terminals
	Name  string // heading elsewhere and in CSV; empty: drawn on terminals only
	Right bool   // numbers stand to the right
	Drop  int    // > 0: left out of a narrow terminal, the highest first
	Whole bool   // its text is not cut before other columns are left out
	// Draw columns take the width that is left, between MinDraw and MaxDraw,
	// and are filled by the cell's Draw function.
	Draw bool
}

// Columns that draw are between these widths; with less room they go.
const (
	MinDraw = 17
	MaxDraw = 61
)

// Cell is one entry of a [Table].
type Cell struct {
	short string // on a terminal
	full  string // elsewhere
	tone  Tone
	user  bool // text that a user wrote
	draw  func(s Style, width int) string
}

// Text is a cell of words that may come from a user.
func Text(s string) Cell { return TextEither(s, s) }

// TextEither is a cell of words that may come from a user and read differently
// on a terminal.
func TextEither(terminal, elsewhere string) Cell {
	return Cell{short: Clean(terminal), full: Clean(elsewhere), user: true}
}

// Words is a cell of our own words.
func Words(s string) Cell { return Cell{short: s, full: s} }

// Either is a cell that reads differently on a terminal.
func Either(terminal, elsewhere string) Cell { return Cell{short: terminal, full: elsewhere} }

// Count is a cell with a whole number.
func Count(n int) Cell { return Words(strconv.Itoa(n)) }

// Number is a cell with a number rounded to digits on a terminal.
func Number(v float64, digits int) Cell {
	return Cell{short: strconv.FormatFloat(v, 'f', digits, 64), full: full(v)}
}

// Cents is a cell with a deviation: signed, coloured, rounded to digits on a
// terminal.
func Cents(v float64, digits int) Cell {
	return Cell{short: Signed(v, digits), full: full(v), tone: ToneOf(v)}
}

// Drawn is a cell of a column that draws.
func Drawn(draw func(s Style, width int) string) Cell { return Cell{draw: draw} }

// Table is rows under columns.
type Table struct {
	Columns []Column
	Rows    [][]Cell
	// Continued leaves the heading out, off terminals: the rows go on under
	// those of another table.
	Continued bool
}

// Add appends a row.
func (t *Table) Add(cells ...Cell) { t.Rows = append(t.Rows, cells) }

// Write prints the table: aligned to the terminal, or tab-separated.
func (t *Table) Write(w io.Writer, s Style) error {
	if s.Terminal {
		return t.writeAligned(w, s)
	}
	return t.writeTabs(w)
}

func (t *Table) writeTabs(w io.Writer) error {
	out := bufio.NewWriter(w)
	columns := t.named()
	if !t.Continued {
		for i, c := range columns {
			out.WriteString(separator(i) + t.Columns[c].Name)
		}
		out.WriteByte('\n')
	}
	for _, row := range t.Rows {
		for i, c := range columns {
			out.WriteString(separator(i) + row[c].full)
		}
		out.WriteByte('\n')
	}
	return out.Flush()
}

func separator(i int) string {
	if i == 0 {
		return ""
	}
	return "\t"
}

// named lists the columns that have a name outside terminals.
func (t *Table) named() []int {
	var out []int
	for i, c := range t.Columns {
		if c.Name != "" {
			out = append(out, i)
		}
	}
	return out
}

// WriteCSV prints the table as comma-separated values with a heading.
func (t *Table) WriteCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	columns := t.named()
	record := make([]string, len(columns))
	for i, c := range columns {
		record[i] = t.Columns[c].Name
	}
	if !t.Continued {
		if err := out.Write(record); err != nil {
			return err
		}
	}
	for _, row := range t.Rows {
		for i, c := range columns {
			record[i] = row[c].full
			if row[c].user {
				record[i] = catalog.WriteCell(record[i])
			}
		}
		if err := out.Write(record); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

const gutter = "  "

// Columns of text are cut to easyText before another column is dropped, and to
// minText at worst.
const (
	easyText = 24
	minText  = 8
)

func (t *Table) writeAligned(w io.Writer, s Style) error {
	columns, widths := t.layout(s)
	out := bufio.NewWriter(w)
	out.WriteString(t.heading(columns, widths, s) + "\n")
	for _, row := range t.Rows {
		line := ""
		for i, c := range columns {
			line += gap(i) + t.drawCell(row[c], c, widths[c], s)
		}
		out.WriteString(strings.TrimRight(line, " ") + "\n")
	}
	return out.Flush()
}

// heading is the line of titles, without space at its end.
func (t *Table) heading(columns []int, widths map[int]int, s Style) string {
	for len(columns) > 0 && strings.TrimSpace(t.Columns[columns[len(columns)-1]].Title) == "" {
		columns = columns[:len(columns)-1]
	}
	line := ""
	for i, c := range columns {
		text := squareOff(t.Columns[c].Title, widths[c], t.Columns[c].Right, s.glyphs().ellipsis)
		if i == len(columns)-1 {
			text = strings.TrimRight(text, " ")
		}
		line += gap(i) + s.Paint(Strong, text)
	}
	return line
}

func gap(i int) string {
	if i == 0 {
		return ""
	}
	return gutter
}

func (t *Table) drawCell(cell Cell, column, width int, s Style) string {
	if cell.draw != nil {
		return cell.draw(s, width)
	}
	text := squareOff(cell.short, width, t.Columns[column].Right, s.glyphs().ellipsis)
	return s.Paint(cell.tone, text)
}

// layout chooses the columns that fit and their widths: long text is cut, then
// columns that may go are dropped, then text is cut further, and a column that
// draws takes what is left.
func (t *Table) layout(s Style) ([]int, map[int]int) {
	widths := map[int]int{}
	var columns []int
	for i, c := range t.Columns {
		if c.Title != "" {
			columns = append(columns, i)
			widths[i] = t.natural(i)
		}
	}
	t.shrink(columns, widths, s.Columns(), easyText)
	for total(columns, widths) > s.Columns() {
		i := t.mostDroppable(columns)
		if i < 0 {
			break
		}
		columns = slices.Delete(columns, i, i+1)
	}
	t.shrink(columns, widths, s.Columns(), minText)
	for _, c := range columns {
		if t.Columns[c].Draw {
			widths[c] = min(MaxDraw, widths[c]+s.Columns()-total(columns, widths))
		}
	}
	return columns, widths
}

// Shows reports whether the column with this title is drawn in a style.
func (t *Table) Shows(s Style, title string) bool {
	columns, _ := t.layout(s)
	return slices.ContainsFunc(columns, func(c int) bool { return t.Columns[c].Title == title })
}

// meaning says what a column holds.
type meaning struct{ title, text string }

// legend says what the columns hold that are drawn.
func (t *Table) legend(s Style, meanings ...meaning) string {
	var out []string
	for _, m := range meanings {
		if t.Shows(s, m.title) {
			out = append(out, m.title+": "+m.text)
		}
	}
	if len(out) == 0 {
		return ""
	}
	return strings.Join(out, "; ") + "."
}

func (t *Table) natural(column int) int {
	if t.Columns[column].Draw {
		return MinDraw
	}
	w := Width(t.Columns[column].Title)
	for _, row := range t.Rows {
		w = max(w, Width(row[column].short))
	}
	return w
}

func total(columns []int, widths map[int]int) int {
	sum := len(gutter) * (len(columns) - 1)
	for _, c := range columns {
		sum += widths[c]
	}
	return sum
}

func (t *Table) mostDroppable(columns []int) int {
	best := -1
	for i, c := range columns {
		if d := t.Columns[c].Drop; d > 0 && (best < 0 || d > t.Columns[columns[best]].Drop) {
			best = i
		}
	}
	return best
}

// shrink cuts the widest columns of text, none below least, until the columns
// fit into room.
func (t *Table) shrink(columns []int, widths map[int]int, room, least int) {
	for total(columns, widths) > room {
		widest := -1
		for _, c := range columns {
			col := t.Columns[c]
			if col.Whole && least > minText {
				continue
			}
			if !col.Right && !col.Draw && widths[c] > least && (widest < 0 || widths[c] > widths[widest]) {
				widest = c
			}
		}
		if widest < 0 {
			return
		}
		widths[widest]--
	}
}
