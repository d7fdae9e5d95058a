package score

import (
	"cmp"
	"fmt"
	"slices"

	"centwise/catalog/pitch"
)

// perform implements [player].
func (q *sequence) perform(index int, o Options) (*performance, error) {
	c := q.parts[index]
	p := &performance{}
	p.remarks.sentences = slices.Clone(q.remarks.sentences)
	tempos, end := q.tempos, int64(0)
	for _, t := range q.tracks {
		end = max(end, t.end)
	}
	if q.format == 2 { // every track is a piece of its own
		tempos, end = c.track.tempos, c.track.end
	}
	clock := newTickClock(q.ticks, tempos)
	up := -int(concertB)
	if o.Transposition != nil {
		up = -*o.Transposition
	} else {
		p.remarks.add("MIDI holds sounding pitch: the notes were written for an instrument in Bb.")
	}
	for _, n := range c.notes {
		p.intervals = append(p.intervals, interval{clock.seconds(n.start), clock.seconds(n.end), pitch.Note(int(n.key) + up), true})
	}
	p.seconds = clock.seconds(end)
	if q.ticks.perQuarter > 0 && (len(tempos) == 0 || tempos[0].tick > 0) {
		p.remarks.add(fmt.Sprintf("The file gives no tempo at its beginning: %v quarter notes a minute were taken.", defaultTempo))
	}
	if c.open > 0 {
		p.remarks.add(fmt.Sprintf("Notes that never end were ended with their track: %d.", c.open))
	}
	return p, nil
}

// tickClock gives times in seconds of ticks.
type tickClock struct {
	ticks  timing
	tempos []tickTempo
	begun  []float64 // seconds at each of them
}

func newTickClock(ticks timing, tempos []tickTempo) *tickClock {
	c := &tickClock{ticks: ticks, tempos: tempos}
	for _, t := range tempos {
		c.begun = append(c.begun, c.seconds(t.tick))
	}
	return c
}

// seconds is the time of a tick, going by the tempos of which begun is known.
func (c *tickClock) seconds(tick int64) float64 {
	if c.ticks.perSecond > 0 {
		return float64(tick) / c.ticks.perSecond
	}
	known := c.tempos[:len(c.begun)]
	after, _ := slices.BinarySearchFunc(known, tick, func(t tickTempo, tick int64) int { return cmp.Compare(t.tick, tick) })
	if after == 0 {
		return float64(tick) / c.ticks.perQuarter * 60 / defaultTempo
	}
	t := known[after-1]
	return c.begun[after-1] + float64(tick-t.tick)/c.ticks.perQuarter*t.quarter
}
