package score

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"centwise/catalog/pitch"
)

// maxPlayed bounds how many notes of a part are played.
const maxPlayed = 2_000_000

// perform implements [player].
func (d *document) perform(index int, o Options) (*performance, error) {
	v := d.parts[index]
	p := &performance{}
	p.remarks.sentences = slices.Clone(d.remarks.sentences)
	visits, err := order(d.measures, &p.remarks)
	if err != nil {
		return nil, d.endless()
	}
	d.remarkTempo(p)
	d.remarkPitch(p, v, o)
	if v.count(visits) > maxPlayed {
		return nil, d.endless()
	}
	clock := newClock(d.measures)
	for _, visit := range visits {
		d.playMeasure(p, v, visit, clock, o)
	}
	return p, nil
}

// count is how many notes there are in visits.
func (v *voice) count(visits []visit) int {
	sum := 0
	for _, visit := range visits {
		if visit.measure < len(v.notes) {
			sum += len(v.notes[visit.measure])
		}
	}
	return sum
}

// playMeasure appends a measure to what was played.
func (d *document) playMeasure(p *performance, v *voice, visit visit, clock *clock, o Options) {
	m := &d.measures[visit.measure]
	if visit.measure < len(v.notes) {
		for _, n := range v.notes[visit.measure] {
			if !n.sounds(visit) {
				continue
			}
			from, to := n.start, min(n.start+n.length, visit.until)
			p.take(n, n.read(o), p.seconds+clock.seconds(visit.measure, from), p.seconds+clock.seconds(visit.measure, to))
		}
	}
	p.seconds += clock.seconds(visit.measure, min(m.length, visit.until))
}

// read is the note that the player reads.
func (n note) read(o Options) pitch.Note {
	if o.Transposition != nil {
		return pitch.Note(int(n.sounding) - *o.Transposition)
	}
	return pitch.Note(n.written)
}

// sounds reports whether a note is played in a visit to its measure.
func (n note) sounds(v visit) bool {
	return n.start < v.until && (n.only == nil || slices.Contains(n.only, v.pass))
}

// take adds a note from start to end, in seconds, or what was skipped.
func (p *performance) take(n note, written pitch.Note, start, end float64) {
	if n.skip != "" {
		p.skipped.add(n.skip, end-start)
		return
	}
	p.intervals = append(p.intervals, interval{start, end, written, n.struck})
}

func (d *document) endless() error {
	return invalid("check the repeats of the score, or export a part without them",
		"%s: played through with its repeats, the piece has more than %d measures or %d notes", d.w.file, maxVisits, maxPlayed)
}

// remarkTempo says where a tempo had to be supposed.
func (d *document) remarkTempo(p *performance) {
	for i, m := range d.measures {
		if len(m.tempos) == 0 {
			continue
		}
		if i > 0 {
			p.remarks.add(fmt.Sprintf("No tempo is given before measure %s: %v quarter notes a minute were taken.", m.number, defaultTempo))
		}
		return
	}
	p.remarks.add(fmt.Sprintf("The score gives no tempo: %v quarter notes a minute were taken.", defaultTempo))
}

// remarkPitch says what was supposed about written and sounding pitch.
func (d *document) remarkPitch(p *performance, v *voice, o Options) {
	if o.Transposition != nil {
		return
	}
	if d.concert && v.transposed == nil {
		p.remarks.add("The score is in concert pitch: the notes were written for an instrument in Bb.")
	}
	first, place := math.MinInt, 0
	for i, notes := range v.notes {
		for _, n := range notes {
			t := int(n.sounding - n.written)
			if first != math.MinInt && t != first && place == 0 && n.skip == "" {
				place = i
				p.remarks.add(fmt.Sprintf("The transposition of the part changes in measure %s: its notes were taken as written, for whichever instrument.", d.measures[i].number))
			}
			if n.skip == "" && first == math.MinInt {
				first = t
			}
		}
	}
}

// clock gives times in seconds from tempos.
type clock struct {
	measures []measure
	begin    []float64 // tempo that holds at the beginning of each measure
}

func newClock(measures []measure) *clock {
	c := &clock{measures, make([]float64, len(measures))}
	now := defaultTempo
	for i, m := range measures {
		c.begin[i] = now
		at, begun := 0.0, 0.0
		for j := range m.tempos {
			t := &m.tempos[j]
			begun += (t.at - at) * 60 / now
			at, now, t.begun = t.at, t.perMinute, begun
		}
	}
	return c
}

// seconds is the time from the beginning of a measure to a place in it, in
// quarter notes.
func (c *clock) seconds(measure int, place float64) float64 {
	tempos := c.measures[measure].tempos
	after, _ := slices.BinarySearchFunc(tempos, place, func(t tempo, place float64) int { return cmp.Compare(t.at, place) })
	if after == 0 {
		return place * 60 / c.begin[measure]
	}
	t := tempos[after-1]
	return t.begun + (place-t.at)*60/t.perMinute
}
