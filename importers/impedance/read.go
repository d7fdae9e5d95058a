package impedance

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"centwise/catalog"
)

// Curve is the input impedance of one fingering over frequency.
type Curve struct {
	File      string
	Hz        []float64    // rising
	Magnitude []float64    // of the impedance, in Unit
	Z         []complex128 // the impedance itself, in Unit; nil where the file has no phase
	Unit      string       // of Magnitude; empty if it is not known
	PaSPerM3  float64      // how many Pa s/m3 one Unit is, 0 if that is not known
	Columns   string       // how the columns were understood, as in f:Hz,mag:MPa s/m3
	Remarks   []string     // what was inferred or passed over, as sentences
}

// Limits that a measured curve stays far below.
const (
	maxBytes = 64 << 20
	maxLine  = 4096
	leastHz  = 1.0
	maxHz    = 1e5
)

// line is a line of the file.
type line struct {
	number int // from 1
	text   string
}

// Read reads a curve. Columns say what the columns of the file hold; nil leaves
// that to its header. Errors are of kind [catalog.Invalid] and name the file and
// the line, or come from the reader.
func Read(file string, content io.Reader, columns []Column) (*Curve, error) {
	data, err := io.ReadAll(io.LimitReader(content, maxBytes+1))
	if err != nil {
		return nil, &catalog.Error{Kind: catalog.NotFound, What: "reading " + file, Hint: "check the name of the file", Err: err}
	}
	r := &reading{file: file}
	text, err := r.text(data)
	if err != nil {
		return nil, err
	}
	if err := r.split(text); err != nil {
		return nil, err
	}
	if err := r.understand(columns); err != nil {
		return nil, err
	}
	if err := r.fill(); err != nil {
		return nil, err
	}
	return r.curve()
}

// reading is a file on its way to a curve.
type reading struct {
	file     string
	before   []line // what stands before the numbers, without marks of comments
	rows     []line // of numbers
	layout   layout
	columns  []Column
	numbers  [][]float64 // by column
	numberOf []int       // line numbers of the rows that count
	remarks  []string
}

func (r *reading) problem(at int, hint, format string, args ...any) error {
	place := r.file
	if at > 0 {
		place = fmt.Sprintf("%s:%d", r.file, at)
	}
	return catalog.Errorf(catalog.Invalid, hint, "%s: %s", place, fmt.Sprintf(format, args...))
}

const saveAs = "save the curve as plain text (UTF-8), a line a frequency"

// text checks that the file is text, with any line ends.
func (r *reading) text(data []byte) (string, error) {
	s := strings.TrimPrefix(string(data), "\ufeff")
	switch {
	case len(data) > maxBytes:
		return "", r.problem(0, "export fewer points: some thousand are enough", "is larger than %d MB", maxBytes>>20)
	case strings.HasPrefix(s, "\xff\xfe") || strings.HasPrefix(s, "\xfe\xff"):
		return "", r.problem(0, saveAs, "is UTF-16 text")
	case strings.IndexByte(s, 0) >= 0:
		return "", r.problem(0, saveAs, "is not a text file")
	case strings.TrimSpace(s) == "":
		return "", r.problem(0, "give a file with a line a frequency", "is empty")
	}
	return strings.ReplaceAll(strings.ReplaceAll(s, "\r\n", "\n"), "\r", "\n"), nil
}

// commentMarks begin lines that are no data.
var commentMarks = []string{"#", "%", "!", ";", "*", "//", "'"}

// comment is the text of a comment.
func comment(text string) (string, bool) {
	for _, mark := range commentMarks {
		if strings.HasPrefix(text, mark) {
			return strings.TrimSpace(strings.TrimLeft(text, "#%!;*/'")), true
		}
	}
	return "", false
}

