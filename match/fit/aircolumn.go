package fit

import (
	"fmt"
	"math"
	"strings"
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
	cents, err := setup.Sensitivities(roomAir(), aircolumn.CupDimensions, sensitivitySlots)
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

func roomAir() aircolumn.Air {
	air, err := aircolumn.MoistAir(aircolumn.DefaultTemperatureC, aircolumn.DefaultHumidity)
	if err != nil {
		panic(fmt.Sprintf("fit: %v", err))
	}
	return air
}

// boreShare is how much of what a described bore's air column says is expected of
// the horn: calipers and the plane wave err by some 3 cents where horns differ by
// 5 (judgement, no source).
const boreShare = 0.75

// expectedOfBore is what a horn's described bore makes one expect of it on the
// slots, in cents, its level and its tuning slide's setting apart; nil if the bore
// is not described, or not so that it can be played. The bore is heard behind the
// generic mouthpiece of its kind, with the generic instrument's valves, and with
// its gap where none is described.
func expectedOfBore(h catalog.Horn, slots []pitch.Slot) []float64 {
	if h.BoreGeometry == "" {
		return nil
	}
	bore, err := aircolumn.ReadBore(strings.NewReader(h.BoreGeometry))
	if err != nil {
		return nil
	}
	generic, err := aircolumn.Generic(h.Instrument, h.Key)
	if err != nil {
		return nil
	}
	described, _, err := generic.Describe(bore)
	if err != nil {
		return nil
	}
	before, after := resonances(generic.Instrument(), slots), resonances(described.Instrument(), slots)
	if before == nil || after == nil {
		return nil
	}
	return withoutLevel(slots, before, after)
}

// resonances finds the resonance of every slot that has one, in Hz; nil if the
// instrument can't be.
func resonances(in aircolumn.Instrument, slots []pitch.Slot) map[pitch.Slot]float64 {
	m, err := aircolumn.New(in, roomAir())
	if err != nil {
		return nil
	}
	valves := map[pitch.Valves]int{}
	for _, s := range slots {
		valves[s.Valves] = max(valves[s.Valves], s.Partial)
	}
	out := map[pitch.Slot]float64{}
	for v, highest := range valves {
		found, err := m.Resonances([]pitch.Valves{v}, highest)
		if err != nil {
			continue // a fourth valve, which the generic instrument has not
		}
		for _, r := range found {
			out[r.Slot] = r.FrequencyHz
		}
	}
	return out
}

// withoutLevel is boreShare of the cents from before to after, less the constant
// and the tuning slide's vector that come nearest to them; slots that either lacks
// are nought.
func withoutLevel(slots []pitch.Slot, before, after map[pitch.Slot]float64) []float64 {
	out := make([]float64, len(slots))
	var rows, cents []float64
	var at []int
	for j, s := range slots {
		if before[s] > 0 && after[s] > 0 {
			at = append(at, j)
			rows = append(rows, 1, 1/s.Valves.Ratio())
			cents = append(cents, 1200*math.Log2(after[s]/before[s]))
		}
	}
	if len(at) < 3 {
		return nil
	}
	level := mat.NewDense(len(at), 2, rows)
	var fitted, common mat.VecDense
	shift := mat.NewVecDense(len(at), cents)
	if err := fitted.SolveVec(level, shift); err != nil {
		return nil // one combination of valves only
	}
	if math.Abs(fitted.AtVec(0)+fitted.AtVec(1)) > aircolumn.MostOffKeyCents {
		return nil
	}
	common.MulVec(level, &fitted)
	for i, j := range at {
		out[j] = boreShare * (cents[i] - common.AtVec(i))
	}
	return out
}
