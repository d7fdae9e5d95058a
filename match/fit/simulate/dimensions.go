package simulate

import (
	"math"
	"math/rand/v2"
	"sync"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/aircolumn"
)

// Dimensions of a mouthpiece design. All are known or none.
type Dimensions struct {
	RimMM, CupCM3, ThroatMM, ThroatLengthMM, BackboreMM, LengthMM float64
}

const dimensionCount = 6

// dimensionNominal are middling values of the trade (common practice, no
// source) in the order of [Dimensions], and dimensionLogSD how far designs
// scatter about them in natural logarithms.
var (
	dimensionNominal = [dimensionCount]float64{16.5, 1.25, 3.65, 10, 8.7, 87}
	dimensionLogSD   = [dimensionCount]float64{0.009, 0.080, 0.015, 0.11, 0.018, 0.009}
)

func (d Dimensions) values() [dimensionCount]float64 {
	return [dimensionCount]float64{d.RimMM, d.CupCM3, d.ThroatMM, d.ThroatLengthMM, d.BackboreMM, d.LengthMM}
}

// Logs are the natural logarithms of d over the middling values.
func (d Dimensions) Logs() [6]float64 {
	out := d.values()
	for i := range out {
		out[i] = math.Log(out[i] / dimensionNominal[i])
	}
	return out
}

func drawDimensions(rng *rand.Rand) Dimensions {
	var v [dimensionCount]float64
	for i := range v {
		v[i] = dimensionNominal[i] * math.Exp(dimensionLogSD[i]*rng.NormFloat64())
	}
	round := func(x, step float64) float64 { return math.Round(x/step) * step }
	return Dimensions{round(v[0], 0.01), round(v[1], 0.01), round(v[2], 0.01), round(v[3], 0.1), round(v[4], 0.01), round(v[5], 0.1)}
}

// anotherTrumpet is the instrument that dimensions are tried on, an invented one
// unlike the generic one that the fit asks: a wider leadpipe, a bell that opens
// later, a deeper cup with a tighter backbore, a warmer room.
func anotherTrumpet() (aircolumn.Setup, aircolumn.Air, error) {
	s, err := aircolumn.Generic(catalog.Trumpet, pitch.KeyBb)
	if err != nil {
		return s, aircolumn.Air{}, err
	}
	s.Horn.LeadpipeStartMM, s.Horn.LeadpipeMM, s.Horn.Flare = 9, 260, 0.62
	s.Cup = aircolumn.Cup{RimMM: dimensionNominal[0], CupCM3: dimensionNominal[1], ThroatMM: dimensionNominal[2],
		ThroatLengthMM: dimensionNominal[3], BackboreMM: dimensionNominal[4], BackboreShape: 0.7, LengthMM: dimensionNominal[5]}
	air, err := aircolumn.MoistAir(28, 0.8)
	return s, air, err
}

// newDimensionProfiles gives the effect of each dimension, cents per unit of
// its logarithm, over the slots: the air column's, scaled to the share of the
// variance that dimensions carry.
var newDimensionProfiles = sync.OnceValue(func() (profiles [dimensionCount][]float64) {
	setup, air, err := anotherTrumpet()
	if err != nil {
		panic("simulate: " + err.Error())
	}
	cents, err := setup.Sensitivities(air, aircolumn.CupDimensions, Slots)
	if err != nil {
		panic("simulate: " + err.Error())
	}
	var linear process
	for d := range profiles {
		profiles[d] = cents[d]
		linear.add(dimensionLogSD[d], profiles[d])
	}
	factor := MouthpieceSpread * math.Sqrt(MouthpieceDesignShare*DimensionShare) / linear.spread()
	for d := range profiles {
		for j := range profiles[d] {
			profiles[d][j] *= factor
		}
	}
	return profiles
})

// DimensionEffect is what the dimensions alone do to a mouthpiece of a world of
// the harder kind, cents on every slot.
func (w *World) DimensionEffect(d Dimensions) []float64 {
	out := make([]float64, len(Slots))
	for i, x := range d.Logs() {
		for j := range out {
			out[j] += x * w.nature.dimensions[i][j]
		}
	}
	return out
}
