package aircolumn

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/agnivade/levenshtein"

	"centwise/catalog"
)

// The columns of a bore file.
const (
	columnX        = "x_mm"
	columnDiameter = "diameter_mm"
	columnPart     = "part"
)

var boreColumns = []string{columnX, columnDiameter, columnPart}

// maxBoreFile bounds what is read of a bore file, in bytes.
const maxBoreFile = 4 << 20

// ReadBore reads a bore description: a table with the columns x_mm (along the
// axis from the rim plane on), diameter_mm and part, in any order, separated by
// commas, semicolons or tabs; where it is not by commas, numbers may have
// decimal commas. Walls are straight from row to row and belong to the part of
// the row they end at; two rows with one x are a step.
//
// All bad rows are reported at once, each with its line, as [catalog.Problems].
func ReadBore(r io.Reader) (Bore, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxBoreFile+1))
	if err != nil {
		return nil, fmt.Errorf("reading the bore: %w", err)
	}
	if len(text) > maxBoreFile {
		return nil, catalog.Errorf(catalog.Invalid, "describe the bore by fewer points", "the bore description is longer than %d bytes", maxBoreFile)
	}
	f := &boreFile{}
	f.read(bytes.TrimPrefix(text, []byte("\ufeff")))
	if err := f.problems.Err(); err != nil {
		return nil, err
	}
	return f.bore, f.bore.Check()
}

// boreFile is a bore description being read.
type boreFile struct {
	decimalComma bool
	at           [3]int // column of x, diameter, part
	last         *point
	step         bool // the last two rows have one x
	bore         Bore
	problems     catalog.Problems
}

// point is a row.
type point struct {
	x, diameter float64
	part        Part
}

func (f *boreFile) wrong(line int, column, hint, format string, args ...any) {
	f.problems = append(f.problems, catalog.Problem{Record: "line " + strconv.Itoa(line), Field: column, What: fmt.Sprintf(format, args...), Hint: hint})
}

func (f *boreFile) read(text []byte) {
	in := csv.NewReader(bytes.NewReader(text))
	in.Comma = separatorOf(text)
	in.FieldsPerRecord = -1
	in.TrimLeadingSpace = true
	in.ReuseRecord = true
	f.decimalComma = in.Comma != ','
	seen := false
	for {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			line := 0
			if e := (*csv.ParseError)(nil); errors.As(err, &e) {
				line, err = e.Line, e.Err
			}
			f.wrong(line, "the row", "close quotation marks, or leave them out", "can't be read: %v", err)
			return
		}
		line, _ := in.FieldPos(0)
		switch {
		case blankRow(row):
		case !seen:
			seen = true
			if !f.header(row, line) {
				return
			}
		default:
			f.row(row, line)
		}
	}
	switch {
	case !seen:
		f.wrong(1, "the file", "give it a first line: "+strings.Join(boreColumns, ","), "is empty")
	case len(f.problems) == 0 && len(f.bore) == 0:
		f.wrong(1, "the file", "give the bore two rows at least, with different x", "describes no length of bore")
	}
}

// separatorOf is the character that stands most often in the first line.
func separatorOf(text []byte) rune {
	first, _, _ := bufio.NewReader(bytes.NewReader(bytes.TrimLeft(text, "\r\n"))).ReadLine()
	best := ','
	for _, c := range []rune{';', '\t'} {
		if bytes.Count(first, []byte(string(c))) > bytes.Count(first, []byte(string(best))) {
			best = c
		}
	}
	return best
}

func blankRow(row []string) bool {
	return !slices.ContainsFunc(row, func(cell string) bool { return strings.TrimSpace(cell) != "" })
}

// header finds the columns; false when it can't go on.
func (f *boreFile) header(row []string, line int) bool {
	before := len(f.problems)
	f.at = [3]int{-1, -1, -1}
	for i, title := range row {
		name := strings.ToLower(strings.TrimSpace(title))
		k := slices.Index(boreColumns, name)
		switch {
		case k < 0:
			f.wrong(line, "the first row", nearColumn(name), "names a column %q, which no bore has", show(title))
		case f.at[k] >= 0:
			f.wrong(line, "the first row", "keep one of them", "names the column %s twice", name)
		default:
			f.at[k] = i
		}
	}
	for k, name := range boreColumns {
		if f.at[k] < 0 {
			f.wrong(line, "the first row", "the first line is: "+strings.Join(boreColumns, ","), "lacks the column %s", name)
		}
	}
	return len(f.problems) == before
}