// split tells the lines of numbers from what stands before them.
func (r *reading) split(text string) error {
	number := 0
	for raw := range strings.SplitSeq(text, "\n") {
		number++
		if len(raw) > maxLine {
			return r.problem(number, saveAs, "is longer than %d characters", maxLine)
		}
		s := strings.TrimSpace(raw)
		if s == "" {
			continue
		}
		words, isComment := comment(s)
		switch {
		case isComment && len(r.rows) == 0:
			r.before = append(r.before, line{number, words})
		case isComment:
		case len(r.rows) == 0 && !likeNumber(s):
			r.before = append(r.before, line{number, s})
		default:
			r.rows = append(r.rows, line{number, raw})
		}
	}
	var ok bool
	if r.layout, ok = findLayout(r.rows); !ok {
		at := 0
		if len(r.rows) > 0 {
			at = r.rows[0].number
		}
		return r.problem(at, "write a line a frequency with two or three columns of numbers, as in: 233.1, 4.2e7", "no lines of numbers are found")
	}
	return nil
}

// likeNumber reports whether a line may begin with a number.
func likeNumber(s string) bool {
	s = strings.TrimLeft(s, "\"+-\u2212 .")
	return s != "" && s[0] >= '0' && s[0] <= '9'
}

// understand finds out what the columns hold.
func (r *reading) understand(columns []Column) error {
	if columns != nil {
		if len(columns) > r.layout.columns {
			return r.problem(r.rows[0].number, fmt.Sprintf("name %d columns, with - for one to pass over", r.layout.columns), "has %d columns, and %d are named", r.layout.columns, len(columns))
		}
		r.columns = slices.Clone(columns) // units are filled in for this file alone
		return nil
	}
	if r.header() {
		if err := whole(r.columns); err != nil {
			return r.problem(0, "say what the columns are, as in --columns f:Hz,re:MOhm,im:MOhm", "by its header %v", err)
		}
		return nil
	}
	if r.layout.columns > 2 {
		return r.problem(r.rows[0].number, "say what the columns are, as in --columns f,re,im or --columns f:Hz,mag:MOhm,phase:deg", "has %d columns, and no header says what they are", r.layout.columns)
	}
	r.columns = []Column{{Quantity: Frequency}, {Quantity: Magnitude}}
	r.remark("no header says what the columns are: they are taken for frequency and magnitude")
	return nil
}

// header takes the columns from the line before the numbers in which most of
// them are recognised; a line of units may follow it.
func (r *reading) header() bool {
	most, at := 1, -1
	for i, l := range r.before {
		columns, n := r.headerCells(l.text)
		if n > most && slices.ContainsFunc(columns, func(c Column) bool { return c.Quantity == Frequency }) {
			most, at, r.columns = n, i, columns
		}
	}
	if at < 0 {
		return false
	}
	if at+1 < len(r.before) {
		units, _ := r.headerCells(r.before[at+1].text)
		for i := range min(len(units), len(r.columns)) {
			if c := &r.columns[i]; c.unit.name == "" && unitOf(c.Quantity) == units[i].unit.of {
				c.unit = units[i].unit
			}
		}
	}
	return true
}

// headerCells reads a line as a header; n counts what was recognised.
func (r *reading) headerCells(text string) (columns []Column, n int) {
	cells := r.layout.cells(text)
	if r.layout.separator == ' ' || len(cells) != r.layout.columns {
		for _, cut := range [][]string{words(text), strings.Split(text, ","), strings.Split(text, ";"), strings.Split(text, "\t")} {
			if len(cut) == r.layout.columns {
				cells = cut
				break
			}
		}
	}
	if len(cells) != r.layout.columns {
		return nil, 0
	}
	for _, cell := range cells {
		c, ok := parseColumn(strings.Trim(strings.TrimSpace(cell), "\""))
		if ok {
			n++
		}
		columns = append(columns, c)
	}
	return columns, n
}

func (r *reading) remark(format string, args ...any) {
	r.remarks = append(r.remarks, fmt.Sprintf(format, args...))
}

