package sheet

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"strings"

	"centwise/catalog"
)

// table is one sheet, opened as far as its header.
type table struct {
	file    string
	sheet   string // of a workbook
	order   int    // among the files of the import
	src     source
	style   decimals
	comma   bool // a comma separates the columns
	padded  bool // rows may have fewer cells than the header: a workbook leaves empty ones out
	layout  layout
	headRow int // line of the header

	ignoreExtra bool
}

// problem is a problem in the table.
func (t *table) problem(line int, column, value, what, hint string) Problem {
	return Problem{File: t.file, Sheet: t.sheet, Line: line, Column: column, Value: value, What: what, Hint: hint, order: t.order}
}

func (t *table) place(line int) string {
	return Problem{File: t.file, Sheet: t.sheet, Line: line}.place()
}

// openTable opens a file and reads its header. What is wrong with the file is
// reported and gives nil; an error is one of reading.
func openTable(f File, order int, o Options, c *collector) (*table, error) {
	t := &table{file: f.Name, order: order, ignoreExtra: o.IgnoreExtra}
	if isFolder(f.Content) {
		c.add(t.problem(0, "", "", "is a folder", "name a file in it"))
		return nil, nil
	}
	content := bufio.NewReaderSize(f.Content, 64<<10)
	found, err := t.open(content, o.Sheet, columnsIn)
	t.oddities(found, c)
	if err == nil && found.any() {
		return nil, nil
	}
	if err == nil {
		err = t.readHeader(c)
	}
	if err == nil {
		return t, nil
	}
	if t.src != nil {
		t.src.close()
	}
	if errors.Is(err, errBadHeader) {
		return nil, nil
	}
	return nil, t.reading(err, c)
}

func isFolder(content io.Reader) bool {
	f, ok := content.(interface{ Stat() (fs.FileInfo, error) })
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.IsDir()
}

// open finds out what the file is by how it begins; known counts the columns of
// a header that mean something.
func (t *table) open(content *bufio.Reader, sheet string, known func(header []string) int) (oddities, error) {
	head, err := content.Peek(len(oleStart))
	if err != nil && err != io.EOF {
		return oddities{}, err
	}
	if hasPrefix(head, zipStart) || hasPrefix(head, oleStart) {
		w, name, found, err := openWorkbook(content, sheet)
		t.sheet = name
		if w != nil {
			t.src, t.style, t.padded = w, pointDecimals, true
		}
		return found, err
	}
	if sheet != "" {
		return oddities{}, &stop{0, fmt.Sprintf("is no workbook, so it has no sheet %q", sheet), "leave --sheet out"}
	}
	d, err := openDelimited(content, known)
	if err != nil {
		return oddities{}, err
	}
	t.src, t.comma = d, d.delimiter == ','
	if !t.comma {
		t.style = commaDecimals
	}
	return oddities{}, nil
}

func hasPrefix(head, start []byte) bool {
	return len(head) >= len(start) && string(head[:len(start)]) == string(start)
}

// oddities reports formulas and merged cells.
func (t *table) oddities(found oddities, c *collector) {
	for _, o := range found.formulas {
		c.add(t.problem(o.line, "", "", "cell "+o.cell+" holds a formula", "copy the cells and paste them as values, or save the sheet as CSV UTF-8"))
	}
	for _, o := range found.merged {
		c.add(t.problem(o.line, "", "", "cells "+o.cell+" are merged", "split them and write the value into each row"))
	}
	c.count += found.formulaCount - len(found.formulas) + found.merges - len(found.merged)
}

var errBadHeader = errors.New("bad header")

