// Package match answers what users ask of a fit: what to expect of a setup and
// why ([Explain]), which pairing suits ([Rank]), many predictions at once
// ([Pairs]) and which measurements look wrong ([Check]).
//
// All numbers are cents unless their name says otherwise, + sharp. Predictions
// speak of relative intonation: the mean of a profile over the usual notes is
// not known and has been removed.
package match

import (
	"fmt"

	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// Engine predicts setups. [fit.Model] is one.
//
// Draw k of any two predictions of one Engine must belong to the same possible
// world, and all predictions must have equally many draws. An empty Player is a
// typical player, an empty Mouthpiece a typical mouthpiece: its share is nought
// in the mean and in every draw.
//
// An Engine that can't answer for every slot says for which it can by a method
// Slots() []pitch.Slot; no other is asked of it.
type Engine interface {
	Predict(s fit.Setup, slots []pitch.Slot) (fit.Prediction, error)
	// PredictMany gives one prediction a setup, in their order.
	PredictMany(s []fit.Setup, slots []pitch.Slot) ([]fit.Prediction, error)
}

// inProfiles holds the slots that profiles usually hold. Only these are asked for
// as harmonics of a note.
var inProfiles = func() map[pitch.Slot]bool {
	in := map[pitch.Slot]bool{}
	for _, s := range fit.StandardSlots() {
		in[s] = true
	}
	return in
}()

// AnsweredSlots lists the slots that an engine answers for: those it names, else
// the standard ones.
func AnsweredSlots(e Engine) []pitch.Slot {
	if some, ok := e.(interface{ Slots() []pitch.Slot }); ok {
		return some.Slots()
	}
	return fit.StandardSlots()
}

// answers says which slots an engine answers for.
func answers(e Engine) func(pitch.Slot) bool {
	some, ok := e.(interface{ Slots() []pitch.Slot })
	if !ok {
		return func(pitch.Slot) bool { return true }
	}
	known := map[pitch.Slot]bool{}
	for _, s := range some.Slots() {
		known[s] = true
	}
	return func(s pitch.Slot) bool { return known[s] }
}

// usable checks that an engine kept its contract, so that a breach is an error
// here and no panic further on.
func usable(predictions []fit.Prediction, setups, slots int) error {
	if len(predictions) != setups {
		return fmt.Errorf("match: the engine gave %d predictions for %d setups", len(predictions), setups)
	}
	for i, p := range predictions {
		if len(p.Mean) != slots || len(p.Slots) != slots || len(p.SD) != slots {
			return fmt.Errorf("match: the engine gave prediction %d %d slots instead of %d", i, len(p.Mean), slots)
		}
		if len(p.Draws) != len(predictions[0].Draws) {
			return fmt.Errorf("match: the engine gave prediction %d %d draws instead of %d", i, len(p.Draws), len(predictions[0].Draws))
		}
	}
	return nil
}
