package match

import (
	"fmt"
	"math"
	"slices"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// A tuning slide that is moved in the middle of a session lifts or lowers what
// is read from then on. Sheets don't say in which order notes were played, but
// most people go up or down: then the level steps between two notes. And who
// reads notes in rounds has it step between rounds.
const (
	leastStep  = 12.0 // cents; less is a player warming up
	stepGain   = 10.0 // logarithm of the likelihood ratio, over the best of all places; right sessions reach 6
	stepEdge   = 5    // notes on either side at least
	stepSure   = 0.8
	stepSD     = 30.0 // cents by which slides are moved: common practice, no source
	roundNotes = 6    // notes that must have been read twice
)

// step is a change of level in a session.
type step struct {
	cents, gain float64
	where       string
}

// slideMoved looks for a step; nil for none.
func (s *sheet) slideMoved(e expectation, v values, at []int, entered agreement) *catalog.Finding {
	best := s.stepOfRounds(e.law)
	if x := s.stepOfNotes(e, v, at, entered); x.gain > best.gain {
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

// stepOfNotes looks for the place between two notes where the level steps: what was
// read from there on is moved like all notes of the slide.
func (s *sheet) stepOfNotes(e expectation, v values, at []int, entered agreement) (best step) {
	order := make([]int, len(at))
	for a := range order {
		order[a] = a
	}
	slices.SortFunc(order, func(a, b int) int { return s.slots[at[a]].Compare(s.slots[at[b]]) })
	shape := e.shorter(v)
	var steps []float64
	for k, a := range order {
		if k >= stepEdge && k <= len(order)-stepEdge {
			if gain, cents := entered.along(shape, stepSD); gain > best.gain {
				best = step{cents, gain, fmt.Sprintf("the notes from %s on", s.slots[at[a]].Note())}
				steps = slices.Clone(shape)
			}
		}
		shape[a] = 0
	}
	without := slices.Clone(entered.off)
	for a, share := range steps {
		without[a] -= best.cents * share
	}
	if clippedRMS(residuals(without, e.shorter(v))) > closer*e.clippedRMS(v) {
		return step{} // other things are wrong with it
	}
	return best
}

// stepOfRounds compares the second readings of notes with the first ones.
func (s *sheet) stepOfRounds(law fit.SessionLaw) step {
	first, seen := map[pitch.Slot]float64{}, map[pitch.Slot]int{}
	var rise []float64
	for _, r := range s.Readings {
		switch seen[r.Slot]++; seen[r.Slot] {
		case 1:
			first[r.Slot] = r.Cents
		case 2:
			rise = append(rise, r.Cents-first[r.Slot])
		}
	}
	if len(rise) < roundNotes {
		return step{}
	}
	height, gain := median(rise), 0.0
	for _, x := range rise {
		gain += logMixture(x-height, 2*s.noise*s.noise, law) - logMixture(x, 2*s.noise*s.noise, law)
	}
	return step{height, gain, "the second readings of the notes"}
}

// logMixture is the logarithm of the density of a difference under the mixture of
// good readings and slips, up to a constant.
func logMixture(cents, variance float64, law fit.SessionLaw) float64 {
	k := law.GrossFactor
	z2 := cents * cents / variance
	return math.Log((1-law.GrossShare)*math.Exp(-z2/2) + law.GrossShare/k*math.Exp(-z2/(2*k*k)) + 1e-300)
}
