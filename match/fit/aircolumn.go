package fit

import (
	"fmt"
	"sync"

	"gonum.org/v1/gonum/mat"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/aircolumn"
)

// sensitivitySlots are where the generic air column is asked: seven combinations
// with the six usable partials.
var sensitivitySlots = func() []pitch.Slot {
	var out []pitch.Slot
	for _, v := range []pitch.Valves{0, 1, 2, 3, 5, 6, 7} {
		for _, n := range []int{2, 3, 4, 5, 6, 8} {
			out = append(out, pitch.Slot{Valves: v, Partial: n})
		}
	}
	return out
}()

// cupSensitivities gives what the generic trumpet's air column makes of the
// mouthpiece's dimensions: cents per unit of each logarithm, in the order of
// [DimensionNames], as coefficients of mouthpieceBasis (1+smoothKnots).
var cupSensitivities = sync.OnceValue(func() [dimensionCount][]float64 {
	setup, err := aircolumn.Generic(catalog.Trumpet, pitch.KeyBb)
	if err != nil {
		panic(fmt.Sprintf("fit: %v", err))
	}
	air, err := aircolumn.MoistAir(aircolumn.DefaultTemperatureC, aircolumn.DefaultHumidity)
	if err != nil {
		panic(fmt.Sprintf("fit: %v", err))
	}
	cents, err := setup.Sensitivities(air, aircolumn.CupDimensions, sensitivitySlots)
	if err != nil {
		panic(fmt.Sprintf("fit: %v", err))
	}
	var out [dimensionCount][]float64
	for k, profile := range cents {
		out[k] = asMouthpiece(sensitivitySlots, profile)
	}
	return out
})

// asMouthpiece gives the coefficients (1+smoothKnots) whose profile on a B-flat
// trumpet comes nearest to cents at the slots, among smooth ones: their mean
// given the profile, read with an error of misfit, when mouthpieces differ as
// mouthpiecePatterns says.
func asMouthpiece(slots []pitch.Slot, cents []float64) []float64 {
	const misfit = 1 // cents, of a profile of some 100 per unit of the logarithm
	patterns, variances := mouthpiecePatterns()
	prior := newStructure(patterns, scaled(variances, 1000), weightSpread, smoothStrength).k
	p, j := prior.n, len(slots)
	basis, k := mat.NewDense(j, p, mouthpieceBasis(slots, bbTransposition)), mat.NewDense(p, p, prior.a)
	var spread, variance mat.Dense
	spread.Mul(basis, k)
	variance.Mul(&spread, basis.T())
	for i := range j {
		variance.Set(i, i, variance.At(i, i)+misfit*misfit)
	}
	var weights, out mat.VecDense
	if err := weights.SolveVec(&variance, mat.NewVecDense(j, cents)); err != nil {
		panic(fmt.Sprintf("fit: profile of the generic air column: %v", err))
	}
	out.MulVec(spread.T(), &weights)
	return out.RawVector().Data
}