// readHeader takes the first row that is not empty for the header.
func (t *table) readHeader(c *collector) error {
	for {
		r, err := t.src.next()
		var bad *badRow
		switch {
		case err == io.EOF:
			return &stop{0, "is empty", "give a sheet with a header and rows"}
		case errors.As(err, &bad):
			c.add(t.problem(bad.line, "", "", bad.what, bad.hint))
			return errBadHeader
		case err != nil:
			return err
		case r.empty(), r.separator():
			continue
		}
		t.headRow = r.line
		titles := slices.Clone(r.cells)
		for i, title := range titles {
			titles[i] = catalog.ReadCell(title)
		}
		var ok bool
		t.layout, ok = readHeader(titles, t.ignoreExtra, func(column, what, hint string) {
			c.add(t.problem(r.line, column, "", what, hint))
		})
		if !ok {
			return errBadHeader
		}
		return nil
	}
}

// reading reports what stopped the reading of the file. An error that is not
// about its content is given back.
func (t *table) reading(err error, c *collector) error {
	var s *stop
	if errors.As(err, &s) {
		c.add(t.problem(s.line, "", "", s.what, s.hint))
		return nil
	}
	return &catalog.Error{Kind: catalog.Unavailable, What: "reading " + t.file, Hint: "check the file and its permissions", Err: err}
}

// each calls use for every row with something in it, after checking its number
// of cells. It gives the number of rows.
func (t *table) each(ctx context.Context, progress catalog.Counter, c *collector, use func(row)) (int, error) {
	const step = 1 << 12
	rows := 0
	for {
		r, err := t.src.next()
		var bad *badRow
		switch {
		case err == io.EOF:
			progress.Add(int64(rows % step))
			return rows, nil
		case errors.As(err, &bad):
			c.add(t.problem(bad.line, "", "", bad.what, bad.hint))
			continue
		case err != nil:
			return rows, t.reading(err, c)
		case r.empty():
			continue
		}
		if rows++; rows%step == 0 {
			progress.Add(step)
			if err := ctx.Err(); err != nil {
				return rows, err
			}
		}
		if rows > maxRows {
			c.add(t.problem(r.line, "", "", fmt.Sprintf("is past the first %d rows", maxRows), "split the sheet and import the parts one after the other"))
			return rows, nil
		}
		if t.fits(&r, c) {
			use(r)
		}
	}
}

// maxRows bounds the memory of one sheet.
const maxRows = 5_000_000

// fits checks the number of cells against the header and fills up the row of a
// workbook.
func (t *table) fits(r *row, c *collector) bool {
	width := t.layout.width
	extra := row{cells: r.cells[min(width, len(r.cells)):]}
	if !extra.empty() || len(r.cells) < width && !t.padded {
		hint := "give each row as many cells as the header"
		if number := t.splitNumber(r.cells); number != "" && !extra.empty() {
			hint = fmt.Sprintf("a decimal comma, as in %s, splits a number in two: write a decimal point, or separate the columns by semicolons", number)
		}
		c.add(t.problem(r.line, "", "", fmt.Sprintf("has %d cells where the header has %d", len(r.cells), width), hint))
		return false
	}
	for len(r.cells) < width {
		r.cells = append(r.cells, "")
	}
	for _, i := range t.layout.unnamed {
		if r.cells[i] != "" && !t.ignoreExtra {
			c.add(t.problem(t.src.lineOf(i), "", r.cells[i], fmt.Sprintf("stands in column %d, which has no name", i+1), "name the column or empty it"))
			return false
		}
	}
	return true
}

// splitNumber finds two neighbouring cells that look like one number written
// with a decimal comma, rather the deviation than another; empty if there are
// none.
func (t *table) splitNumber(cells []string) string {
	likely := func(i int) bool {
		if !t.comma || i+1 >= len(cells) {
			return false
		}
		_, err := parseNumber(cells[i], pointDecimals)
		return err == nil && !strings.Contains(cells[i], ".") && isDigits(cells[i+1])
	}
	if at := t.layout.session[colCents]; t.layout.form == longForm && at >= 0 && likely(at) {
		return cells[at] + "," + cells[at+1]
	}
	for i := len(cells) - 2; i >= 0; i-- {
		if likely(i) {
			return cells[i] + "," + cells[i+1]
		}
	}
	return ""
}

func isDigits(s string) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return s != ""
}
