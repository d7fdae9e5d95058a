package score

import (
	"cmp"
	"encoding/xml"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// Bounds on repetition.
const (
	maxPasses = 100  // of one repeat
	maxMarks  = 1000 // jumps, tempos or endings of one measure
)

// measure is what holds for all parts in a measure.
type measure struct {
	number  string  // as printed
	length  float64 // quarter notes; of its content until finish
	beats   float64 // quarter notes, by the time signature; 0 = not known
	forward bool    // a repeated passage begins here
	back    *back   // and ends here
	opens   []int   // the passes of an ending that begins here
	closes  bool    // an ending is over after this measure
	jumps   []jump
	signs   []sign
	tempos  []tempo // by place, when finished
}

// back is the end of a repeated passage.
type back struct {
	times     int // played altogether; 0 = not said
	afterJump bool
}

// jump is a D.C., D.S., To Coda or Fine.
type jump struct {
	kind  jumpKind
	label string  // of the sign it goes to
	at    float64 // quarter notes from the beginning of the measure; used of a Fine
	only  []int   // the passes it holds for, nil for all
}

type jumpKind string

const (
	daCapo   jumpKind = "D.C."
	dalSegno jumpKind = "D.S."
	toCoda   jumpKind = "To Coda"
	fine     jumpKind = "Fine"
)

// sign is a place to jump to.
type sign struct {
	coda  bool
	label string
	at    float64
}

// tempo holds from a place on.
type tempo struct {
	at        float64 // quarter notes from the beginning of the measure
	perMinute float64 // quarter notes
	begun     float64 // seconds from the beginning of the measure; set by newClock
}

// defaultTempo is taken where a file has none, in quarter notes a minute. It is
// the default of Standard MIDI files; MusicXML has none.
const defaultTempo = 120.0

// finish settles the length and the order of tempos.
func (m *measure) finish() {
	if m.length == 0 {
		m.length = m.beats
	}
	slices.SortStableFunc(m.tempos, func(a, b tempo) int { return cmp.Compare(a.at, b.at) })
}

// room fails when a measure has more marks than any score.
func (b *bar) room(n int) error {
	if n >= maxMarks {
		return b.w.errorf("export the score again", "the measure has more than %d marks of a kind", maxMarks)
	}
	return nil
}

// directionMarks are what a direction says, all of which is to be known before it
// can be placed.
type directionMarks struct {
	offset  float64 // of the direction, if it is meant for playing
	delayed float64 // offset of its sound element
	sound   *xml.StartElement
	tempo   float64 // of its metronome mark
	words   string
}

// direction reads a direction: words, a metronome mark, a sound element.
func (b *bar) direction() error {
	var r directionMarks
	if err := b.w.children(func(e xml.StartElement) error { return b.directionChild(&r, e) }); err != nil {
		return err
	}
	if r.tempo > 0 && (r.sound == nil || attribute(*r.sound, "tempo") == "") {
		if err := b.tempo(r.offset+r.delayed, r.tempo); err != nil {
			return err
		}
	}
	if r.sound != nil {
		return b.marks(*r.sound, r.offset+r.delayed)
	}
	if directs().MatchString(r.words) {
		b.remarks.add(fmt.Sprintf("Measure %s says %q in words only; playing does not follow that.", b.measures[b.index].number, r.words))
	}
	return nil
}

func (b *bar) directionChild(r *directionMarks, e xml.StartElement) error {
	switch e.Name.Local {
	case "direction-type":
		return b.w.children(func(e xml.StartElement) (err error) {
			switch e.Name.Local {
			case "metronome":
				r.tempo, err = b.metronome()
				return err
			case "words":
				r.words, err = b.w.text()
				return err
			}
			return b.w.skip()
		})
	case "offset":
		sounds := attribute(e, "sound") == "yes"
		offset, err := b.quarters("offset")
		if sounds {
			r.offset = offset
		}
		return err
	case "sound":
		copied := e.Copy()
		r.sound = &copied
		delayed, err := b.soundOffset()
		r.delayed = delayed
		return err
	}
	return b.w.skip()
}

// directs recognises words that tell a player to jump.
var directs = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`(?i)^\s*(d\.?\s?[cs]\.?(\s+al\b|\s*$)|da capo\b|dal segno\b|to coda\b|al coda\b|fine\s*$)`)
})

