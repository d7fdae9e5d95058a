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

// tally is what [count] finds.
type tally struct {
	seconds map[pitch.Note]float64
	times   map[pitch.Note]int
	covered Skipped // notes below another (or above, if the lowest count)
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

// count adds up for each note how long it sounds as the highest one (the lowest
// one): between any two edges the time goes to one of the notes that sound.
func count(intervals []interval, lowest bool) tally {
	t := tally{map[pitch.Note]float64{}, map[pitch.Note]int{}, Skipped{What: "notes under a higher one"}}
	if lowest {
		t.covered.What = "notes over a lower one"
	}
	c := newChord(intervals, lowest)
	edges := edgesOf(intervals)
	last := 0.0
	for len(edges) > 0 {
		n := 1
		for n < len(edges) && edges[n].at-edges[0].at <= same {
			n++
		}
		if top, ok := c.leading(); ok {
			t.seconds[top] += edges[0].at - last
			t.covered.Seconds += float64(c.distinct-1) * (edges[0].at - last)
		}
		last = edges[0].at
		t.turn(c, edges[:n])
		edges = edges[n:]
	}
	return t
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

// turn ends and begins the notes of edges at one time. The one that leads then is
// struck when it begins or when it comes out from under another.
func (t *tally) turn(c *chord, edges []edge) {
	before, any := c.leading()
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
	top, some := c.leading()
	struck := some && !(any && top == before)
	for _, e := range edges {
		switch {
		case !e.start || !e.of.struck:
		case e.of.note == top:
			struck = true
		default:
			t.covered.Times++
		}
	}
	if struck {
		t.times[top]++
	}
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
