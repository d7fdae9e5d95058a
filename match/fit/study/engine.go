package main

import (
	"context"
	"fmt"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
	"centwise/match/fit/simulate"
)

// engine is our own fit, seen through what the product asks of it.
type engine struct {
	// fit fits whatever the store holds.
	fit   func(ctx context.Context, store catalog.Store) (predictor, error)
	w     *simulate.World
	model predictor
}

// predictor is a finished fit.
type predictor interface {
	PredictMany(s []fit.Setup, slots []pitch.Slot) ([]fit.Prediction, error)
}

func (*engine) Name() string { return "engine" }

func (e *engine) Fit(ctx context.Context, w *simulate.World) (err error) {
	e.w = w
	e.model, err = e.fit(ctx, w.Store())
	return err
}

func (e *engine) Predict(_ context.Context, pairs []simulate.Pair) ([]Profile, error) {
	setups := make([]fit.Setup, len(pairs))
	for i, p := range pairs {
		setups[i] = fit.Setup{Horn: e.w.HornID(p.Horn), Mouthpiece: e.w.MouthpieceID(p.Mouthpiece)}
	}
	predictions, err := e.model.PredictMany(setups, simulate.Slots)
	if err != nil {
		return nil, err
	}
	out := make([]Profile, len(predictions))
	for i, p := range predictions {
		if len(p.Mean) != len(simulate.Slots) || len(p.SD) != len(simulate.Slots) {
			return nil, fmt.Errorf("the engine gave %d means and %d deviations for %d slots", len(p.Mean), len(p.SD), len(simulate.Slots))
		}
		out[i] = Profile{Mean: p.Mean, SD: p.SD}
	}
	return out, nil
}