// sound reads a sound element that stands in a measure.
func (b *bar) sound(e xml.StartElement) error {
	copied := e.Copy()
	offset, err := b.soundOffset()
	if err != nil {
		return err
	}
	return b.marks(copied, offset)
}

// soundOffset reads the children of a sound element.
func (b *bar) soundOffset() (offset float64, err error) {
	err = b.w.children(func(e xml.StartElement) (err error) {
		if e.Name.Local == "offset" {
			offset, err = b.quarters("offset")
			return err
		}
		return b.w.skip()
	})
	return offset, err
}

// marks takes the attributes of a sound element, offset quarter notes from here.
func (b *bar) marks(e xml.StartElement, offset float64) error {
	only, err := b.passes(e)
	if err != nil {
		return err
	}
	m := &b.measures[b.index]
	at := max(0, b.at+offset)
	if text := attribute(e, "tempo"); text != "" {
		v, ok := decimal(text)
		if !ok {
			return b.w.errorf("correct it, or export the score again", "a tempo is %q, not a number", text)
		}
		if only != nil && !slices.Contains(only, 1) {
			b.remarks.add(fmt.Sprintf("A tempo in measure %s that is for later passes only was not taken.", m.number))
		} else if err := b.tempo(offset, v); err != nil {
			return err
		}
	}
	m.forward = m.forward || attribute(e, "forward-repeat") == "yes"
	for _, k := range jumpAttributes {
		label := attribute(e, k.name)
		if label == "" || k.kind == daCapo && label == "no" {
			continue
		}
		same := func(j jump) bool { return j.kind == k.kind && j.label == label && slices.Equal(j.only, only) }
		if !slices.ContainsFunc(m.jumps, same) { // another part may have it too
			m.jumps = append(m.jumps, jump{k.kind, label, at, only})
		}
	}
	if err := b.room(len(m.jumps)); err != nil {
		return err
	}
	return b.signs(e, at)
}

var jumpAttributes = []struct {
	name string
	kind jumpKind
}{{"dacapo", daCapo}, {"dalsegno", dalSegno}, {"tocoda", toCoda}, {"fine", fine}}

// signs takes the attributes segno and coda of a sound or barline.
func (b *bar) signs(e xml.StartElement, at float64) error {
	m := &b.measures[b.index]
	for _, name := range []string{"segno", "coda"} {
		s := sign{name == "coda", attribute(e, name), at}
		if s.label != "" && !slices.Contains(m.signs, s) {
			m.signs = append(m.signs, s)
		}
	}
	return b.room(len(m.signs))
}

// tempo notes a tempo in quarter notes a minute, offset quarter notes from here.
func (b *bar) tempo(offset, perMinute float64) error {
	m := &b.measures[b.index]
	const slowest, fastest = 1, 10_000
	if perMinute < slowest || perMinute > fastest {
		b.remarks.add(fmt.Sprintf("A tempo of %v in measure %s was not taken.", perMinute, m.number))
		return nil
	}
	if t := (tempo{at: max(0, b.at+offset), perMinute: perMinute}); !slices.Contains(m.tempos, t) {
		m.tempos = append(m.tempos, t)
	}
	return b.room(len(m.tempos))
}

// beatUnits are the note values of metronome marks in quarter notes (MusicXML
// 4.0, note-type-value).
var beatUnits = map[string]float64{
	"maxima": 32, "long": 16, "breve": 8, "whole": 4, "half": 2, "quarter": 1, "eighth": 1. / 2, "16th": 1. / 4,
	"32nd": 1. / 8, "64th": 1. / 16, "128th": 1. / 32, "256th": 1. / 64, "512th": 1. / 128, "1024th": 1. / 256,
}

// beat is a note value made of units, dots and ties.
type beat struct {
	units    int
	quarters float64
	last     float64 // what the last unit or dot added
}

