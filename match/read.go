package match

import (
	"fmt"
	"math"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// ReadNote is what the sessions with one setup read on a note, laid on the scale
// of the prediction: each session's own level and tuning slide are taken out,
// and so are its player's habits as far as they differ from those of the player
// whom the prediction is for.
type ReadNote struct {
	Cents float64 `json:"cents"` // mean of the readings
	// Low..High is the 80 % interval that the noise of readings alone gives that
	// mean; the day and what was taken out come on top.
	Low      float64 `json:"low"`
	High     float64 `json:"high"`
	Readings int     `json:"readings"`
}

// read fills in what the sessions of the setup read, note by note. Errors are
// the engine's.
func (x *Explanation) read(e Engine, o Of, p fit.Prediction) error {
	sessions := played(o.Sessions)
	if len(sessions) == 0 {
		return nil
	}
	differences, err := readDifferences(e, o, p, sessions)
	if err != nil {
		return err
	}
	noise := noiseOf(e, differences)
	for j := range x.Notes {
		d := differences[p.Slots[j]]
		if len(d) == 0 {
			continue
		}
		half := z80 * noise / math.Sqrt(float64(len(d)))
		cents := x.Notes[j].Cents + mean(d)
		x.Notes[j].Read = &ReadNote{Cents: cents, Low: cents - half, High: cents + half, Readings: len(d)}
	}
	return nil
}

// played are the sessions in which somebody played.
func played(sessions []catalog.Session) (out []catalog.Session) {
	for _, s := range sessions {
		if s.Method != catalog.MethodImpedance && s.Retraction == nil {
			out = append(out, s)
		}
	}
	return out
}

// readDifferences gives, by slot, how far each reading lies above what the fit
// expects of its session's own player.
func readDifferences(e Engine, o Of, p fit.Prediction, sessions []catalog.Session) (map[pitch.Slot][]float64, error) {
	setups := make([]fit.Setup, len(sessions))
	for i, s := range sessions {
		setups[i] = fit.Setup{Horn: o.Horn.ID, Mouthpiece: o.Mouthpiece.ID, Player: s.Player}
	}
	predictions, err := e.PredictMany(setups, p.Slots)
	if err == nil {
		err = usable(predictions, len(setups), len(p.Slots))
	}
	if err != nil {
		return nil, fmt.Errorf("predicting the sessions with %s and %s: %w", o.Horn.Label, o.Mouthpiece.Label, err)
	}
	at := placesOf(p.Slots)
	out := map[pitch.Slot][]float64{}
	for i, s := range sessions {
		var slots []pitch.Slot
		var above, slope []float64
		expected := at.of(predictions[i].Mean)
		for _, r := range s.Readings {
			if c, ok := expected(r.Slot); ok && !r.Odd {
				slots, above, slope = append(slots, r.Slot), append(above, r.Cents-c), append(slope, 1/r.Slot.Valves.Ratio())
			}
		}
		if len(slots) < minNotes {
			continue // too few to tell level and slide from the notes
		}
		for k, d := range residuals(above, slope) {
			out[slots[k]] = append(out[slots[k]], d)
		}
	}
	return out, nil
}

// noiseOf is the noise of a reading: what the engine learned, else what these
// readings show.
func noiseOf(e Engine, differences map[pitch.Slot][]float64) float64 {
	if n, ok := e.(noiseTeller); ok {
		return n.ReadingNoise()
	}
	var all []float64
	for _, d := range differences {
		all = append(all, d...)
	}
	if len(all) == 0 {
		return 0
	}
	return robustSD(all)
}
