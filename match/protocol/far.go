package protocol

import (
	"math"
	"slices"

	"centwise/catalog/pitch"
)

// Far says why a reading is asked for again.
type Far int

// Reasons, the strongest last.
const (
	Near        Far = iota // it is not
	FromSession            // far from what the other notes of the session make plausible
	FromNote               // far from the other readings of the note
)

// A reading of a note that was read before is far when it differs from the
// median of the note's readings by more than farSDs standard deviations of such
// a difference, and by leastFarCents at least. The standard deviation of a
// reading is learned from the session itself, by the median of the differences
// between successive readings of a note, starting from usualSD as if
// usualWeight differences had shown it. Three of them mean that of 370 sound
// readings one is asked for again, which costs a few seconds.
//
// The first reading of a note has only the other notes to be compared with.
// What is left of each after the laws of its partial and its tube (see
// tendency) scatters by 10 cents or so around the session's own level, the
// median. Far is more than looseSDs times their robust standard deviation and
// leastLooseCents at least; with fewer than enough notes, more than blindCents
// from nought, since a tuner names another note beyond 50.
const (
	usualSD, usualWeight = 5.0, 8
	farSDs               = 3.0
	leastFarCents        = 10.0
	looseSDs             = 4.0
	leastLooseCents      = 35.0
	blindCents           = 60.0
	enough               = 5
)

// normalMAD makes a median absolute deviation a standard deviation, for normal
// errors (1/Phi^-1(0.75)).
const normalMAD = 1.4826

// taken is a reading that was accepted.
type taken struct {
	slot  pitch.Slot
	round int
	cents float64
}

// far judges the readings of one line, in their order.
func (s *Sitting) far(slot pitch.Slot, round int, cents []float64) []Far {
	all := append(s.earlier(slot, round), cents...)
	out := make([]Far, len(cents))
	if len(all) == len(cents) {
		for i, x := range cents {
			if s.implausible(slot, x) {
				out[i] = FromSession
			}
		}
	}
	if len(all) == 1 {
		return out
	}
	centre, limit := median(all), s.limit(len(all))
	if len(all) == 2 {
		limit /= 2 // each lies half of their difference from the median
	}
	for i, x := range cents {
		if math.Abs(x-centre) > limit {
			out[i] = FromNote
		}
	}
	return out
}

// agree reports whether two readings of one note are near each other.
func (s *Sitting) agree(x, y float64) bool { return math.Abs(x-y) <= s.limit(2) }

// limit is how far one of n readings of a note may lie from the others.
func (s *Sitting) limit(n int) float64 {
	return max(leastFarCents, farSDs*s.sd()*math.Sqrt(1+1/float64(n-1)))
}

// earlier are the readings of a slot so far, moved by what all notes together
// have moved since, so that a horn that warms up raises no alarm.
func (s *Sitting) earlier(slot pitch.Slot, round int) []float64 {
	now := s.drift(round)
	var out []float64
	for _, t := range s.taken {
		if t.slot == slot {
			out = append(out, t.cents+now-s.drift(t.round))
		}
	}
	return out
}

// drift is how far a round lies above the first one, by the median over the
// notes read in both. Where fewer than enough were, it is that of the round
// before.
func (s *Sitting) drift(round int) float64 {
	if round == 0 {
		return 0
	}
	first, here := s.means(0), s.means(round)
	var differences []float64
	for slot, x := range here {
		if y, ok := first[slot]; ok {
			differences = append(differences, x-y)
		}
	}
	if len(differences) < enough {
		return s.drift(round - 1)
	}
	return median(differences)
}

// means are the mean readings of the slots in one round.
func (s *Sitting) means(round int) map[pitch.Slot]float64 {
	sum, n := map[pitch.Slot]float64{}, map[pitch.Slot]float64{}
	for _, t := range s.taken {
		if t.round == round {
			sum[t.slot] += t.cents
			n[t.slot]++
		}
	}
	for slot := range sum {
		sum[slot] /= n[slot]
	}
	return sum
}

// sd is the standard deviation of a single reading.
func (s *Sitting) sd() float64 {
	usual := usualSD * math.Sqrt2 / normalMAD // the median of such differences
	differences := slices.Repeat([]float64{usual}, usualWeight)
	last := map[pitch.Slot]taken{}
	drift := make([]float64, len(s.rounds))
	for k := range drift {
		drift[k] = s.drift(k)
	}
	for _, t := range s.taken {
		if before, ok := last[t.slot]; ok {
			differences = append(differences, math.Abs(t.cents-drift[t.round]-before.cents+drift[before.round]))
		}
		last[t.slot] = t
	}
	return normalMAD * median(differences) / math.Sqrt2
}

// implausible reports whether the first reading of a slot is far from what the
// other notes make plausible.
func (s *Sitting) implausible(slot pitch.Slot, cents float64) bool {
	left := map[pitch.Slot]float64{}
	for _, t := range s.taken {
		if _, known := left[t.slot]; !known {
			left[t.slot] = t.cents - tendency(t.slot)
		}
	}
	if len(left) < enough {
		return math.Abs(cents) > blindCents
	}
	var all, away []float64
	for _, x := range left {
		all = append(all, x)
	}
	centre := median(all)
	for _, x := range all {
		away = append(away, math.Abs(x-centre))
	}
	limit := max(leastLooseCents, looseSDs*normalMAD*median(away))
	return math.Abs(cents-tendency(slot)-centre) > limit
}

// tubes are valve slides that are each in tune; combinations of them are short
// and sharp. The length does not matter.
var tubes = pitch.ExactSlides(1000)

// tendency is what the laws of harmonics and of added tubes make of a slot, in
// cents. Makers and players spread a combination's error over its valves, so
// half of it is taken.
func tendency(s pitch.Slot) float64 {
	return pitch.HarmonicCents(s.Partial) + tubes.SharpCents(s.Valves)/2
}

// median is that of an unsorted list that is not empty, which it leaves alone.
func median(list []float64) float64 {
	sorted := slices.Sorted(slices.Values(list))
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}
