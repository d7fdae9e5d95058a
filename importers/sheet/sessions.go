package sheet

import (
	"errors"
	"fmt"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

const offInstrument = "three valves give F#3 to G6 and four C#3 to G6; for a pedal note or another slot name fingering and partial"

// draft is a session as far as its rows were read.
type draft struct {
	name  string
	from  *table
	line  int // of its first row
	bad   bool
	horn  *item[catalog.Horn]
	mouth *item[catalog.Mouthpiece]
	// What each column says of the session, and in which row.
	traits     [traitCount]string
	traitLines [traitCount]int32
	readings   []catalog.Reading // Repeat 0: not numbered yet
	lines      []int32           // of the readings
}

// sessionReader gathers the sessions of the sheets of an import.
type sessionReader struct {
	p       *planner
	t       *table
	drafts  []*draft
	byName  map[string]*draft
	last    *draft // the session of the row before, and how that row named it
	lastRaw string
}

func (s *sessionReader) problem(line int, column int, value, what, hint string) {
	s.p.found.add(s.t.problem(line, sessionColumns[column], value, what, hint))
}

// cell is the text in a column, empty if there is no such column.
func (s *sessionReader) cell(r row, column int) string {
	if at := s.t.layout.session[column]; at >= 0 {
		return r.cells[at]
	}
	return ""
}

func (s *sessionReader) line(column int) int {
	return s.t.src.lineOf(max(0, s.t.layout.session[column]))
}

// longRow reads a row that is one reading.
func (s *sessionReader) longRow(r row) {
	d := s.draft(r)
	if d == nil {
		return
	}
	s.describe(d, r)
	slot, ok := s.slot(d, r)
	cents, fine := s.cents(d, r, slot, ok)
	repeat, counted := s.repeat(r)
	if !ok || !fine || !counted {
		d.bad = true
		return
	}
	d.add(catalog.Reading{Slot: slot, Repeat: repeat, Cents: cents, Odd: odd(cents)}, r.line)
}

func (d *draft) add(r catalog.Reading, line int) {
	d.readings = append(d.readings, r)
	d.lines = append(d.lines, int32(line))
}

func odd(cents float64) bool { return cents < catalog.MinCents || cents > catalog.MaxCents }

// draft finds the session that a row belongs to, or begins it.
func (s *sessionReader) draft(r row) *draft {
	raw := s.cell(r, colSession)
	if s.last != nil && raw == s.lastRaw {
		return s.last
	}
	name := catalog.NormalLabel(catalog.ReadCell(raw))
	if name == "" {
		s.problem(s.line(colSession), colSession, "", "is empty", "name the session that the row belongs to")
		return nil
	}
	d := s.byName[name]
	if d != nil && d.from != s.t {
		s.problem(s.line(colSession), colSession, name, "is also in "+d.from.place(d.line), "give each session its own name, and import a sheet once")
		return nil
	}
	if d == nil {
		d = &draft{name: strings.Clone(name), from: s.t, line: r.line}
		s.byName[d.name] = d
		s.drafts = append(s.drafts, d)
	}
	s.last, s.lastRaw = d, strings.Clone(raw)
	return d
}

// describe takes what a row says of its session; it must not contradict the
// rows before.
func (s *sessionReader) describe(d *draft, r row) {
	for column := range traitCount {
		at := s.t.layout.session[column]
		if at < 0 {
			continue
		}
		cell := r.cells[at]
		if cell == d.traits[column] && cell != "" {
			s.count(d, r, column)
			continue
		}
		if strings.TrimSpace(cell) == "" {
			continue
		}
		if d.traits[column] == "" {
			d.traits[column], d.traitLines[column] = strings.Clone(cell), int32(s.t.src.lineOf(at))
			s.count(d, r, column)
			continue
		}
		if first := d.traits[column]; s.t.meaning(column, cell) != s.t.meaning(column, first) {
			d.bad = true
			s.problem(s.t.src.lineOf(at), column, strings.TrimSpace(cell), fmt.Sprintf("contradicts %q in line %d of the same session %q", strings.TrimSpace(first), d.traitLines[column], d.name),
				"one session has one "+sessionColumns[column]+": correct the row, or give it another session")
		}
	}
}

// count looks the gear up that a row names, and counts the row for it.
func (s *sessionReader) count(d *draft, r row, column int) {
	switch column {
	case colHorn:
		d.horn = s.p.horns.use(s.t, r.line, d.traits[column], s.p.o.Create, s.p.o.Contributor)
	case colMouthpiece:
		d.mouth = s.p.mouthpieces.use(s.t, r.line, d.traits[column], s.p.o.Create, s.p.o.Contributor)
	case colPlayer:
		s.p.players.use(s.t, r.line, d.traits[column], s.p.o.Create, s.p.o.Contributor)
	}
}

// meaning is equal for cells that say the same, as 440 and 440.0 do.
func (t *table) meaning(column int, cell string) any {
	switch column {
	case colA4, colTemperature, colSlide, colGap:
		if v, err := parseNumber(cell, t.style); err == nil {
			return v
		}
	case colDate:
		if at, err := t.src.date(cell); err == nil {
			return at
		}
	case colAdapter:
		if yes, err := parseYes(cell); err == nil {
			return yes
		}
	case colMethod:
		return strings.ToLower(strings.TrimSpace(cell))
	case colRemark:
		return catalog.ReadCell(cell)
	}
	return catalog.NormalLabel(catalog.ReadCell(cell))
}

// named is what a row says of the slot that was read.
type named struct {
	slot                           pitch.Slot
	note                           pitch.Note
	hasNote, hasFingering, hasPart bool
}

// slot finds out which slot a row reads.
func (s *sessionReader) slot(d *draft, r row) (pitch.Slot, bool) {
	n, ok := s.named(r)
	switch {
	case !ok:
		return n.slot, false
	case n.hasFingering && n.hasPart && n.hasNote && n.slot.Note() != n.note:
		s.problem(s.line(colNote), colNote, n.note.String(), fmt.Sprintf("is not what fingering %s gives on partial %d: that is %s", n.slot.Valves, n.slot.Partial, n.slot.Note()),
			"correct the note, the fingering or the partial")
		return n.slot, false
	case n.hasFingering && n.hasPart:
		return n.slot, s.hasValves(d, n.slot)
	case n.hasNote:
		return s.slotOfNote(d, n)
	}
	s.slotMissing(n)
	return n.slot, false
}

// named reads the cells for note, fingering and partial.
func (s *sessionReader) named(r row) (n named, ok bool) {
	note, fingering, partial := s.cell(r, colNote), s.cell(r, colFingering), s.cell(r, colPartial)
	n.hasNote, n.hasFingering, n.hasPart = filled(note), filled(fingering), filled(partial)
	ok = true
	refuse := func(column int, cell, what, hint string) {
		ok = false
		s.problem(s.line(column), column, cell, what, hint)
	}
	var err error
	if n.hasNote {
		if n.note, err = pitch.ParseNote(note); err != nil {
			refuse(colNote, note, "is not a note", "write letter, accidental and octave, as in F#3 or Bb4")
		}
	}
	if n.hasFingering {
		if n.slot.Valves, err = pitch.ParseValves(fingering); err != nil {
			refuse(colFingering, fingering, "is not a fingering", "write the pressed valves as digits, as in 13, or 0 for none")
		}
	}
	if n.hasPart {
		if n.slot.Partial, err = pitch.ParsePartial(partial); err != nil {
			refuse(colPartial, partial, "is not a partial", fmt.Sprintf("write a whole number from 1 to %d", pitch.MaxPartial))
		}
	}
	return n, ok
}

// slotMissing says which cell of a row without a note has to be filled in.
func (s *sessionReader) slotMissing(n named) {
	switch {
	case n.hasFingering:
		s.problem(s.line(colPartial), colPartial, "", "is empty", "name the partial, or the written note")
	case n.hasPart:
		s.problem(s.line(colFingering), colFingering, "", "is empty", "name the pressed valves, 0 for none, or the written note")
	case s.t.layout.session[colNote] >= 0:
		s.problem(s.line(colNote), colNote, "", "is empty", "name the written note, or fingering and partial")
	default:
		s.problem(s.line(colFingering), colFingering, "", "is empty", "name the pressed valves and the partial")
	}
}

func filled(cell string) bool { return cell != "" && strings.TrimSpace(cell) != "" }

// slotOfNote is the slot for a written note, of which the fingering or the
// partial may be given too.
func (s *sessionReader) slotOfNote(d *draft, n named) (pitch.Slot, bool) {
	valves := d.valves()
	usual, ok := pitch.UsualSlot(n.note, valves)
	switch {
	case n.hasFingering:
		for _, slot := range pitch.SlotsFor(n.note, 4) {
			if slot.Valves == n.slot.Valves {
				return slot, s.hasValves(d, slot)
			}
		}
		s.problem(s.line(colFingering), colFingering, n.slot.Valves.String(), fmt.Sprintf("gives no %s on any partial", n.note), "correct the note or the fingering, or name the partial")
		return usual, false
	case n.hasPart && ok && usual.Partial != n.slot.Partial:
		s.problem(s.line(colPartial), colPartial, fmt.Sprint(n.slot.Partial), fmt.Sprintf("is not the usual one of %s, which is %d", n.note, usual.Partial), "name the fingering too, or correct the partial")
		return usual, false
	case !ok:
		s.problem(s.line(colNote), colNote, n.note.String(), fmt.Sprintf("is off the instrument with %d valves", valves), offInstrument)
	}
	return usual, ok
}

// valves is how many valves the horn of the session has, 3 as long as that is
// not known.
func (d *draft) valves() int {
	if d.horn != nil && d.horn.rec.Valves == 4 {
		return 4
	}
	return 3
}

// hasValves reports whether the horn has the valves of the slot.
func (s *sessionReader) hasValves(d *draft, slot pitch.Slot) bool {
	if d.horn == nil || !d.horn.sure() || slot.Valves < 1<<d.horn.rec.Valves {
		return true
	}
	s.problem(s.line(colFingering), colFingering, slot.Valves.String(), fmt.Sprintf("needs a fourth valve, which %q has not got", d.horn.rec.Label),
		"correct the fingering, or the number of valves of the horn")
	return false
}

// cents reads the deviation in a row.
func (s *sessionReader) cents(d *draft, r row, slot pitch.Slot, named bool) (float64, bool) {
	cell := s.cell(r, colCents)
	if !filled(cell) {
		s.problem(s.line(colCents), colCents, "", "is empty", "write the deviation, or leave the row out")
		return 0, false
	}
	v, err := parseNumber(cell, s.t.style)
	if err != nil {
		s.problem(s.line(colCents), colCents, cell, err.Error(), numberHint(err))
		return 0, false
	}
	return v, s.inRange(s.line(colCents), sessionColumns[colCents], cell, v, slot, named)
}

// inRange refuses deviations outside the accepted range, unless such are kept.
func (s *sessionReader) inRange(line int, column, cell string, v float64, slot pitch.Slot, named bool) bool {
	if !odd(v) {
		return true
	}
	note := ""
	if named {
		note = fmt.Sprintf(" for %s (%s)", slot.Note(), slot)
	}
	switch {
	case v < -catalog.MaxOddCents || v > catalog.MaxOddCents:
		s.p.found.add(s.t.problem(line, column, cell, "is more than ten octaves"+note, "correct it or leave the reading out"))
		return false
	case !s.p.o.KeepOdd:
		s.p.found.add(s.t.problem(line, column, cell, fmt.Sprintf("is outside %g..%g cents%s", catalog.MinCents, catalog.MaxCents, note),
			"check the note, the key and the tuner's A4, or keep such readings for review with --keep-odd"))
		return false
	}
	return true
}

// repeat reads the number of a reading, 0 if the row does not say.
func (s *sessionReader) repeat(r row) (int, bool) {
	cell := s.cell(r, colRepeat)
	if !filled(cell) {
		return 0, true
	}
	n, err := wholeNumber(cell)
	if err != nil || n < 1 || n > catalog.MaxRepeat {
		s.problem(s.line(colRepeat), colRepeat, cell, "is not the number of a reading", fmt.Sprintf("number the readings of a note 1, 2, 3, up to %d", catalog.MaxRepeat))
		return 0, false
	}
	return n, true
}

func wholeNumber(cell string) (int, error) {
	s := strings.TrimSpace(cell)
	if len(s) > 9 || !isDigits(s) {
		return 0, errors.New("is not a whole number")
	}
	n := 0
	for _, c := range s {
		n = 10*n + int(c-'0')
	}
	return n, nil
}

// wideRow reads a row that is one session.
func (s *sessionReader) wideRow(r row) {
	before := len(s.drafts)
	s.last = nil
	d := s.draft(r)
	if d == nil {
		return
	}
	if len(s.drafts) == before {
		s.problem(s.line(colSession), colSession, d.name, fmt.Sprintf("has a row already: line %d", d.line), "give each session one row; write several readings of a note into one cell, as in -3 -5 -4")
		return
	}
	s.describe(d, r)
	for _, c := range s.t.layout.notes {
		s.wideCell(d, r, c)
	}
	if len(d.readings) == 0 && !d.bad {
		d.bad = true
		s.problem(r.line, colSession, d.name, "has no readings", "write the deviations into the columns of the notes, or remove the row")
	}
}

// wideCell reads the readings in one cell.
func (s *sessionReader) wideCell(d *draft, r row, c noteColumn) {
	cell := r.cells[c.place]
	if !filled(cell) {
		return
	}
	line := s.t.src.lineOf(c.place)
	fail := func(value, what, hint string) {
		d.bad = true
		s.p.found.add(s.t.problem(line, c.title, value, what, hint))
	}
	slot, ok := c.slot, true
	if !c.bySlot {
		slot, ok = pitch.UsualSlot(c.note, d.valves())
	}
	if known := d.horn != nil && d.horn.sure(); !ok || known && slot.Valves >= 1<<d.horn.rec.Valves {
		fail(cell, fmt.Sprintf("is a reading off the instrument with %d valves", d.valves()), offInstrument)
		return
	}
	for _, part := range separateReadings(cell) {
		v, err := parseNumber(part, s.t.style)
		switch {
		case err != nil:
			fail(part, err.Error(), numberHint(err)+"; put spaces between several readings")
		case !s.inRange(line, c.title, part, v, slot, true):
			d.bad = true
		default:
			d.add(catalog.Reading{Slot: slot, Cents: v, Odd: odd(v)}, line)
		}
	}
}

// separateReadings splits a cell at spaces, slashes and semicolons, and at
// commas with a space after them.
func separateReadings(cell string) []string {
	parts := strings.FieldsFunc(cell, func(r rune) bool { return r == ' ' || r == '/' || r == ';' || r == '\t' || r == '\n' || r == '\u00a0' })
	for i, p := range parts {
		if i < len(parts)-1 {
			parts[i] = strings.TrimSuffix(p, ",")
		}
	}
	return parts
}
