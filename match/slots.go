package match

import (
	"slices"

	"centwise/catalog/pitch"
	"centwise/match/tuning"
)

// sortSlots orders slots by note, partial and valves.
func sortSlots(s []pitch.Slot) { slices.SortFunc(s, pitch.Slot.Compare) }

// usualSlots lists the usual slots of the notes low..high for which there are
// answers, upwards, and the notes for which there are none. Where a four-valve
// horn's usual slot has no answer, the one without the fourth valve stands in.
func usualSlots(low, high pitch.Note, valves int, answered func(pitch.Slot) bool) (slots []pitch.Slot, missing []pitch.Note) {
	for n := low; n <= high; n++ {
		s, ok := pitch.UsualSlot(n, valves)
		if !ok {
			continue
		}
		if !answered(s) {
			s, ok = pitch.UsualSlot(n, 3)
		}
		if !ok || !answered(s) {
			missing = append(missing, n)
			continue
		}
		slots = append(slots, s)
	}
	return slots, missing
}

// withHarmonics lists the given slots, in their order, and behind them the
// slots of their harmonics that profiles hold and for which there are answers.
func withHarmonics(slots []pitch.Slot, answered func(pitch.Slot) bool) []pitch.Slot {
	have := map[pitch.Slot]bool{}
	for _, s := range slots {
		have[s] = true
	}
	var more []pitch.Slot
	for _, s := range slots {
		for k := 2; k <= 4; k++ {
			if h, ok := tuning.Harmonic(s, k); ok && !have[h] && inProfiles[h] && answered(h) {
				have[h] = true
				more = append(more, h)
			}
		}
	}
	sortSlots(more)
	return append(slices.Clone(slots), more...)
}

// places gives the place of each slot in a list. It is asked for every note of
// millions of setups, so it is an array by valves and partial: 0 for a slot that
// is not there, else its place and one.
type places [16 * (pitch.MaxPartial + 1)]int16

func placesOf(slots []pitch.Slot) *places {
	at := &places{}
	for j, s := range slots {
		at.put(s, j)
	}
	return at
}

// number is where a slot's place stands; the valves are four bits.
func (p *places) number(s pitch.Slot) (int, bool) {
	return int(s.Valves)*(pitch.MaxPartial+1) + s.Partial, s.Valves < 16 && s.Partial >= 0 && s.Partial <= pitch.MaxPartial
}

// put notes the place of a slot; slots that can't be have none.
func (p *places) put(s pitch.Slot, place int) {
	if n, ok := p.number(s); ok {
		p[n] = int16(place + 1)
	}
}

// place is that of a slot in the list.
func (p *places) place(s pitch.Slot) (int, bool) {
	n, ok := p.number(s)
	if !ok || p[n] == 0 {
		return 0, false
	}
	return int(p[n]) - 1, true
}

// of gives the values of a profile by slot.
func (p *places) of(values []float64) func(pitch.Slot) (float64, bool) {
	return func(s pitch.Slot) (float64, bool) {
		j, ok := p.place(s)
		if !ok {
			return 0, false
		}
		return values[j], true
	}
}
