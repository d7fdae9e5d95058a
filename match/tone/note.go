package tone

import (
	"fmt"
	"math"
	"slices"
)

// Note is one tone.
type Note struct {
	Start, End float64 // s from the beginning of the take
	Hz         float64 // of the fundamental
	Dynamic    float64 // how hard it is blown, more than 0 to 1
}

// Dynamics with a name. Each halving softens the highest harmonics by another
// 6 dB an octave.
const (
	Soft   = 0.25
	Medium = 0.5
	Loud   = 1.0
)

// Take is music that is heard as one piece. Notes may overlap and come in any
// order.
type Take []Note

// Seconds is when the last note ends.
func (t Take) Seconds() float64 {
	end := 0.0
	for _, n := range t {
		end = max(end, n.End)
	}
	return end
}

// check finds what can't be rendered at a sample rate.
func (t Take) check(rate int) error {
	if len(t) == 0 {
		return fmt.Errorf("a take has no notes")
	}
	for i, n := range t {
		if err := n.check(rate); err != nil {
			return fmt.Errorf("note %d: %w", i+1, err)
		}
	}
	return nil
}

func (n Note) check(rate int) error {
	switch {
	case !(n.Start >= 0 && n.End > n.Start && n.End <= MaxSeconds):
		return fmt.Errorf("it lasts from %g to %g s: give times from 0 to %d, the earlier first", n.Start, n.End, MaxSeconds)
	case !(n.Dynamic > 0 && n.Dynamic <= 1):
		return fmt.Errorf("its dynamic is %g: give more than 0, at most 1", n.Dynamic)
	case !(n.Hz >= MinHz):
		return fmt.Errorf("its frequency is %g Hz: give %d Hz or more", n.Hz, MinHz)
	case n.Hz > top(rate):
		return fmt.Errorf("%.0f Hz is too high for %d samples a second: take a rate of %.0f or more", n.Hz, rate, math.Ceil(n.Hz/bandShare))
	}
	return nil
}

// sorted gives the notes by their beginnings.
func (t Take) sorted() Take {
	out := slices.Clone(t)
	slices.SortStableFunc(out, func(a, b Note) int {
		switch {
		case a.Start < b.Start:
			return -1
		case a.Start > b.Start:
			return 1
		}
		return 0
	})
	return out
}