func nearColumn(name string) string {
	for _, known := range boreColumns {
		if levenshtein.ComputeDistance(name, known) <= len(known)/3 {
			return "did you mean " + known + "?"
		}
	}
	return "the columns are " + strings.Join(boreColumns, ", ")
}

// show cuts what a file says to what a message can hold.
func show(text string) string {
	const most = 40
	if r := []rune(text); len(r) > most {
		return string(r[:most]) + "..."
	}
	return text
}

// row takes a point.
func (f *boreFile) row(row []string, line int) {
	before := len(f.problems)
	p := point{x: f.number(row, 0, line), diameter: f.number(row, 1, line), part: f.partOf(row, line)}
	if len(f.problems) > before {
		return
	}
	if !okDiameter(p.diameter) {
		f.wrong(line, columnDiameter, "diameters are in mm", "is %g mm, outside %g to %g", p.diameter, minDiameterMM, maxDiameterMM)
		return
	}
	f.join(p, line)
}

// join leads the bore on to a point.
func (f *boreFile) join(p point, line int) {
	last := f.last
	f.last = &p
	if last == nil {
		return
	}
	switch d := p.x - last.x; {
	case d < 0:
		f.wrong(line, columnX, "order the rows from the rim plane on", "is %g mm, before %g mm in the row above", p.x, last.x)
	case d < minPieceMM && f.step:
		f.wrong(line, columnX, "two rows with one x are a step; leave out the one between", "is %g mm for the third time", p.x)
	case d < minPieceMM:
		f.step = true
	case len(f.bore) == maxPieces:
		f.wrong(line, "the row", "describe the bore by fewer points", "is one too many: a bore has up to %d pieces", maxPieces)
	case len(f.bore) > maxPieces:
	default:
		f.step = false
		f.bore = append(f.bore, Piece{p.part, d, last.diameter, p.diameter})
	}
}

func (f *boreFile) cell(row []string, k, line int) (string, bool) {
	if i := f.at[k]; i < len(row) {
		return strings.TrimSpace(row[i]), true
	}
	f.wrong(line, boreColumns[k], "every row has "+strings.Join(boreColumns, ", "), "is missing")
	return "", false
}

func (f *boreFile) number(row []string, k, line int) float64 {
	text, ok := f.cell(row, k, line)
	if !ok {
		return 0
	}
	number := text
	if f.decimalComma {
		number = strings.Replace(number, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || math.IsNaN(v) || math.Abs(v) > maxBoreMM {
		f.wrong(line, boreColumns[k], "write a number of mm, as in 11.7", "is %q", show(text))
		return 0
	}
	return v
}

func (f *boreFile) partOf(row []string, line int) Part {
	text, ok := f.cell(row, 2, line)
	part := Part(strings.ToLower(text))
	if ok && !slices.Contains(Parts, part) {
		f.wrong(line, columnPart, "use mouthpiece, leadpipe, tube or bell", "is %q", show(text))
	}
	return part
}

// WriteCSV writes a bore as [ReadBore] reads it.
func (b Bore) WriteCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	write := func(x, diameter float64, part Part) {
		out.Write([]string{number(x), number(diameter), string(part)}) // errors stay with the writer
	}
	out.Write(boreColumns)
	x, before := 0.0, math.NaN()
	for _, p := range b {
		if p.StartMM != before {
			write(x, p.StartMM, p.Part)
		}
		x += p.LengthMM
		write(x, p.EndMM, p.Part)
		before = p.EndMM
	}
	out.Flush()
	return out.Error()
}

// number writes a measure to a hundredth of a micrometre, without noughts at its end.
func number(v float64) string { return strconv.FormatFloat(math.Round(v*1e5)/1e5, 'f', -1, 64) }
