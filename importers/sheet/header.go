package sheet

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// form is what kind of sheet a header announces.
type form int

const (
	longForm form = iota // sessions, a row a reading
	wideForm             // sessions, a row a session, a column a note
	gearForm             // a row an item of gear
)

func (f form) String() string {
	return [...]string{"session sheet", "session sheet with a column a note", "gear list"}[f]
}

// Columns of session sheets. Those up to traitCount describe the session, the
// rest a reading.
const (
	colContributor = iota
	colPlayer
	colHorn
	colMouthpiece
	colDate
	colA4
	colTemperature
	colSlide
	colGap
	colDynamic
	colMethod
	colAdapter
	colRemark
	traitCount
	colSession = iota - 1
	colFingering
	colPartial
	colNote
	colRepeat
	colCents
	sessionColumnCount
)

var sessionColumns = [sessionColumnCount]string{
	colContributor: "contributor", colPlayer: "player", colHorn: "horn", colMouthpiece: "mouthpiece", colDate: "date", colA4: "a4_hz",
	colTemperature: "temperature_c", colSlide: "slide_mm", colGap: "gap_mm", colDynamic: "dynamic", colMethod: "method",
	colAdapter: "adapter", colRemark: "remark", colSession: "session", colFingering: "fingering", colPartial: "partial", colNote: "note",
	colRepeat: "repeat", colCents: "cents",
}

// layout says where a sheet has what.
type layout struct {
	form    form
	width   int                     // cells of the header
	session [sessionColumnCount]int // place of each column, -1 = not there
	notes   []noteColumn            // of the wide form
	gear    map[string]int          // place of each column of a gear list
	unnamed []int                   // columns without a name
	ignored []string                // columns passed over
}

// noteColumn is a column of readings: of a written note, whose slot depends on
// the horn, or of a slot.
type noteColumn struct {
	place  int
	title  string
	note   pitch.Note
	slot   pitch.Slot
	bySlot bool
}

// foldColumn gives the form in which names of columns are compared: without
// case, spaces and marks.
func foldColumn(title string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, title)
}

// knownColumns are the columns of session sheets and gear lists, folded.
var knownColumns = func() map[string]string {
	known := map[string]string{}
	for _, name := range slices.Concat(sessionColumns[:], GearColumns()) {
		known[foldColumn(name)] = name
	}
	return known
}()

// columnsIn counts the titles in a row that are columns of any sheet.
func columnsIn(header []string) int {
	n := 0
	for _, title := range header {
		if _, ok := knownColumns[foldColumn(title)]; ok {
			n++
		} else if _, ok := parseNoteColumn(title); ok {
			n++
		}
	}
	return n
}

func parseNoteColumn(title string) (noteColumn, bool) {
	title = strings.TrimSpace(title)
	if n, err := pitch.ParseNote(title); err == nil {
		return noteColumn{title: title, note: n}, true
	}
	if s, err := pitch.ParseSlot(title); err == nil {
		return noteColumn{title: title, slot: s, note: s.Note(), bySlot: true}, true
	}
	return noteColumn{}, false
}

// headerReader makes a layout of a header.
type headerReader struct {
	titles      []string
	ignoreExtra bool
	layout      layout
	report      func(column, what, hint string)
	failed      bool
}

func (h *headerReader) problem(column, what, hint string) {
	h.failed = true
	h.report(column, what, hint)
}

// readHeader finds the columns; false when something is wrong with them.
func readHeader(titles []string, ignoreExtra bool, report func(column, what, hint string)) (layout, bool) {
	h := &headerReader{titles: titles, ignoreExtra: ignoreExtra, report: report}
	h.layout.width = len(titles)
	if columnsIn(titles) == 0 {
		h.problem("", "begins with "+quotedList(titles, 4)+", which is no header",
			"name the columns in the first row: session, player, horn, mouthpiece, note, cents; or kind, label and so on for a gear list")
		return h.layout, false
	}
	h.layout.form = h.whichForm()
	if h.layout.form == gearForm {
		h.gearColumns()
	} else {
		h.sessionColumns()
	}
	return h.layout, !h.failed
}

func (h *headerReader) whichForm() form {
	has := func(name string) bool {
		return slices.ContainsFunc(h.titles, func(t string) bool { return foldColumn(t) == foldColumn(name) })
	}
	isNote := func(t string) bool { _, ok := parseNoteColumn(t); return ok }
	switch {
	case has("label") && !has("session"), has("kind") && !has("session"):
		return gearForm
	case !has("cents") && slices.ContainsFunc(h.titles, isNote):
		return wideForm
	}
	return longForm
}

