package match

import (
	"slices"

	"centwise/catalog/pitch"
	"centwise/match/tuning"
)

// sortSlots orders slots by note, partial and valves.
func sortSlots(s []pitch.Slot) { slices.SortFunc(s, pitch.Slot.Compare) }

// withHarmonics lists the given slots, in their order, and behind them the
// slots of their harmonics that profiles hold.
func withHarmonics(slots []pitch.Slot) []pitch.Slot {
	have := map[pitch.Slot]bool{}
	for _, s := range slots {
		have[s] = true
	}
	var more []pitch.Slot
	for _, s := range slots {
		for k := 2; k <= 4; k++ {
			if h, ok := tuning.Harmonic(s, k); ok && !have[h] && inProfiles(h) {
				have[h] = true
				more = append(more, h)
			}
		}
	}
	sortSlots(more)
	return append(slices.Clone(slots), more...)
}

// lookup gives the values of a profile by slot.
func lookup(slots []pitch.Slot, values []float64) func(pitch.Slot) (float64, bool) {
	at := make(map[pitch.Slot]float64, len(slots))
	for j, s := range slots {
		at[s] = values[j]
	}
	return func(s pitch.Slot) (float64, bool) {
		v, ok := at[s]
		return v, ok
	}
}
