package recording

import (
	"math"
	"slices"
)

// A run is a stretch of frames that have a pitch, with little gaps. Runs are cut
// into pieces of one pitch and one stroke of the tongue each.

// Lengths in frames of a hundredth of a second, levels in dB, pitches in cents.
const (
	longestGap  = 8    // frames without pitch inside a run: a click is shorter
	longestRun  = 6000 // then a run is taken as it is, so that memory stays flat
	stepWindow  = 15   // frames on either side of a step of pitch
	leastStep   = 55.0 // a semitone of a trumpet may be as small as 70 cents
	stepEdge    = 4    // frames at least on either side of a step
	dipWindow   = 25   // frames to look for the level beside a dip
	leastDip    = 6.0  // of the level, between two strokes of the tongue, if
	quickRise   = 8.0  // it then rises by so much in two frames; or
	deepDip     = 14.0 // with whatever rise
	riseWindow  = 8    // frames
	leastStroke = 20   // frames between strokes
	leastPiece  = 15   // shorter pieces are no notes, but may be cracked attacks
)

// piece is a stretch of a run, frames from to to-1.
type piece struct{ from, to int }

func (p piece) len() int { return p.to - p.from }

// pieces cuts a run where the pitch steps, the tongue strikes, or the sound stops
// for a moment. A step that a click hides is seen all the same.
func pieces(run []frame) []piece {
	cuts := append(steps(run), strokes(run)...)
	slices.Sort(cuts)
	var out []piece
	from := 0
	for _, at := range append(slices.Compact(cuts), len(run)) {
		if at > from {
			out = append(out, piece{from, at})
		}
		from = at
	}
	return out
}

// steps finds where the pitch moves by leastStep or more and stays there: local
// maxima of the difference of medians before and after, then the place nearby
// where it moves most quickly.
func steps(run []frame) []int {
	voiced := make([]int, 0, len(run))
	cents := make([]float64, 0, len(run))
	for i, f := range run {
		if f.voiced {
			voiced, cents = append(voiced, i), append(cents, f.cents)
		}
	}
	scratch := make([]float64, 0, stepWindow)
	jump := func(i, window int) float64 {
		after := median(append(scratch[:0], cents[i:min(i+window, len(cents))]...))
		before := median(append(scratch[:0], cents[max(0, i-window):i]...))
		return math.Abs(after - before)
	}
	var cuts []int
	for i := stepEdge; i+stepEdge <= len(cents); i++ {
		best, highest := i, 0.0
		for ; i+stepEdge <= len(cents); i++ {
			x := jump(i, stepWindow)
			if x < leastStep {
				break
			}
			if x > highest {
				best, highest = i, x
			}
		}
		if highest == 0 {
			continue
		}
		at, quickest := best, 0.0
		for j := max(stepEdge, best-stepWindow); j <= min(len(cents)-stepEdge, best+stepWindow); j++ {
			if x := jump(j, stepEdge); x > quickest {
				at, quickest = j, x
			}
		}
		cuts = append(cuts, voiced[at])
	}
	return cuts
}

// strokes finds where the tongue strikes again: the level dips and rises quickly.
// Vibrato in a room makes dips of 10 dB and more too, but slower ones, and a
// click only adds to the level.
func strokes(run []frame) []int {
	var cuts []int
	for i := 1; i+1 < len(run); i++ {
		if run[i].moment > run[i-1].moment || run[i].moment >= run[i+1].moment || !struck(run, i) {
			continue
		}
		if n := len(cuts); n > 0 && i-cuts[n-1] < leastStroke {
			if run[i].moment < run[cuts[n-1]].moment {
				cuts[n-1] = i
			}
			continue
		}
		cuts = append(cuts, i)
	}
	return cuts
}

// struck tells whether the dip at frame i is the gap before a stroke.
func struck(run []frame, i int) bool {
	here := run[i].moment
	before, after, rise := here, here, 0.0
	for _, f := range run[max(0, i-dipWindow):i] {
		before = max(before, f.moment)
	}
	for j := i + 1; j < min(len(run), i+riseWindow); j++ {
		after = max(after, run[j].moment)
		rise = max(rise, run[j].moment-run[max(i, j-2)].moment)
	}
	depth := min(before, after) - here
	return depth >= deepDip || depth >= leastDip && rise >= quickRise
}

// median sorts list and gives its middle; NaN if there is none.
func median(list []float64) float64 { return quantile(list, 0.5) }

// quantile sorts list and gives its share q from below, between its members where
// need be; NaN if there is none.
func quantile(list []float64, q float64) float64 {
	if len(list) == 0 {
		return math.NaN()
	}
	slices.Sort(list)
	at := q * float64(len(list)-1)
	low := int(at)
	high := min(low+1, len(list)-1)
	return list[low] + (at-float64(low))*(list[high]-list[low])
}
