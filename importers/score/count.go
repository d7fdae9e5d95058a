package score

import (
	"cmp"
	"maps"
	"slices"

	"centwise/catalog/pitch"
)

// interval is one note sounding from start to end, in seconds from the beginning
// of the piece.
type interval struct {
	start, end float64
	note       pitch.Note
	struck     bool // begins here; false when it is tied to the one before
}

// performance is a part played through once.
type performance struct {
	intervals []interval
	seconds   float64
	skipped   skips
	remarks   remarks
}

// left is what was not counted, with the notes that others covered.
func (p *performance) left(covered Skipped) []Skipped {
	out := p.skipped.list()
	if covered.Times > 0 || covered.Seconds > same {
		out = append(out, covered)
	}
	for i := range out {
		out[i].Seconds = rounded(out[i].Seconds)
	}
	return out
}

// Played is a note from Start to End, in seconds from the beginning of the piece.
type Played struct {
	Note       pitch.Note // written
	Start, End float64
}

// Times closer than this, in seconds, are the same: they come from sums that were
// rounded differently.
const same = 1e-7

// edge is where an interval begins or ends.
type edge struct {
	at    float64
	start bool
	of    *interval
}

// singleLine gives what one player plays of the intervals: of the notes that sound
// between any two edges the highest one (the lowest one). A note that is tied on
// goes on; one that is struck again, or comes out from under another, begins anew.
// covered is the notes and the time that others lead.
func singleLine(intervals []interval, lowest bool) (line []Played, covered Skipped) {
	covered.What = "notes under a higher one"
	if lowest {
		covered.What = "notes over a lower one"
	}
	c := newChord(intervals, lowest)
	edges := edgesOf(intervals)
	last, open := 0.0, false // whether the end of line still sounds
	for len(edges) > 0 {
		n := 1
		for n < len(edges) && edges[n].at-edges[0].at <= same {
			n++
		}
		at := edges[0].at
		covered.Seconds += float64(max(0, c.distinct-1)) * (at - last)
		last = at
		top, any, struck := c.turn(edges[:n], &covered)
		edges = edges[n:]
		if open && any && !struck && line[len(line)-1].Note == top {
			continue
		}
		if open {
			line[len(line)-1].End = at
		}
		if open = any; open {
			line = append(line, Played{Note: top, Start: at})
		}
	}
	return line, covered
}

func edgesOf(intervals []interval) []edge {
	edges := make([]edge, 0, 2*len(intervals))
	for i := range intervals {
		if v := &intervals[i]; v.end-v.start > 2*same {
			edges = append(edges, edge{v.start, true, v}, edge{v.end, false, v})
		}
	}
	slices.SortStableFunc(edges, func(a, b edge) int { return cmp.Compare(a.at, b.at) })
	return edges
}

// chord is the notes that sound at a time.
type chord struct {
	low      pitch.Note // the first of sounding
	sounding []int      // how often each note sounds
	distinct int        // notes that sound
	lowest   bool       // leads
}

// newChord is a silent chord that can hold the notes of intervals.
func newChord(intervals []interval, lowest bool) *chord {
	if len(intervals) == 0 {
		return &chord{}
	}
	byNote := func(a, b interval) int { return cmp.Compare(a.note, b.note) }
	low, high := slices.MinFunc(intervals, byNote).note, slices.MaxFunc(intervals, byNote).note
	return &chord{low: low, sounding: make([]int, high-low+1), lowest: lowest}
}

// add begins (1) or ends (-1) a note.
func (c *chord) add(n pitch.Note, by int) {
	at := &c.sounding[n-c.low]
	*at += by
	switch {
	case *at == 0:
		c.distinct--
	case *at == by: // the first
		c.distinct++
	}
}

// turn ends and begins the notes of edges at one time. It gives the note that
// leads then, if any, and whether that is struck; others that are struck are
// covered.
func (c *chord) turn(edges []edge, covered *Skipped) (top pitch.Note, any, struck bool) {
	for _, e := range edges {
		if !e.start {
			c.add(e.of.note, -1)
		}
	}
	for _, e := range edges {
		if e.start {
			c.add(e.of.note, 1)
		}
	}
	top, any = c.leading()
	for _, e := range edges {
		switch {
		case !e.start || !e.of.struck:
		case e.of.note == top:
			struck = true
		default:
			covered.Times++
		}
	}
	return top, any, struck
}

// leading is the note that counts, false for silence.
func (c *chord) leading() (pitch.Note, bool) {
	if c.distinct == 0 {
		return 0, false
	}
	heard := func(n int) bool { return n > 0 }
	if c.lowest {
		return c.low + pitch.Note(slices.IndexFunc(c.sounding, heard)), true
	}
	at := len(c.sounding) - 1
	for !heard(c.sounding[at]) {
		at--
	}
	return c.low + pitch.Note(at), true
}

func sortedNotes[V any](m map[pitch.Note]V) []pitch.Note { return slices.Sorted(maps.Keys(m)) }

// skips gathers sorts of notes that are not counted, in the order they came.
type skips struct{ kinds []Skipped }

func (s *skips) add(what string, seconds float64) {
	for i := range s.kinds {
		if s.kinds[i].What == what {
			s.kinds[i].Times++
			s.kinds[i].Seconds += seconds
			return
		}
	}
	s.kinds = append(s.kinds, Skipped{what, 1, seconds})
}

func (s *skips) list() []Skipped { return s.kinds }

// remarks gathers sentences, each once, not more than a reader will read.
type remarks struct{ sentences []string }

const maxRemarks = 12

func (r *remarks) add(sentence string) {
	if len(r.sentences) < maxRemarks && !slices.Contains(r.sentences, sentence) {
		r.sentences = append(r.sentences, sentence)
	}
}

func (r *remarks) list() []string { return r.sentences }