// fill reads the numbers.
func (r *reading) fill() error {
	r.numbers = make([][]float64, r.layout.columns)
	var room []float64
	zero := 0
	frequency := slices.IndexFunc(r.columns, func(c Column) bool { return c.Quantity == Frequency })
	for _, l := range r.rows {
		var err error
		room, err = r.layout.numbers(l.text, room)
		if bad := (*badCell)(nil); errors.As(err, &bad) {
			return r.problem(l.number, "correct the line, or mark it as a comment with #", "%v", bad)
		}
		if len(room) != r.layout.columns {
			return r.problem(l.number, "correct the line, or mark it as a comment with #", "has %s where others have %d", numberOf(len(room), "column"), r.layout.columns)
		}
		if room[frequency] == 0 { // as spectra begin
			zero++
			continue
		}
		for i, v := range room {
			r.numbers[i] = append(r.numbers[i], v)
		}
		r.numberOf = append(r.numberOf, l.number)
	}
	if zero > 0 {
		r.remark("%s at frequency 0 passed over", numberOf(zero, "line"))
	}
	if len(r.numberOf) < minPoints {
		return r.problem(0, "give the whole curve, some hundred points or more", "has only %s", numberOf(len(r.numberOf), "point"))
	}
	return nil
}

// minPoints is the least that can be called a curve.
const minPoints = 10

