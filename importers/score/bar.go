package score

import (
	"encoding/xml"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Why notes do not count.
const (
	skipGrace     = "grace notes"
	skipCue       = "cue notes"
	skipUnpitched = "unpitched notes"
	skipSlash     = "slashes"
	skipBetween   = "notes between the semitones"
)

// bar is a measure of one part while it is read.
type bar struct {
	*document
	voice    *voice
	index    int
	at       float64 // where the next note begins, in quarter notes
	last     float64 // where the last one began: a chord's notes begin there
	farthest float64 // end of what was read
}

func (b *bar) element(e xml.StartElement) error {
	switch e.Name.Local {
	case "note":
		return b.note(e)
	case "backup", "forward":
		return b.move(e)
	case "attributes":
		return b.w.children(b.attribute)
	case "direction":
		return b.direction()
	case "sound":
		return b.sound(e)
	case "barline":
		return b.barline(e)
	}
	return b.w.skip()
}

// to sets where the next note begins.
func (b *bar) to(at float64) {
	b.at = at
	b.farthest = max(b.farthest, at)
}

// quarters reads a duration, whose text is in divisions of a quarter note.
func (b *bar) quarters(element string) (float64, error) {
	v, err := b.w.number(element)
	if err != nil {
		return 0, err
	}
	if b.voice.divisions == 0 {
		return 0, b.w.errorf("export the score again", "<%s> comes before <divisions> says what it counts", element)
	}
	if element == "duration" && v < 0 {
		return 0, b.w.errorf("correct it, or export the score again", "a duration is %v", v)
	}
	return v / b.voice.divisions, nil
}

// move reads a backup or forward.
func (b *bar) move(e xml.StartElement) error {
	length := 0.0
	err := b.w.children(func(child xml.StartElement) (err error) {
		if child.Name.Local != "duration" {
			return b.w.skip()
		}
		length, err = b.quarters("duration")
		return err
	})
	if e.Name.Local == "forward" {
		b.to(b.at + length)
		return err
	}
	const rounding = 1e-6
	if b.at-length < -rounding {
		b.remarks.add(fmt.Sprintf("Measure %s of part %s goes back to before its beginning; the beginning was taken.", b.measures[b.index].number, b.voice.ID))
	}
	b.to(max(0, b.at-length))
	return err
}

// attribute handles the children of attributes.
func (b *bar) attribute(e xml.StartElement) error {
	switch e.Name.Local {
	case "divisions":
		v, err := b.w.number("divisions")
		if err == nil && (v < 1e-6 || v > 1e6) {
			err = b.w.errorf("export the score again", "<divisions> is %v", v)
		}
		b.voice.divisions = v
		return err
	case "time":
		return b.time()
	case "transpose":
		t, err := b.transposition()
		b.voice.transposes[staffOf(attribute(e, "number"))] = t
		return err
	case "for-part":
		return b.w.children(func(e xml.StartElement) error {
			if e.Name.Local != "part-transpose" {
				return b.w.skip()
			}
			t, err := b.transposition()
			b.voice.transposed = &t
			return err
		})
	}
	return b.w.skip()
}

// staffOf reads the number of a staff, 0 for none.
func staffOf(text string) int {
	n, _ := strconv.Atoi(text)
	if n < 1 || n > 100 {
		return 0
	}
	return n
}

// time reads a time signature. It is needed for measures with nothing in them.
func (b *bar) time() error {
	length, beats := 0.0, 0.0
	err := b.w.children(func(e xml.StartElement) error {
		if e.Name.Local != "beats" && e.Name.Local != "beat-type" {
			return b.w.skip()
		}
		text, err := b.w.text()
		switch v := sumOf(text); {
		case e.Name.Local == "beats":
			beats = v
		case v > 0:
			length += 4 * beats / v
		}
		return err
	})
	if length > 0 && length < 1000 {
		b.beats = length
	}
	return err
}

// sumOf reads 4 or 3+2; what it can't read is 0.
func sumOf(text string) float64 {
	sum := 0.0
	for _, part := range strings.Split(text, "+") {
		v, ok := decimal(strings.TrimSpace(part))
		if !ok {
			return 0
		}
		sum += v
	}
	return sum
}

// transposition reads a transpose or part-transpose: chromatic semitones and
// octaves to add to written pitch.
func (b *bar) transposition() (t transposition, err error) {
	err = b.w.children(func(e xml.StartElement) error {
		switch e.Name.Local {
		case "chromatic":
			v, err := b.w.whole("chromatic", -100, 100)
			t += transposition(v)
			return err
		case "octave-change":
			v, err := b.w.whole("octave-change", -9, 9)
			t += transposition(12 * v)
			return err
		}
		return b.w.skip()
	})
	return t, err
}

// rawNote is a note element while it is read.
type rawNote struct {
	chord, grace, cue, rest, tied, slash bool
	pitch                                *rawPitch
	length                               float64
	timed                                bool // has a duration
	staff                                int
}

type rawPitch struct {
	step   string
	alter  float64
	octave int
}

func (b *bar) note(e xml.StartElement) error {
	var r rawNote
	if err := b.w.children(func(child xml.StartElement) error { return b.noteChild(&r, child) }); err != nil {
		return err
	}
	only, err := b.passes(e)
	if err != nil {
		return err
	}
	if !r.timed && !r.grace {
		return b.w.errorf("correct it, or export the score again", "a note has no duration")
	}
	start := b.at
	if r.chord {
		start = b.last
	}
	if !r.grace && !r.chord {
		b.last = start
		b.to(start + r.length)
	}
	b.farthest = max(b.farthest, start+r.length)
	if r.rest {
		return nil
	}
	n := note{start: start, length: r.length, struck: !r.tied, only: only}
	if err := b.pitched(&n, r); err != nil {
		return err
	}
	notes := &b.voice.notes[b.index]
	*notes = append(*notes, n)
	return nil
}

func (b *bar) noteChild(r *rawNote, e xml.StartElement) (err error) {
	switch e.Name.Local {
	case "chord":
		r.chord = true
	case "grace":
		r.grace = true
	case "cue":
		r.cue = true
	case "rest":
		r.rest = true
	case "tie":
		r.tied = r.tied || attribute(e, "type") == "stop"
	case "pitch":
		r.pitch = &rawPitch{octave: math.MinInt}
		return b.w.children(func(e xml.StartElement) error { return b.pitchChild(r.pitch, e) })
	case "duration":
		r.timed = true
		r.length, err = b.quarters("duration")
		return err
	case "staff":
		text, err := b.w.text()
		r.staff = staffOf(text)
		return err
	case "notehead":
		text, err := b.w.text()
		r.slash = text == "slash"
		return err
	}
	return b.w.skip()
}

func (b *bar) pitchChild(p *rawPitch, e xml.StartElement) (err error) {
	switch e.Name.Local {
	case "step":
		p.step, err = b.w.text()
		return err
	case "alter":
		p.alter, err = b.w.number("alter")
		return err
	case "octave":
		p.octave, err = b.w.whole("octave", 0, 9)
		return err
	}
	return b.w.skip()
}

var stepSemitones = map[string]int{"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}

// pitched says which note it is, or why it does not count.
func (b *bar) pitched(n *note, r rawNote) error {
	switch {
	case r.pitch == nil:
		n.skip = skipUnpitched
	case r.grace:
		n.skip, n.length = skipGrace, 0
	case r.cue:
		n.skip = skipCue
	case r.slash:
		n.skip = skipSlash
	case r.pitch.alter != math.Trunc(r.pitch.alter):
		n.skip = skipBetween
	}
	if r.pitch == nil {
		return nil
	}
	base, ok := stepSemitones[r.pitch.step]
	if !ok || r.pitch.octave == math.MinInt || math.Abs(r.pitch.alter) > 12 {
		return b.w.errorf("correct it, or export the score again", "a pitch needs a <step> from A to G, an <octave>, and an <alter> of some semitones")
	}
	b.place(n, 12*(r.pitch.octave+1)+base+int(r.pitch.alter), r.staff)
	return nil
}

// concertB is the transposition of the commonest instrument, in B flat.
const concertB transposition = -2

// place sets written and sounding pitch of a note that stands at in the file.
func (b *bar) place(n *note, at, staff int) {
	v := b.voice
	t, ok := v.transposes[staff]
	if !ok {
		t = v.transposes[0]
	}
	n.written, n.sounding = int16(at), int16(at+int(t))
	if !b.concert {
		return
	}
	made := concertB
	if v.transposed != nil {
		made = *v.transposed
	}
	n.written = n.sounding - int16(made)
}
