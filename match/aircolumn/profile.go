package aircolumn

import (
	"math"
	"slices"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Peaks finds the resonances of single slots, in their order. It fails when one
// of them has no peak.
func (m *Model) Peaks(slots []pitch.Slot) ([]Resonance, error) {
	var valves []pitch.Valves
	upTo := 1
	for _, s := range slots {
		if !slices.Contains(valves, s.Valves) {
			valves = append(valves, s.Valves)
		}
		upTo = max(upTo, s.Partial)
	}
	found, err := m.Resonances(valves, upTo)
	if err != nil {
		return nil, err
	}
	bySlot := map[pitch.Slot]Resonance{}
	for _, r := range found {
		bySlot[r.Slot] = r
	}
	out := make([]Resonance, len(slots))
	var missing []string
	for i, s := range slots {
		r, ok := bySlot[s]
		if !ok {
			missing = append(missing, s.String())
		}
		out[i] = r
	}
	if missing != nil {
		return nil, catalog.Errorf(catalog.Invalid, "ask for other partials, or check the bore", "the bore has no resonance for %s (fingering/partial)", strings.Join(missing, ", "))
	}
	return out, nil
}

// Shift is how far every slot moves, in cents, + up, from one model to another:
// the answer to "what if". Both are solved; nothing is linearised.
func Shift(from, to *Model, slots []pitch.Slot) ([]float64, error) {
	before, err := from.Peaks(slots)
	if err != nil {
		return nil, err
	}
	after, err := to.Peaks(slots)
	if err != nil {
		return nil, err
	}
	out := make([]float64, len(slots))
	for i := range out {
		out[i] = 1200 * math.Log2(after[i].FrequencyHz/before[i].FrequencyHz)
	}
	return out, nil
}
