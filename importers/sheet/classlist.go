package sheet

import (
	"fmt"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// ClassRow is a row of a class list: a student, and what they need. All but
// Student may be empty. Labels are not looked up.
type ClassRow struct {
	File                string
	Line                int
	Student             string // a handle
	Name                string // as on the slip, if that is asked for
	Group               string
	Key                 pitch.Key
	Instrument          catalog.Instrument
	Mouthpiece          string // their own
	Horn                string // played now
	LentMouthpiece      string // played now, and not theirs
	Keep                string // the horn they must have
	KeepNow             bool   // they must have the one they play now
	Never               []string
	Part, PartName      string // file of the part they play, and which in it
	LowBoreMM, TopBore  float64
	KeepOwn             bool // no other mouthpiece than their own
	RangeLow, RangeHigh pitch.Note
}

// ClassColumns are the columns of a class list.
var ClassColumns = []string{"student", "horn", "mouthpiece", "part", "part_name", "name", "group", "key", "instrument", "lent_mouthpiece",
	"keep", "never", "low", "high", "bore_min_mm", "bore_max_mm", "keep_mouthpiece"}

// ReadClass reads a class list: a row a student, columns in any order, of which
// only the student's handle is required. The error says every row that is wrong.
func ReadClass(f File, ignoreExtra bool) ([]ClassRow, error) {
	r := &rowReader{noun: "class list", columns: ClassColumns, required: []string{"student"}, ignoreExtra: ignoreExtra}
	var out []ClassRow
	seen := map[string]int{}
	err := r.read(f, func(line int) {
		row := r.classRow()
		row.File, row.Line = f.Name, line
		if first, twice := seen[catalog.Fold(row.Student)]; twice && row.Student != "" {
			r.wrong("student", fmt.Sprintf("is there twice, first in line %d", first), "keep one of the rows")
		}
		seen[catalog.Fold(row.Student)] = line
		out = append(out, row)
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

func (r *rowReader) classRow() ClassRow {
	row := ClassRow{
		Student: r.cell("student"), Name: r.cell("name"), Group: r.cell("group"), Mouthpiece: r.cell("mouthpiece"), Horn: r.cell("horn"),
		LentMouthpiece: r.cell("lent_mouthpiece"), Keep: r.cell("keep"), Never: entries(r.cell("never")),
		Part: r.cell("part"), PartName: r.cell("part_name"),
		LowBoreMM: r.measure("bore_min_mm"), TopBore: r.measure("bore_max_mm"),
		KeepOwn: r.yes("keep_mouthpiece"), RangeLow: r.note("low"), RangeHigh: r.note("high"),
	}
	var err error
	if text := r.cell("key"); text != "" {
		if row.Key, err = pitch.ParseKey(text); err != nil {
			r.wrong("key", "is not a key", "write Bb, C, D, Eb, F, G or A")
		}
	}
	if text := r.cell("instrument"); text != "" {
		row.Instrument = r.instrument(text)
	}
	if row.Student == "" {
		r.wrong("student", "is empty", "give the student a handle, which need not be a name")
	}
	if row.RangeLow > row.RangeHigh && row.RangeHigh != 0 {
		r.wrong("low", "lies above the highest note", "write the lower note into the column low")
	}
	if row.LowBoreMM > row.TopBore && row.TopBore != 0 {
		r.wrong("bore_min_mm", "is more than the greatest bore", "write the smaller bore into the column bore_min_mm")
	}
	switch strings.ToLower(row.Keep) {
	case "no":
		row.Keep = ""
	case "yes":
		row.Keep, row.KeepNow = "", true
	}
	return row
}

// entries are the entries of a list that are not empty.
func entries(text string) (out []string) {
	for _, entry := range catalog.ReadList(text) {
		if entry != "" {
			out = append(out, entry)
		}
	}
	return out
}

func (r *rowReader) instrument(text string) catalog.Instrument {
	for _, i := range catalog.Instruments {
		if strings.EqualFold(string(i), text) {
			return i
		}
	}
	r.wrong("instrument", "is not an instrument of the catalog", "write trumpet, cornet, flugelhorn or piccolo")
	return ""
}

func (r *rowReader) yes(column string) bool {
	switch text := strings.ToLower(r.cell(column)); text {
	case "", "no":
		return false
	case "yes":
		return true
	}
	r.wrong(column, "is neither yes nor no", "write yes or no")
	return false
}

func (r *rowReader) note(column string) pitch.Note {
	text := r.cell(column)
	if text == "" {
		return 0
	}
	n, err := pitch.ParseNote(text)
	if err != nil {
		r.wrong(column, "is not a note", "write it as in F#3 or Bb4")
	}
	return n
}

func (r *rowReader) measure(column string) float64 {
	text := r.cell(column)
	if text == "" {
		return 0
	}
	x, err := parseNumber(text, r.table.style)
	if err != nil {
		r.wrong(column, err.Error(), "write millimetres, as in 11.7")
		return 0
	}
	if x < 0 {
		r.wrong(column, "is below nought", "write millimetres, as in 11.7")
	}
	return x
}

// LoanRow is a row of a list of loans: who is to have what.
type LoanRow struct {
	Line                      int
	Student, Horn, Mouthpiece string
	Own                       bool // the mouthpiece is the student's
}

// ReadLoans reads who is to have what: the columns student, horn, mouthpiece and
// own_mouthpiece (yes, or true), of which horn or mouthpiece may be empty. Other
// columns, as in a plan, are passed over. The error says every row that is wrong.
func ReadLoans(f File) ([]LoanRow, error) {
	r := &rowReader{noun: "list of loans", columns: []string{"student", "horn", "mouthpiece", "own_mouthpiece"}, required: []string{"student", "horn"}, ignoreExtra: true}
	var out []LoanRow
	seen := map[string]int{}
	err := r.read(f, func(line int) {
		row := LoanRow{Line: line, Student: r.cell("student"), Horn: r.cell("horn"), Mouthpiece: r.cell("mouthpiece")}
		switch strings.ToLower(r.cell("own_mouthpiece")) {
		case "yes", "true":
			row.Own = true
		case "", "no", "false":
		default:
			r.wrong("own_mouthpiece", "is neither yes nor no", "write yes or no")
		}
		if row.Student == "" {
			r.wrong("student", "is empty", "name the student")
		} else if first, twice := seen[catalog.Fold(row.Student)]; twice {
			r.wrong("student", fmt.Sprintf("is there twice, first in line %d", first), "keep one of the rows")
		}
		seen[catalog.Fold(row.Student)] = line
		out = append(out, row)
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}
