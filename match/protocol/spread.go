package protocol

import (
	"math"
	"slices"

	"centwise/catalog/pitch"
)

// NoteSpread is how the readings of one slot agree.
type NoteSpread struct {
	Slot     pitch.Slot
	Readings int
	Cents    float64 // their median
	Spread   float64 // the highest less the lowest, what all notes drifted between rounds removed
}

// Spread is how the readings of a sitting agree.
type Spread struct {
	Notes []NoteSpread // upwards
	// SD is the standard deviation of a single reading, pooled over the notes
	// read more than once; 0 when none was.
	SD float64
	// Drift is how far each round lies above the first.
	Drift   []float64
	Skipped []pitch.Slot // slots without a reading, upwards
}

// Spread says how the readings taken so far agree.
func (s *Sitting) Spread() Spread {
	var out Spread
	drift := make([]float64, len(s.rounds))
	for k := range s.rounds {
		drift[k] = s.drift(k)
	}
	out.Drift = drift
	cents, level := map[pitch.Slot][]float64{}, map[pitch.Slot][]float64{}
	for _, t := range s.taken {
		cents[t.slot] = append(cents[t.slot], t.cents)
		level[t.slot] = append(level[t.slot], t.cents-drift[t.round])
	}
	squares, freedom := 0.0, 0
	for _, slot := range s.slots() {
		list := level[slot]
		if len(list) == 0 {
			out.Skipped = append(out.Skipped, slot)
			continue
		}
		out.Notes = append(out.Notes, NoteSpread{slot, len(list), median(cents[slot]), slices.Max(list) - slices.Min(list)})
		squares += sumOfSquares(list)
		freedom += len(list) - 1
	}
	if freedom > 0 {
		out.SD = math.Sqrt(squares / float64(freedom))
	}
	return out
}

// slots are those of all rounds, each once, upwards.
func (s *Sitting) slots() []pitch.Slot {
	all := slices.Concat(s.rounds...)
	slices.SortFunc(all, pitch.Slot.Compare)
	return slices.Compact(all)
}

// sumOfSquares is that of the deviations from the mean.
func sumOfSquares(list []float64) float64 {
	mean, sum := 0.0, 0.0
	for _, x := range list {
		mean += x / float64(len(list))
	}
	for _, x := range list {
		sum += (x - mean) * (x - mean)
	}
	return sum
}
