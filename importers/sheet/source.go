package sheet

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"
)

// source gives the rows of one sheet.
type source interface {
	// next gives the next row; its cells are valid until the one after it.
	// io.EOF after the last. A [*badRow] is one row that can't be read, the
	// next may be; a [*stop] ends the sheet.
	next() (row, error)
	// lineOf is the line of a cell of the last row.
	lineOf(cell int) int
	// date reads a cell that holds a date.
	date(cell string) (time.Time, error)
	close() error
}

type row struct {
	line  int // of its first cell
	cells []string
}

// empty reports whether nothing is written in the row.
func (r row) empty() bool {
	for _, c := range r.cells {
		if strings.TrimSpace(c) != "" {
			return false
		}
	}
	return true
}

// separator recognises the line "sep=;" that some spreadsheet programs write
// before the header.
func (r row) separator() bool {
	return len(r.cells) <= 2 && strings.HasPrefix(strings.ToLower(r.cells[0]), "sep=") && len(r.cells[0]) <= len("sep=;") && (len(r.cells) == 1 || r.cells[1] == "")
}

type badRow struct {
	line       int
	what, hint string
}

func (b *badRow) Error() string { return fmt.Sprintf("line %d: %s (%s)", b.line, b.what, b.hint) }

// delimited is CSV text.
type delimited struct {
	csv       *csv.Reader
	delimiter rune
}

// delimiters that may separate columns, the likeliest first.
var delimiters = []rune{',', ';', '\t'}

// openDelimited finds out what separates the columns by which of them finds
// most columns in the first row.
func openDelimited(content io.Reader, columnsIn func(header []string) int) (*delimited, error) {
	text := bufio.NewReaderSize(newTextReader(content), maxRowBytes)
	head, err := text.Peek(maxRowBytes)
	var s *stop
	if err != nil && err != io.EOF && !errors.As(err, &s) {
		return nil, err
	}
	if len(bytes.Trim(head, " \t\n,;\"")) == 0 {
		if s != nil {
			return nil, s
		}
		return nil, &stop{0, "is empty", "give a sheet with a header and rows"}
	}
	best, most := delimiters[0], -1
	for _, d := range delimiters {
		header := firstRow(head, d)
		if n := 1000*columnsIn(header) + min(len(header), 999); n > most {
			best, most = d, n
		}
	}
	r := csv.NewReader(text)
	r.Comma, r.FieldsPerRecord, r.ReuseRecord = best, -1, true
	return &delimited{r, best}, nil
}

// firstRow reads the first row of head that may be a header.
func firstRow(head []byte, delimiter rune) []string {
	r := csv.NewReader(bytes.NewReader(head))
	r.Comma, r.FieldsPerRecord, r.LazyQuotes = delimiter, -1, true
	for {
		cells, err := r.Read()
		if r := (row{cells: cells}); err != nil || !r.empty() && !r.separator() {
			return cells
		}
	}
}

func (d *delimited) next() (row, error) {
	cells, err := d.csv.Read()
	var parse *csv.ParseError
	switch {
	case errors.As(err, &parse):
		return row{}, quoteProblem(parse)
	case err != nil:
		return row{}, err
	}
	return row{d.lineOf(0), cells}, nil
}

func quoteProblem(e *csv.ParseError) error {
	if errors.Is(e.Err, csv.ErrBareQuote) {
		return &badRow{e.Line, fmt.Sprintf("a quotation mark at place %d of the line stands inside a cell that is not quoted", e.Column),
			`quote the whole cell and double the mark: "3"" bell"`}
	}
	return &badRow{e.StartLine, "a quoted cell is not closed, or text follows its end", "close the quotation mark; double a mark inside quotes"}
}

func (d *delimited) lineOf(cell int) int {
	line, _ := d.csv.FieldPos(cell)
	return line
}

func (d *delimited) date(cell string) (time.Time, error) { return parseDate(cell) }

func (d *delimited) close() error { return nil }
