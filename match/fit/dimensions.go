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

// standardDimensions sets every mouthpiece's log dimensions as deviations
// from the mean over designs in units of their standard deviation, 0 where
// unknown.
func (d *Data) standardDimensions() {
	d.z = make([][dimensionCount]float64, len(d.Mouthpieces))
	for k := range dimensionCount {
		seen := map[string]bool{}
		var values []float64
		for _, m := range d.Mouthpieces {
			v := m.Dimensions[k]
			if math.IsNaN(v) || m.Design != "" && seen[m.Design] {
				continue
			}
			seen[m.Design] = true
			values = append(values, v)
		}
		mean, sd := meanAndSD(values)
		if len(values) < 3 || sd < 1e-3 {
			continue
		}
		d.varied, d.unit[k] = true, sd
		for i, m := range d.Mouthpieces {
			if v := m.Dimensions[k]; !math.IsNaN(v) {
				d.z[i][k] = (v - mean) / sd
			}
		}
	}
}

// expectedOfDimensions is what the generic air column makes of one standard
// deviation of each log dimension: dimensions x coefficients.
func (d *Data) expectedOfDimensions() []float64 {
	var out []float64
	for k, profile := range cupSensitivities() {
		for _, c := range profile {
			out = append(out, c*d.unit[k])
		}
	}
	return out
}

func meanAndSD(values []float64) (mean, sd float64) {
	if len(values) == 0 {
		return 0, 0
	}
	for _, v := range values {
		mean += v
	}
	mean /= float64(len(values))
	for _, v := range values {
		sd += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(sd / float64(len(values)))
}
