package visit

import (
	"slices"
)

// DecidingNotes is how many notes are played of each candidate unless told
// otherwise: in simulated visits eight hold 90 % of what 31 say about the score.
const DecidingNotes = 8

// Times is how often each is played.
const Times = 2

// Teller knows what readings of notes would tell about the errors of some setups.
type Teller struct {
	readings [][]float64 // by setup: n x n covariance of what readings would be
	with     [][]float64 // by setup: n, covariance of the error with them
	variance float64     // of all the errors together
}

// Teller takes covariances from the worlds, so that the error's bends count.
func (v *Visit) Teller(setups []int) *Teller {
	n := v.belief.Slots()
	s := &Teller{}
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

// Take removes from all covariances what reading a note tells, and gives how much
// of the errors' variance that is, cents squared.
func (s *Teller) Take(note int) (explained float64) {
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

// Clone gives a teller of which notes can be taken apart from the first.
func (s *Teller) Clone() *Teller {
	out := &Teller{variance: s.variance}
	for i := range s.readings {
		out.readings = append(out.readings, slices.Clone(s.readings[i]))
		out.with = append(out.with, slices.Clone(s.with[i]))
	}
	return out
}

// Worth is what Take would give.
func (s *Teller) Worth(note int) (explained float64) {
	for i, c := range s.readings {
		n := len(s.with[i])
		explained += s.with[i][note] * s.with[i][note] / c[note*n+note]
	}
	return explained
}

// Notes chooses the notes that tell most about the errors of some setups: each
// adds most to the part of the errors' variance that readings explain, which is
// not what tells most about the profile. Since the constant and the slide of a
// session are free, the first two by themselves tell little, and the one that
// tells most alone need not be among the best; so every note is tried as the
// first, and notes are then exchanged, one at a time, as long as that tells more.
// They come in the order in which they tell most, as places of the slots.
func (v *Visit) Notes(setups []int, count int) []int {
	t := v.Teller(setups)
	count = min(count, v.belief.Slots())
	if count < 1 {
		return nil
	}
	var chosen []int
	most := 0.0
	for first := range v.belief.Slots() {
		set, told := t.exchange(t.greedy([]int{first}, nil, count))
		if chosen == nil || told > most*(1+1e-9) {
			chosen, most = set, told
		}
	}
	return t.greedy(nil, chosen, count)
}

// exchange exchanges notes as long as that tells more, and gives what they tell
// then.
func (s *Teller) exchange(chosen []int) (set []int, told float64) {
	told = s.told(chosen)
	for range exchanges {
		before := told
		for range chosen {
			others := slices.Clone(chosen[1:])
			next := s.Clone()
			for _, note := range others {
				next.Take(note)
			}
			chosen = append(others, next.best(func(j int) bool { return !slices.Contains(others, j) }))
		}
		if told = s.told(chosen); told <= before*(1+1e-9) {
			break
		}
	}
	return chosen, told
}

// exchanges is how often the notes are gone through; two or three times settle
// them.
const exchanges = 10

// best is the note that tells most of those that may be taken; -1 if none may.
func (s *Teller) best(may func(note int) bool) int {
	note, told := -1, 0.0
	for j := range s.with[0] {
		if !may(j) {
			continue
		}
		if w := s.Worth(j); note < 0 || w > told {
			note, told = j, w
		}
	}
	return note
}

// greedy takes one note after the other, each the one that tells most then, the
// first ones as given; from limits it to some, nil to none.
func (s *Teller) greedy(first, from []int, count int) []int {
	next, out := s.Clone(), slices.Clone(first)
	for _, note := range first {
		next.Take(note)
	}
	for len(out) < count {
		best := next.best(func(j int) bool { return !slices.Contains(out, j) && (from == nil || slices.Contains(from, j)) })
		next.Take(best)
		out = append(out, best)
	}
	return out
}

// told is how much of the errors' variance some notes explain, cents squared.
func (s *Teller) told(notes []int) (explained float64) {
	next := s.Clone()
	for _, note := range notes {
		explained += next.Take(note)
	}
	return explained
}

// Explained is the share of the variance of the errors of some setups that
// readings of some notes explain, 0..1.
func (v *Visit) Explained(setups, notes []int) float64 {
	t := v.Teller(setups)
	if t.variance == 0 {
		return 0
	}
	return t.told(notes) / t.variance
}
