package visit

import (
	"math"
	"slices"
)

// DecidingNotes is how many notes are played of each candidate unless told
// otherwise: in simulated visits eight hold 85 % of what 31 say about the score.
const DecidingNotes = 8

// Times is how often each is played.
const Times = 2

// scorer knows how the readings of some setups tell about their errors.
type scorer struct {
	readings [][]float64 // by setup: n x n covariance of what readings would be
	with     [][]float64 // by setup: n, covariance of the error with them
	variance float64     // of all the errors together
}

// newScorer takes covariances from the worlds, so that the error's bends count.
func (v *Visit) newScorer(setups []int) *scorer {
	n := v.belief.Slots()
	s := &scorer{}
	for _, i := range setups {
		mean, at := 0.0, make([]float64, n)
		for k, e := range v.errors[i] {
			mean += e / Worlds
			for j, x := range v.worlds.Profile(i, k) {
				at[j] += x / Worlds
			}
		}
		c := v.law.Coming(Times)
		with := make([]float64, n)
		for k, e := range v.errors[i] {
			s.variance += (e - mean) * (e - mean) / Worlds
			x := v.worlds.Profile(i, k)
			for j := range n {
				d := (x[j] - at[j]) / Worlds
				with[j] += d * (e - mean)
				for l := range n {
					c[j*n+l] += d * (x[l] - at[l])
				}
			}
		}
		s.readings, s.with = append(s.readings, c), append(s.with, with)
	}
	return s
}

// take removes from all covariances what reading a note tells, and gives how much
// of the errors' variance that is.
func (s *scorer) take(note int) (explained float64) {
	for i, c := range s.readings {
		with := s.with[i]
		n := len(with)
		pivot := c[note*n+note]
		column := make([]float64, n)
		for j := range n {
			column[j] = c[j*n+note]
		}
		told := with[note]
		explained += told * told / pivot
		for j, x := range column {
			with[j] -= x * told / pivot
			for l, y := range column {
				c[j*n+l] -= x * y / pivot
			}
		}
	}
	return explained
}

// worth is what take would give.
func (s *scorer) worth(note int) (explained float64) {
	for i, c := range s.readings {
		n := len(s.with[i])
		explained += s.with[i][note] * s.with[i][note] / c[note*n+note]
	}
	return explained
}

// Notes chooses the notes that tell most about the errors of some setups: each
// adds most to the share of the errors' variance that readings explain, which is
// not what tells most about the profile. It gives them in the order of choice, as
// places of the slots.
func (v *Visit) Notes(setups []int, count int) []int {
	s := v.newScorer(setups)
	var out []int
	for len(out) < min(count, v.belief.Slots()) {
		best, most := -1, math.Inf(-1)
		for j := range v.belief.Slots() {
			if w := s.worth(j); !slices.Contains(out, j) && w > most {
				best, most = j, w
			}
		}
		s.take(best)
		out = append(out, best)
	}
	return out
}

// Explained is the share of the variance of the errors of some setups that
// readings of some notes explain, 0..1.
func (v *Visit) Explained(setups, notes []int) float64 {
	s := v.newScorer(setups)
	sum := 0.0
	for _, note := range notes {
		sum += s.take(note)
	}
	if s.variance == 0 {
		return 0
	}
	return sum / s.variance
}
