package main

import (
	"context"
	"math"

	"centwise/match/fit/simulate"
)

// Profile is what a method predicts of a pair for a typical player: relative
// deviations on [simulate.Slots] (their mean over the 31 usual notes removed)
// and their standard deviations, cents. A nil SD means the method gives none.
type Profile struct {
	Mean, SD []float64
}

// Method is one way to predict pairs from the sessions of a world. It sees the
// world's readings and gear; only the bound may look at the truth behind them.
type Method interface {
	Name() string
	// Fit learns from the sessions of w.
	Fit(ctx context.Context, w *simulate.World) error
	// Predict gives one profile per pair, from the last Fit.
	Predict(ctx context.Context, pairs []simulate.Pair) ([]Profile, error)
}

// centredVariance is the variance of each entry of v minus its mean over the
// usual notes, when the entries are independent with these variances.
func centredVariance(variance []float64) []float64 {
	n, sum := float64(len(simulate.Usual)), 0.0
	inMean := make([]bool, len(variance))
	for _, j := range simulate.Usual {
		sum += variance[j]
		inMean[j] = true
	}
	out := make([]float64, len(variance))
	for j, v := range variance {
		out[j] = v + sum/(n*n)
		if inMean[j] {
			out[j] -= 2 * v / n
		}
	}
	return out
}

func roots(variance []float64) []float64 {
	out := make([]float64, len(variance))
	for j, v := range variance {
		out[j] = math.Sqrt(max(v, 0))
	}
	return out
}
