package sheet

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"centwise/catalog"
)

// rowReader reads a sheet of rows with named cells that is no import: what is
// wrong with it comes as one error.
type rowReader struct {
	noun        string   // what the sheet is, as in: class list
	columns     []string // known ones
	required    []string // of these
	ignoreExtra bool

	table *table
	found collector
	at    map[string]int // place of each column that is there
	cells []string       // of the row being read
}

// cell is the text in a column of the row, empty if there is no such column.
func (r *rowReader) cell(column string) string {
	if at, ok := r.at[column]; ok {
		return strings.Clone(catalog.NormalLabel(catalog.ReadCell(r.cells[at])))
	}
	return ""
}

// wrong reports what is wrong with a cell of the row.
func (r *rowReader) wrong(column, what, hint string) {
	line := r.table.src.lineOf(max(0, r.at[column]))
	r.found.add(r.table.problem(line, column, r.cell(column), what, hint))
}

// read calls use for every row, and gives the problems of all as one error.
func (r *rowReader) read(f File, use func(line int)) error {
	r.table = &table{file: f.Name, ignoreExtra: r.ignoreExtra}
	rows, err := r.rows(f, use)
	var s *stop
	if errors.As(err, &s) {
		r.found.add(r.table.problem(s.line, "", "", s.what, s.hint))
	} else if err != nil {
		return &catalog.Error{Kind: catalog.Unavailable, What: "reading " + f.Name, Hint: "check the file and its permissions", Err: err}
	}
	if r.found.count == 0 && rows == 0 {
		r.found.add(r.table.problem(0, "", "", "has no rows", "write a row below the header for each student"))
	}
	return oneError(f.Name, &r.found)
}

func (r *rowReader) rows(f File, use func(line int)) (int, error) {
	if isFolder(f.Content) {
		return 0, &stop{0, "is a folder", "name a file in it"}
	}
	t := r.table
	odd, err := t.open(bufio.NewReaderSize(f.Content, 64<<10), "", r.columnsIn)
	if t.src != nil {
		defer t.src.close()
	}
	t.oddities(odd, &r.found)
	if err != nil || odd.any() {
		return 0, err
	}
	if ok, err := r.header(); err != nil || !ok {
		return 0, err
	}
	return t.each(context.Background(), catalog.NoCounter{}, &r.found, func(row row) {
		r.cells = row.cells
		use(row.line)
	})
}

func (r *rowReader) firstLine() string {
	return "give it a first line like: " + strings.Join(r.columns[:min(4, len(r.columns))], ",")
}

// column is the known column of a title, "" if there is none.
func (r *rowReader) column(title string) string {
	at := slices.IndexFunc(r.columns, func(name string) bool { return foldColumn(name) == foldColumn(title) })
	if at < 0 {
		return ""
	}
	return r.columns[at]
}

func (r *rowReader) columnsIn(header []string) (n int) {
	for _, title := range header {
		if r.column(title) != "" {
			n++
		}
	}
	return n
}

// header finds the places of the columns; false after a problem.
func (r *rowReader) header() (bool, error) {
	t := r.table
	first, err := t.src.next()
	for err == nil && (first.empty() || first.separator()) {
		first, err = t.src.next()
	}
	var bad *badRow
	switch {
	case err == io.EOF:
		return false, &stop{0, "is empty", r.firstLine()}
	case errors.As(err, &bad):
		r.found.add(t.problem(bad.line, "", "", bad.what, bad.hint))
		return false, nil
	case err != nil:
		return false, err
	}
	t.headRow, t.layout, r.at = first.line, layout{form: gearForm, width: len(first.cells)}, map[string]int{}
	for i, cell := range first.cells {
		r.title(i, strings.TrimSpace(catalog.ReadCell(cell)))
	}
	for _, name := range r.required {
		if _, ok := r.at[name]; !ok {
			r.found.add(t.problem(first.line, name, "", "is a column that is missing", r.firstLine()))
		}
	}
	return r.found.count == 0, nil
}

// title takes a title for a column.
func (r *rowReader) title(i int, title string) {
	name := r.column(title)
	_, twice := r.at[name]
	switch {
	case title == "":
		r.table.layout.unnamed = append(r.table.layout.unnamed, i)
	case name == "" && !r.ignoreExtra:
		hint := "rename or remove the column, or pass over it with --ignore-extra"
		if near := nearestColumn(title, r.columns); near != "" {
			hint = fmt.Sprintf("did you mean %s? Otherwise pass over it with --ignore-extra", near)
		}
		r.found.add(r.table.problem(r.table.headRow, "", "", fmt.Sprintf("has a column %q, which is not known in a %s", shortened(title), r.noun), hint))
	case name == "":
	case twice:
		r.found.add(r.table.problem(r.table.headRow, name, "", "is there twice", "remove one of the columns"))
	default:
		r.at[name] = i
	}
}

// oneError puts problems into one error that tells what to do.
func oneError(file string, found *collector) error {
	problems, ok := found.err().(*Problems)
	if !ok {
		return nil
	}
	if problems.Count == 1 {
		p := problems.List[0]
		hint := p.Hint
		p.Hint = ""
		return catalog.Errorf(catalog.Invalid, hint, "%s", p)
	}
	var text strings.Builder
	shown := problems.List[:min(printed, len(problems.List))]
	for _, p := range shown {
		text.WriteString("\n  " + p.String())
	}
	if more := problems.Count - len(shown); more > 0 {
		fmt.Fprintf(&text, "\n  and %d more", more)
	}
	return catalog.Errorf(catalog.Invalid, "correct the file", "%d problems in %s%s", problems.Count, file, text.String())
}
