package match

import (
	"fmt"
	"math"
	"slices"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// A tuning slide that is moved in the middle of a session lifts or lowers what
// is read from then on. Sheets don't say in which order notes were played, but
// most people go up or down: then the level steps between two notes. And who
// reads notes in rounds has it step between rounds.
const (
	leastStep  = 15.0 // cents; less is a player warming up
	stepGain   = 20.0 // logarithm of the likelihood ratio, over the best of all places; habits step a little too
	stepEdge   = 5    // notes on either side at least
	stepSure   = 0.8
	roundNotes = 6 // notes that must have been read twice
)

// step is a change of level in a session.
type step struct {
	cents, gain float64
	where       string
}

// slideMoved looks for a step; nil for none.
func (s *sheet) slideMoved(e expectation) *catalog.Finding {
	best := s.stepOfRounds()
	if x := s.stepOfNotes(e); x.gain > best.gain {
		best = x
	}
	if best.gain < stepGain || math.Abs(best.cents) < leastStep {
		return nil
	}
	direction := "higher"
	if best.cents < 0 {
		direction = "lower"
	}
	return &catalog.Finding{
		Kind: FindSlideMoved, Session: s.name(),
		Detail:    fmt.Sprintf("looks odd: %s lie %.0f cents %s than they should beside the others; was the tuning slide moved meanwhile?", best.where, math.Abs(best.cents), direction),
		Certainty: min(stepSure, certaintyOf(best.gain)),
		Repair:    fmt.Sprintf("centwise session retract %s --reason %s", catalog.ShellWord(s.name()), catalog.ShellWord("tuning slide moved during the session")),
	}
}

// stepOfNotes looks for the place between two notes where the level steps.
func (s *sheet) stepOfNotes(e expectation) (best step) {
	order := make([]int, 0, len(s.slots))
	for i, slot := range s.slots {
		if _, ok := e.cents(slot); ok {
			order = append(order, i)
		}
	}
	slices.SortFunc(order, func(a, b int) int { return s.slots[a].Compare(s.slots[b]) })
	x, slopes, noise := make([]float64, len(order)), make([]float64, len(order)), make([]float64, len(order))
	for k, i := range order {
		at, _ := e.cents(s.slots[i])
		sd, _ := e.sd(s.slots[i])
		x[k], slopes[k], noise[k] = s.cents[i]-at, 1/s.slots[i].Valves.Ratio(), math.Sqrt(s.noise*s.noise+sd*sd+e.extra)
	}
	if len(x) < 2*stepEdge {
		return step{}
	}
	plain := likelihood(residuals(x, slopes), noise)
	moved := make([]float64, len(x))
	for at := stepEdge; at <= len(x)-stepEdge; at++ {
		height := median(x[at:]) - median(x[:at])
		copy(moved, x)
		for k := at; k < len(x); k++ {
			moved[k] -= height
		}
		if gain := likelihood(residuals(moved, slopes), noise) - plain; gain > best.gain {
			best = step{height, gain, fmt.Sprintf("the notes from %s on", s.slots[order[at]].Note())}
		}
	}
	return best
}

// stepOfRounds compares the second readings of notes with the first ones.
func (s *sheet) stepOfRounds() step {
	first, seen := map[pitch.Slot]float64{}, map[pitch.Slot]int{}
	var rise, noise []float64
	for _, r := range s.Readings {
		switch seen[r.Slot]++; seen[r.Slot] {
		case 1:
			first[r.Slot] = r.Cents
		case 2:
			rise, noise = append(rise, r.Cents-first[r.Slot]), append(noise, math.Sqrt2*s.noise)
		}
	}
	if len(rise) < roundNotes {
		return step{}
	}
	height := median(rise)
	left := make([]float64, len(rise))
	for i := range rise {
		left[i] = rise[i] - height
	}
	return step{height, likelihood(left, noise) - likelihood(rise, noise), "the second readings of the notes"}
}
