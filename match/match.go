// Package match answers what users ask of a fit: what to expect of a setup and
// why ([Explain]), which pairing suits ([Rank]), many predictions at once
// ([Pairs]) and which measurements look wrong ([Check]).
//
// All numbers are cents unless their name says otherwise, + sharp. Predictions
// speak of relative intonation: the mean of a profile over the usual notes is
// not known and has been removed.
package match

import (
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// Engine predicts setups. [fit.Model] is one.
//
// Draw k of any two predictions of one Engine must belong to the same possible
// world. An empty Player is a typical player.
type Engine interface {
	Predict(s fit.Setup, slots []pitch.Slot) (fit.Prediction, error)
	// PredictMany gives one prediction a setup, in their order.
	PredictMany(s []fit.Setup, slots []pitch.Slot) ([]fit.Prediction, error)
}

// inProfiles reports whether profiles usually hold a slot: the six usable
// partials on every combination and three more on the open horn. Only these are
// asked for as harmonics of a note.
func inProfiles(s pitch.Slot) bool {
	switch s.Partial {
	case 2, 3, 4, 5, 6, 8:
		return true
	case 7, 9, 10:
		return s.Valves == 0
	}
	return false
}

// ProfileSlots lists the slots that profiles are usually measured on: partials
// 2, 3, 4, 5, 6 and 8 of the seven usual combinations of three valves and
// partials 7, 9 and 10 of the open horn, 45 in all, by note.
func ProfileSlots() []pitch.Slot {
	var out []pitch.Slot
	for _, v := range pitch.ThreeValveCombinations {
		if v.String() == "3" {
			continue // 12 is the usual way
		}
		for p := 2; p <= pitch.MaxPartial; p++ {
			if s := (pitch.Slot{Valves: v, Partial: p}); inProfiles(s) {
				out = append(out, s)
			}
		}
	}
	sortSlots(out)
	return out
}