// place takes a title for a column of the given ones. It reports titles that
// are there twice or not known.
func (h *headerReader) place(known []string, take func(name string, at int), other func(title string, at int) bool) {
	seen := map[string]string{}
	for i, title := range h.titles {
		title = strings.TrimSpace(title)
		if title == "" {
			h.layout.unnamed = append(h.layout.unnamed, i)
			continue
		}
		at := slices.IndexFunc(known, func(name string) bool { return foldColumn(name) == foldColumn(title) })
		switch {
		case at < 0 && other(title, i):
		case at < 0:
			h.unknown(title, known)
		case seen[known[at]] != "":
			h.problem(known[at], fmt.Sprintf("is there twice, as %q and %q", seen[known[at]], title), "remove one of the columns")
		default:
			seen[known[at]] = title
			take(known[at], i)
		}
	}
}

func (h *headerReader) unknown(title string, known []string) {
	if h.ignoreExtra {
		h.layout.ignored = append(h.layout.ignored, title)
		return
	}
	hint := "rename or remove the column, or pass over it with --ignore-extra"
	if near := nearestColumn(title, known); near != "" {
		hint = fmt.Sprintf("did you mean %s? Otherwise pass over it with --ignore-extra", near)
	}
	h.problem("", fmt.Sprintf("has a column %q, which is not known in a %s", shortened(title), h.layout.form), hint)
}

// nearestColumn is the column that a title was likely meant for: one that goes
// on like it, or one a few slips away; empty if there is none.
func nearestColumn(title string, known []string) string {
	if folded := foldColumn(title); len(folded) > 2 {
		for _, name := range known {
			if strings.HasPrefix(foldColumn(name), folded) {
				return name
			}
		}
	}
	if near := catalog.Near(title, known, 1); len(near) == 1 {
		return near[0]
	}
	return ""
}

func (h *headerReader) sessionColumns() {
	known := sessionColumns[:]
	if h.layout.form == wideForm {
		known = slices.Concat(sessionColumns[:traitCount], []string{sessionColumns[colSession]})
	}
	for i := range h.layout.session {
		h.layout.session[i] = -1
	}
	h.place(known, func(name string, at int) {
		h.layout.session[slices.Index(sessionColumns[:], name)] = at
	}, func(title string, at int) bool {
		return h.layout.form == wideForm && h.noteColumn(title, at)
	})
	for _, column := range []int{colSession, colPlayer, colHorn, colMouthpiece} {
		h.require(column)
	}
	if h.layout.form == longForm {
		h.require(colCents)
		h.requireSlot()
	}
}

func (h *headerReader) require(column int) {
	if h.layout.session[column] < 0 {
		h.missing(sessionColumns[column])
	}
}

func (h *headerReader) missing(name string) {
	h.problem(name, "is a column that is missing", "the header has "+quotedList(h.titles, 12))
}

// requireSlot: the note, or fingering and partial, must be there.
func (h *headerReader) requireSlot() {
	at := h.layout.session
	switch {
	case at[colNote] >= 0, at[colFingering] >= 0 && at[colPartial] >= 0:
	case at[colFingering] >= 0:
		h.missing("partial")
	case at[colPartial] >= 0:
		h.missing("fingering")
	default:
		h.problem("note", "is a column that is missing", "name the written note of each reading, or its fingering and partial")
	}
}

// noteColumn takes a title for a column of readings, if it names a note.
func (h *headerReader) noteColumn(title string, at int) bool {
	c, ok := parseNoteColumn(title)
	if !ok {
		return false
	}
	c.place = at
	if !c.bySlot {
		if c.slot, ok = pitch.UsualSlot(c.note, 3); !ok {
			if c.slot, ok = pitch.UsualSlot(c.note, 4); !ok {
				h.problem(title, "is off the instrument", offInstrument)
				return true
			}
		}
	}
	for _, other := range h.layout.notes {
		if other.slot == c.slot {
			h.problem(title, fmt.Sprintf("is the same as the column %q", other.title), "remove one of the columns")
			return true
		}
	}
	h.layout.notes = append(h.layout.notes, c)
	return true
}

func (h *headerReader) gearColumns() {
	h.layout.gear = map[string]int{}
	h.place(GearColumns(), func(name string, at int) { h.layout.gear[name] = at }, func(string, int) bool { return false })
	for _, name := range []string{"kind", "label"} {
		if _, ok := h.layout.gear[name]; !ok {
			h.missing(name)
		}
	}
}