// numberOf counts things in words.
func numberOf(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// column gives a column's place and what it holds.
func (r *reading) column(q Quantity) (int, *Column) {
	i := slices.IndexFunc(r.columns, func(c Column) bool { return c.Quantity == q })
	if i < 0 {
		return 0, nil
	}
	return i, &r.columns[i]
}

// shortened cuts what stands in the file to a length that fits a message.
func shortened(s string) string {
	const limit = 60
	if utf8.RuneCountInString(s) <= limit {
		return s
	}
	return string([]rune(s)[:limit-3]) + "..."
}

// curve makes the curve of the numbers.
func (r *reading) curve() (*Curve, error) {
	c := &Curve{File: r.file}
	var err error
	if c.Hz, err = r.frequencies(); err != nil {
		return nil, err
	}
	if err := r.impedance(c); err != nil {
		return nil, err
	}
	if first, last := c.Hz[0], c.Hz[len(c.Hz)-1]; first > last {
		slices.Reverse(c.Hz)
		slices.Reverse(c.Magnitude)
		slices.Reverse(c.Z)
	}
	if err := r.trim(c); err != nil {
		return nil, err
	}
	var names []string
	for _, col := range r.columns {
		names = append(names, col.String())
	}
	c.Columns, c.Remarks = strings.Join(names, ","), r.remarks
	return c, nil
}

// trim passes over frequencies at which nothing can be measured.
func (r *reading) trim(c *Curve) error {
	low, _ := slices.BinarySearch(c.Hz, leastHz)
	if low == 0 {
		return nil
	}
	r.remark("%s below %g Hz passed over", numberOf(low, "point"), leastHz)
	c.Hz, c.Magnitude = c.Hz[low:], c.Magnitude[low:]
	if c.Z != nil {
		c.Z = c.Z[low:]
	}
	if len(c.Hz) < minPoints {
		return r.problem(0, "check the column of the frequency and its unit", "has only %s above %g Hz", numberOf(len(c.Hz), "point"), leastHz)
	}
	return nil
}

// frequencies are those of the rows in Hz, rising or falling.
func (r *reading) frequencies() ([]float64, error) {
	at, column := r.column(Frequency)
	raw := r.numbers[at]
	if column.unit.name == "" {
		column.unit = unitSpellings()["hz"]
		if top := slices.Max(raw); top < 20 {
			column.unit = unitSpellings()["khz"]
			r.remark("the unit of the frequency is not said: taken for kHz, as none is above %.3g", top)
		} else {
			r.remark("the unit of the frequency is not said: taken for Hz")
		}
	}
	out := make([]float64, len(raw))
	falling := raw[0] > raw[len(raw)-1]
	for i, v := range raw {
		out[i] = v * column.unit.scale
		switch {
		case !(out[i] > 0) || out[i] > maxHz:
			return nil, r.problem(r.numberOf[i], "check the column and its unit", "the frequency is %g %s", v, column.unit.name)
		case i > 0 && out[i] == out[i-1]:
			return nil, r.problem(r.numberOf[i], "leave one of the lines out; give repeated sweeps as files of their own", "the frequency is that of the line before")
		case i > 0 && (out[i] < out[i-1]) != falling:
			return nil, r.problem(r.numberOf[i], "sort the lines by frequency; give repeated sweeps as files of their own", "the frequencies turn back from %g to %g %s", raw[i-1], v, column.unit.name)
		}
	}
	return out, nil
}

// impedance fills in magnitude, phase and unit.
func (r *reading) impedance(c *Curve) error {
	re, reColumn := r.column(Real)
	im, imColumn := r.column(Imaginary)
	if reColumn != nil && imColumn != nil {
		if reColumn.unit.name == "" {
			reColumn.unit = imColumn.unit
		}
		if reColumn.unit.dB || imColumn.unit.dB || imColumn.unit.name != "" && imColumn.unit.scale != reColumn.unit.scale {
			return r.problem(0, "say what the columns are, as in --columns f:Hz,re:MOhm,im:MOhm", "real and imaginary part can't be in %s and %s", reColumn.unit.name, imColumn.unit.name)
		}
		imColumn.unit = reColumn.unit
		c.scaleOf(reColumn.unit)
		for i, x := range r.numbers[re] {
			c.Z = append(c.Z, complex(x, r.numbers[im][i]))
			c.Magnitude = append(c.Magnitude, math.Hypot(x, r.numbers[im][i]))
		}
		return r.plausible(c)
	}
	if err := r.magnitude(c); err != nil {
		return err
	}
	if at, column := r.column(Phase); column != nil {
		r.phase(c, r.numbers[at], column)
	}
	return r.plausible(c)
}

func (c *Curve) scaleOf(u unit) {
	c.PaSPerM3 = u.scale
	if u.scale > 0 {
		c.Unit = u.name
	}
}

// magnitude reads the magnitudes, of whichever unit.
func (r *reading) magnitude(c *Curve) error {
	at, column := r.column(Magnitude)
	raw := r.numbers[at]
	if column.unit.name == "" && slices.Min(raw) < 0 {
		column.unit = unitSpellings()["db"]
		r.remark("there are magnitudes below 0: taken for dB")
	}
	c.scaleOf(column.unit)
	c.Unit = strings.TrimPrefix(c.Unit, "dB re 1 ")
	c.Magnitude = slices.Clone(raw)
	for i, v := range raw {
		switch {
		case column.unit.dB && math.Abs(v) > maxDecibels:
			return r.problem(r.numberOf[i], "check the column and its unit", "the level is %g dB", v)
		case column.unit.dB:
			c.Magnitude[i] = math.Pow(10, v/20)
		case v < 0:
			return r.problem(r.numberOf[i], "say what the columns are, as in --columns f:Hz,mag:dB", "the magnitude is %g", v)
		}
	}
	return nil
}

// maxDecibels is far beyond any level: it keeps numbers finite.
const maxDecibels = 1000

// phase adds the phase to the magnitudes.
func (r *reading) phase(c *Curve, raw []float64, column *Column) {
	if column.unit.name == "" {
		column.unit = unitSpellings()["rad"]
		if largest := max(slices.Max(raw), -slices.Min(raw)); largest > 2*math.Pi {
			column.unit = unitSpellings()["deg"]
		}
		r.remark("the unit of the phase is not said: taken for %s", column.unit.name)
	}
	for i, m := range c.Magnitude {
		sin, cos := math.Sincos(raw[i] * column.unit.scale)
		c.Z = append(c.Z, complex(m*cos, m*sin))
	}
}

// plausible refuses numbers that no calculation bears, and columns in which
// nothing is.
func (r *reading) plausible(c *Curve) error {
	top := slices.Max(c.Magnitude)
	if !(top > 0) {
		return r.problem(0, "check which column is the impedance", "the impedance is 0 everywhere")
	}
	if top > 1e100 || top < 1e-100 {
		return r.problem(0, "check which column is the impedance", "no impedance is as large or small as %g", top)
	}
	if c.Unit == "" && !slices.ContainsFunc(r.columns, func(c Column) bool { return c.Quantity != Frequency && c.Quantity != Unused && c.unit.name != "" }) {
		r.remark("the unit of the impedance is not said: heights are in the file's own")
	}
	return nil
}
