package aircolumn

import (
	"math"

	"centwise/catalog"
)

// Cup is a mouthpiece by its dimensions, in mm and cm3 as mouthpieces are
// listed. Its shape between them is ours: a round bowl, a cylindrical throat, a
// backbore that opens as a power of the way.
type Cup struct {
	RimMM          float64 // inner diameter of the rim
	CupCM3         float64
	ThroatMM       float64 // diameter of the throat
	ThroatLengthMM float64
	BackboreMM     float64 // exit diameter
	// BackboreShape is the exponent by which the backbore opens: 1 is a straight
	// cone, more is tighter at first, less more open.
	BackboreShape float64
	LengthMM      float64 // rim to shank end
}

// bowl is the exponent of the cup's wall, r = rt + (R-rt)(1 - xi^bowl) from rim
// to throat: rounder than a paraboloid.
const bowl = 2.6

// bowlVolume is the mean square radius of that wall.
func bowlVolume(rim, throat float64) float64 {
	d := rim - throat
	return throat*throat + 2*throat*d*bowl/(bowl+1) + d*d*(1-2/(bowl+1)+1/(2*bowl+1))
}

// DepthMM is the depth of the cup, which its volume and its width make up.
func (c Cup) DepthMM() float64 {
	return 1000 * c.CupCM3 / (math.Pi * bowlVolume(c.RimMM/2, c.ThroatMM/2))
}

// backboreMM is what the length leaves for the backbore.
func (c Cup) backboreLengthMM() float64 { return c.LengthMM - c.DepthMM() - c.ThroatLengthMM }

// minBackboreMM is the shortest backbore that a mouthpiece is believed to have.
const minBackboreMM = 10.0

// Check reports dimensions that make no mouthpiece.
func (c Cup) Check() error {
	for _, d := range []struct {
		name      string
		value     float64
		low, high float64
	}{
		{"rim", c.RimMM, 8, 40}, {"cup volume", c.CupCM3, 0.1, 20}, {"throat", c.ThroatMM, 1, 12},
		{"throat length", c.ThroatLengthMM, 0.1, 60}, {"backbore exit", c.BackboreMM, 3, 25},
		{"backbore shape", c.BackboreShape, 0.2, 5}, {"length", c.LengthMM, 30, 200},
	} {
		if !(d.value >= d.low && d.value <= d.high) {
			return catalog.Errorf(catalog.Invalid, "check the dimensions of the mouthpiece", "a %s of %g is outside %g to %g", d.name, d.value, d.low, d.high)
		}
	}
	if c.ThroatMM >= c.RimMM || c.ThroatMM >= c.BackboreMM {
		return catalog.Errorf(catalog.Invalid, "check the dimensions of the mouthpiece", "a throat of %g mm is no narrower than the rim or the backbore's exit", c.ThroatMM)
	}
	if c.backboreLengthMM() < minBackboreMM {
		return catalog.Errorf(catalog.Invalid, "check cup volume, throat length and length", "a mouthpiece %g mm long has no room for a backbore behind a cup %.1f mm deep and its throat", c.LengthMM, c.DepthMM())
	}
	return nil
}

// Numbers of straight walls that curves are made of.
const (
	cupPieces      = 16
	backborePieces = 12
	bellPieces     = 120
)

// Bore is the mouthpiece as pieces.
func (c Cup) Bore() Bore {
	rim, throat, exit := c.RimMM/2, c.ThroatMM/2, c.BackboreMM/2
	// Walls get shorter where the bowl bends into the throat.
	out := curve(Mouthpiece, c.DepthMM(), cupPieces, func(share float64) float64 { return 1 - (1-share)*math.Sqrt(1-share) },
		func(xi float64) float64 { return throat + (rim-throat)*(1-math.Pow(xi, bowl)) })
	out = append(out, Piece{Mouthpiece, c.ThroatLengthMM, c.ThroatMM, c.ThroatMM})
	return append(out, curve(Mouthpiece, c.backboreLengthMM(), backborePieces, func(share float64) float64 { return share * math.Sqrt(share) },
		func(xi float64) float64 { return throat + (exit-throat)*math.Pow(xi, c.BackboreShape) })...)
}

// curve makes n straight walls of a curved one: where gives the place of the
// i-th point from i/n, both as shares; radius in mm at such a place.
func curve(part Part, lengthMM float64, n int, where, radius func(float64) float64) Bore {
	var out Bore
	for i := range n {
		from, to := where(float64(i)/float64(n)), where(float64(i+1)/float64(n))
		out = append(out, Piece{part, lengthMM * (to - from), 2 * radius(from), 2 * radius(to)})
	}
	return out
}
