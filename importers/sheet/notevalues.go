package sheet

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// ReadWeights reads how much each written note counts: a sheet with the columns
// note (F#3, B♭4, in any spelling) and weight (nought or more), a row a note. A
// note that has no row does not count. The error says every row that is wrong.
func ReadWeights(f File) (catalog.Weights, error) {
	r := &noteReader{column: "weight", seen: map[string]int{}}
	w := catalog.Weights{}
	r.use = func(at int, name string, x float64) {
		n, err := pitch.ParseNote(name)
		if err != nil {
			r.wrong(at, "note", name, "is not a note", "write it as in F#3 or Bb4")
			return
		}
		if p := catalog.WeightProblem(n, x); p != nil {
			r.wrong(at, r.column, "", p.What, p.Hint)
			return
		}
		r.once(at, n.String(), name)
		w[n] = x
	}
	if err := r.read(f); err != nil {
		return nil, err
	}
	for _, p := range catalog.ProblemsOf(w.Validate()) {
		return nil, catalog.Errorf(catalog.Invalid, p.Hint, "%s: weights %s", f.Name, p.What)
	}
	return w, nil
}

// MaxTargetCents bounds a target on either side: farther off lies another note.
const MaxTargetCents = 100.0

// ReadTarget reads where notes are to lie: a sheet with the columns note and
// cents, in cents above equal temperament (below: negative). A note without an
// octave (C, F#) speaks for that note in every octave; one with an octave (C5)
// goes before it. Notes that have no row stay in equal temperament. The error
// says every row that is wrong.
func ReadTarget(f File) (pitch.Temperament, error) {
	r := &noteReader{column: "cents", seen: map[string]int{}}
	t := pitch.Temperament{Name: "table " + filepath.Base(f.Name), Notes: map[pitch.Note]float64{}}
	r.use = func(at int, name string, x float64) {
		if x < -MaxTargetCents || x > MaxTargetCents {
			r.wrong(at, r.column, "", fmt.Sprintf("of %s are %s, outside %g..%g", name, formatNumber(x), -MaxTargetCents, MaxTargetCents),
				"a target lies within a semitone of its note: check the decimal point")
			return
		}
		if n, err := pitch.ParseNote(name); err == nil {
			if _, ok := pitch.UsualSlot(n, 4); !ok {
				r.wrong(at, "note", name, "has no fingering in the catalog", "leave it out, or check the transposition")
				return
			}
			r.once(at, n.String(), name)
			t.Notes[n] = x
			return
		}
		class, err := pitch.ParseClass(name)
		if err != nil {
			r.wrong(at, "note", name, "is not a note", "write it as in C or F# for every octave, as in F#4 for one")
			return
		}
		r.once(at, class.Name(), name)
		t.Cents[class] = x
	}
	if err := r.read(f); err != nil {
		return pitch.Temperament{}, err
	}
	return t, nil
}

// noteReader reads a sheet of notes with one number each.
type noteReader struct {
	column string // with the numbers
	use    func(line int, note string, x float64)
	seen   map[string]int // line of each note, by its usual name

	table *table
	found collector
}

func (r *noteReader) wrong(line int, column, value, what, hint string) {
	r.found.add(r.table.problem(line, column, value, what, hint))
}

// once reports a note that is there twice, in whatever spelling.
func (r *noteReader) once(line int, usual, name string) {
	if first, twice := r.seen[usual]; twice {
		r.wrong(line, "note", name, fmt.Sprintf("is there twice, first in line %d", first), "keep one of the rows")
		return
	}
	r.seen[usual] = line
}

// read reads the whole sheet and gives its problems as one error.
func (r *noteReader) read(f File) error {
	r.table = &table{file: f.Name}
	err := r.rows(f)
	var s *stop
	if errors.As(err, &s) {
		r.wrong(s.line, "", "", s.what, s.hint)
	} else if err != nil {
		return &catalog.Error{Kind: catalog.Unavailable, What: "reading " + f.Name, Hint: "check the file and its permissions", Err: err}
	}
	if r.found.count == 0 && len(r.seen) == 0 {
		r.wrong(0, "", "", "has no rows", "write a note and a number in each row below the header")
	}
	return oneError(r.table.file, &r.found)
}

func (r *noteReader) rows(f File) error {
	if isFolder(f.Content) {
		return &stop{0, "is a folder", "name a file in it"}
	}
	t := r.table
	odd, err := t.open(bufio.NewReaderSize(f.Content, 64<<10), "", r.columnsIn)
	if t.src != nil {
		defer t.src.close()
	}
	t.oddities(odd, &r.found)
	if err != nil || odd.any() {
		return err
	}
	note, number, err := r.header()
	if err != nil || note < 0 {
		return err
	}
	_, err = t.each(context.Background(), catalog.NoCounter{}, &r.found, func(row row) { r.row(row, note, number) })
	return err
}

func (r *noteReader) firstLine() string { return "give it a first line like: note," + r.column }

// columnsIn counts the columns of ours in a header.
func (r *noteReader) columnsIn(header []string) int {
	n := 0
	for _, title := range header {
		if c := foldColumn(title); c == "note" || c == r.column {
			n++
		}
	}
	return n
}

// header finds the places of the two columns; -1 after a problem.
func (r *noteReader) header() (note, number int, err error) {
	t := r.table
	first, err := t.src.next()
	for err == nil && (first.empty() || first.separator()) {
		first, err = t.src.next()
	}
	var bad *badRow
	switch {
	case err == io.EOF:
		return -1, -1, &stop{0, "is empty", r.firstLine()}
	case errors.As(err, &bad):
		r.wrong(bad.line, "", "", bad.what, bad.hint)
		return -1, -1, nil
	case err != nil:
		return -1, -1, err
	}
	t.headRow = first.line
	t.layout = layout{form: gearForm, width: len(first.cells)}
	titles := make([]string, len(first.cells))
	for i, title := range first.cells {
		titles[i] = foldColumn(catalog.ReadCell(title))
		if titles[i] == "" {
			t.layout.unnamed = append(t.layout.unnamed, i)
		} else if titles[i] != "note" && titles[i] != r.column || slices.Contains(titles[:i], titles[i]) {
			r.wrong(first.line, title, "", fmt.Sprintf("is not one of the columns note and %s, or is there twice", r.column), r.firstLine())
			return -1, -1, nil
		}
	}
	note, number = slices.Index(titles, "note"), slices.Index(titles, r.column)
	if note < 0 || number < 0 {
		r.wrong(first.line, "", "", "has not the columns note and "+r.column, r.firstLine())
		return -1, -1, nil
	}
	return note, number, nil
}

func (r *noteReader) row(row row, note, number int) {
	t := r.table
	name := catalog.ReadCell(row.cells[note])
	if strings.TrimSpace(row.cells[number]) == "" {
		r.wrong(t.src.lineOf(number), r.column, "", "of "+name+" is empty", "write a number, or leave the row out")
		return
	}
	x, err := parseNumber(row.cells[number], t.style)
	if err != nil {
		r.wrong(t.src.lineOf(number), r.column, strings.TrimSpace(row.cells[number]), err.Error(), noteNumberHint(err))
		return
	}
	r.use(t.src.lineOf(note), strings.Clone(name), x)
}

// noteNumberHint says how to write the number of a note.
func noteNumberHint(err error) string {
	switch err {
	case errNotFinite:
		return "write a number, or leave the row out"
	case errNotNumber:
		return "write it as in 2.5"
	}
	return numberHint(err)
}
