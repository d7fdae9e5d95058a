package simulate

import (
	"math"
	"math/rand/v2"
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
	dimensionLogSD   = [dimensionCount]float64{0.012, 0.11, 0.020, 0.15, 0.025, 0.012}
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

// newDimensionProfiles gives the effect of each dimension, cents per unit of
// its logarithm, over the slots. They are invented, shaped like an air column's:
// a larger cup flattens the more the nearer a note lies to the mouthpiece's own
// resonance; throat and backbore turn from flat below to sharp above; a longer
// throat undoes a wider one. They are scaled to the share of the variance that
// dimensions carry.
func newDimensionProfiles() (profiles [dimensionCount][]float64) {
	cup := func(x float64) float64 { return -45 + 30*math.Cos(math.Pi*x/2.1) }
	throat := func(x float64) float64 { return -18 - 10*x + 26*x*x }
	functions := [dimensionCount]func(x float64) float64{
		func(x float64) float64 { return 0.7*cup(x) - 20 },
		cup,
		throat,
		func(x float64) float64 { return -0.35*throat(x) - 3 },
		func(x float64) float64 { return -72 - 30*x + 58*x*x },
		func(x float64) float64 { return -100 + 0.3*cup(x) },
	}
	var linear process
	for d, f := range functions {
		profiles[d] = make([]float64, len(Slots))
		for j, x := range octave {
			profiles[d][j] = f(x) * shorter[j]
		}
		linear.add(dimensionLogSD[d], profiles[d])
	}
	factor := MouthpieceSpread * math.Sqrt(MouthpieceDesignShare*DimensionShare) / linear.spread()
	for d := range profiles {
		for j := range profiles[d] {
			profiles[d][j] *= factor
		}
	}
	return profiles
}

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
