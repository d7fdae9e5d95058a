package fit

import (
	"math"

	"centwise/catalog"
)

const dimensionCount = 6

// DimensionNames are the mouthpiece dimensions that the fit learns from, in
// the order of MouthpieceItem.Dimensions.
var DimensionNames = [dimensionCount]string{"rim", "cup volume", "throat", "throat length", "backbore exit", "length"}

// logDimensions gives natural logarithms of the known dimensions, NaN where
// unknown. A cup known only by its depth counts as the volume of the
// half-ellipsoid with that depth and the rim's diameter.
func logDimensions(m catalog.Mouthpiece) [dimensionCount]float64 {
	cup := m.CupCM3
	if cup == 0 && m.CupDepthMM > 0 && m.RimMM > 0 {
		cup = math.Pi / 6 * m.RimMM * m.RimMM * m.CupDepthMM / 1000
	}
	var out [dimensionCount]float64
	for i, v := range [dimensionCount]float64{m.RimMM, cup, m.ThroatMM, m.ThroatLengthMM, m.BackboreMM, m.LengthMM} {
		out[i] = math.NaN()
		if v > 0 {
			out[i] = math.Log(v)
		}
	}
	return out
}
