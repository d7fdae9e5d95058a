package match

import (
	"fmt"
	"iter"

	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// PairRow is one setup of a batch: the labels as they are to be printed and
// the setup they stand for.
type PairRow struct {
	Horn, Mouthpiece string
	Setup            fit.Setup
}

// PairCents is the prediction of one slot of a batch. Cents and SD are of the
// relative profile, its mean over the 31 usual notes removed, with the
// interaction of horn and mouthpiece.
type PairCents struct {
	Horn       string  `json:"horn"`
	Mouthpiece string  `json:"mouthpiece"`
	Fingering  string  `json:"fingering"`
	Partial    int     `json:"partial"`
	Cents      float64 `json:"cents"`
	SD         float64 `json:"sd"`
	Linked     bool    `json:"linked"`
}

// Pairs predicts every slot of every row, row by row in their order, holding a
// few hundred predictions at a time. An error ends the sequence.
func Pairs(e Engine, rows []PairRow, slots []pitch.Slot) iter.Seq2[PairCents, error] {
	return func(yield func(PairCents, error) bool) {
		for start := 0; start < len(rows); start += batchSize {
			batch := rows[start:min(start+batchSize, len(rows))]
			setups := make([]fit.Setup, len(batch))
			for i, r := range batch {
				setups[i] = r.Setup
			}
			predictions, err := e.PredictMany(setups, slots)
			if err == nil {
				err = usable(predictions, len(setups), len(slots))
			}
			if err != nil {
				yield(PairCents{}, fmt.Errorf("predicting pairs %d to %d: %w", start+1, start+len(batch), err))
				return
			}
			for i, p := range predictions {
				if !yieldSlots(batch[i], p, yield) {
					return
				}
			}
		}
	}
}

func yieldSlots(r PairRow, p fit.Prediction, yield func(PairCents, error) bool) bool {
	for j, s := range p.Slots {
		line := PairCents{
			Horn: r.Horn, Mouthpiece: r.Mouthpiece, Fingering: s.Valves.String(), Partial: s.Partial,
			Cents: p.Mean[j], SD: p.SD[j], Linked: p.Linked,
		}
		if !yield(line, nil) {
			return false
		}
	}
	return true
}