func (t *beat) read(w *walker, e xml.StartElement) error {
	switch e.Name.Local {
	case "beat-unit":
		text, err := w.text()
		t.units++
		t.last = beatUnits[text]
		t.quarters += t.last
		return err
	case "beat-unit-dot":
		t.last /= 2
		t.quarters += t.last
	}
	return w.skip()
}

// metronome reads a metronome mark: quarter notes a minute, 0 if it does not say.
func (b *bar) metronome() (float64, error) {
	var unit, tied beat
	perMinute := 0.0
	err := b.w.children(func(e xml.StartElement) error {
		switch e.Name.Local {
		case "beat-unit-tied":
			return b.w.children(func(e xml.StartElement) error { return tied.read(b.w, e) })
		case "per-minute":
			text, err := b.w.text()
			perMinute, _ = strconv.ParseFloat(figures().FindString(text), 64)
			return err
		}
		return unit.read(b.w, e)
	})
	if err == nil && (unit.units != 1 || unit.quarters == 0 || perMinute == 0) {
		b.remarks.add(fmt.Sprintf("The metronome mark in measure %s gives no number; the tempo before it was kept.", b.measures[b.index].number))
		return 0, nil
	}
	return (unit.quarters + tied.quarters) * perMinute, err
}

// figures finds the first number in a text such as "c. 108".
var figures = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`[0-9]+(\.[0-9]+)?`)
})

// barline reads repeats and endings.
func (b *bar) barline(line xml.StartElement) error {
	at := math.Inf(1) // the right barline
	if attribute(line, "location") == "left" {
		at = 0
	}
	if err := b.signs(line, at); err != nil {
		return err
	}
	return b.w.children(func(e xml.StartElement) (err error) {
		switch e.Name.Local {
		case "repeat":
			err = b.repeat(e)
		case "ending":
			err = b.ending(e)
		}
		if err != nil {
			return err
		}
		return b.w.skip()
	})
}

func (b *bar) repeat(e xml.StartElement) error {
	m := &b.measures[b.index]
	if attribute(e, "direction") == "forward" {
		m.forward = true
		return nil
	}
	r := &back{afterJump: attribute(e, "after-jump") == "yes"}
	if text := attribute(e, "times"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > maxPasses {
			return b.w.errorf("correct it, or export the score again", "a repeat is to be played %q times, not 1 to %d", text, maxPasses)
		}
		r.times = n
	}
	if m.back != nil { // another part has it too
		r.times, r.afterJump = max(r.times, m.back.times), r.afterJump || m.back.afterJump
	}
	m.back = r
	return nil
}

func (b *bar) ending(e xml.StartElement) error {
	m := &b.measures[b.index]
	if attribute(e, "type") != "start" {
		m.closes = true
		return nil
	}
	numbers, ok := passList(attribute(e, "number"))
	if !ok {
		return b.w.errorf("correct it, or export the score again", "an ending is for the passes %q, which are no numbers", attribute(e, "number"))
	}
	if numbers != nil {
		m.opens = numbers
	}
	return nil
}

// passes reads the attribute time-only, nil if there is none.
func (b *bar) passes(e xml.StartElement) ([]int, error) {
	text := attribute(e, "time-only")
	if only, ok := passList(text); ok && !strings.Contains(text, "-") {
		return only, nil
	}
	return nil, b.w.errorf("correct it, or export the score again", "time-only is %q, which are no numbers", text)
}

// passList reads "1, 2" or, as some write it, "1-3"; nil for nothing.
func passList(text string) ([]int, bool) {
	var out []int
	for _, part := range strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ' ' }) {
		low, high, isRange := strings.Cut(strings.TrimSuffix(part, "."), "-")
		if !isRange {
			high = low
		}
		a, errA := strconv.Atoi(low)
		z, errZ := strconv.Atoi(high)
		if errA != nil || errZ != nil || a < 1 || z < a || z > maxPasses {
			return nil, false
		}
		for n := a; n <= z; n++ {
			out = append(out, n)
		}
	}
	return out, len(out) <= maxPasses
}
