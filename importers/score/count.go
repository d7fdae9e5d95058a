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
	edges := edgesOf(intervals)
	sounding := map[pitch.Note]int{}
	last := 0.0
	for len(edges) > 0 {
		n := 1
		for n < len(edges) && edges[n].at-edges[0].at <= same {
			n++
		}
		t.pass(sounding, edges[0].at-last, lowest)
		last = edges[0].at
		t.turn(sounding, edges[:n], lowest)
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

// pass lets time go by.
func (t *tally) pass(sounding map[pitch.Note]int, seconds float64, lowest bool) {
	top, any := leading(sounding, lowest)
	if !any {
		return
	}
	t.seconds[top] += seconds
	for n := range sounding {
		if n != top {
			t.covered.Seconds += seconds
		}
	}
}

// turn ends and begins the notes of edges at one time.
func (t *tally) turn(sounding map[pitch.Note]int, edges []edge, lowest bool) {
	for _, e := range edges {
		if e.start {
			continue
		}
		if sounding[e.of.note]--; sounding[e.of.note] == 0 {
			delete(sounding, e.of.note)
		}
	}
	for _, e := range edges {
		if e.start {
			sounding[e.of.note]++
		}
	}
	top, _ := leading(sounding, lowest)
	struck := false // notes in unison are one
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

// leading is the note that counts among those that sound.
func leading(sounding map[pitch.Note]int, lowest bool) (top pitch.Note, any bool) {
	for n := range sounding {
		if !any || (n > top) != lowest {
			top, any = n, true
		}
	}
	return top, any
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
