package fit

import (
	"math"

	"centwise/catalog/pitch"

	"gonum.org/v1/gonum/interp"
)

// bbTransposition is the transposition of the commonest instruments, against
// which lengths and sounding frequencies are measured.
const bbTransposition = -2

// soundingOctave is log2 of a slot's equal-tempered sounding frequency in Hz on
// an instrument that sounds the given semitones above written pitch.
func soundingOctave(s pitch.Slot, transposition int) float64 {
	return math.Log2((s.Note() + pitch.Note(transposition)).Hz(catalogA4))
}

const catalogA4 = 440.0

// lengthRatio is the effective length of the slot's air column relative to the
// open B-flat instrument.
func lengthRatio(s pitch.Slot, transposition int) float64 {
	return s.Valves.Ratio() * math.Exp2(-float64(transposition-bbTransposition)/12)
}

// smoothKnots is how many coefficients describe a smooth function of sounding
// pitch.
const smoothKnots = 7

// knots are the places, as log2 of Hz, at which a smooth function's value is a
// coefficient: evenly over the range from E3 to D6 sounding, which is F#3 to
// the open tenth partial on a B-flat instrument.
func knots(n int) []float64 {
	low, high := math.Log2(pitch.Note(52).Hz(catalogA4)), math.Log2(pitch.Note(86).Hz(catalogA4))
	out := make([]float64, n)
	for i := range out {
		out[i] = low + (high-low)*float64(i)/float64(n-1)
	}
	return out
}

// splines are the natural cubic splines that are one at one knot and nought at
// the others; beyond the outer knots they go on in a straight line.
type splines struct {
	low, high float64
	units     []interp.NaturalCubic // by knot
}

func newSplines(knots []float64) splines {
	s := splines{knots[0], knots[len(knots)-1], make([]interp.NaturalCubic, len(knots))}
	unit := make([]float64, len(knots))
	for k := range knots {
		clear(unit)
		unit[k] = 1
		if err := s.units[k].Fit(knots, unit); err != nil {
			panic("fit: knots are not increasing: " + err.Error())
		}
	}
	return s
}

// row gives the weights w with which the values at the knots make the spline's
// value at x.
func (s splines) row(x float64) []float64 {
	at := math.Min(math.Max(x, s.low), s.high)
	row := make([]float64, len(s.units))
	for k := range row {
		row[k] = s.units[k].Predict(at)
		if x != at {
			row[k] += (x - at) * s.units[k].PredictDerivative(at)
		}
	}
	return row
}

// gauss is the squared-exponential kernel with unit variance.
func gauss(a, b, length float64) float64 {
	d := (a - b) / length
	return math.Exp(-d * d / 2)
}

// mouthpieceBasis is how a mouthpiece's coefficients (an offset, then the
// values of g at the knots) act on the slots: M[j] = o + g(x_j)/r_j, with x the
// sounding pitch and r the length of the air column (J x 1+smoothKnots).
func mouthpieceBasis(slots []pitch.Slot, transposition int) []float64 {
	at := newSplines(knots(smoothKnots))
	p := 1 + smoothKnots
	out := make([]float64, len(slots)*p)
	for j, s := range slots {
		row := out[j*p : (j+1)*p]
		row[0] = 1
		for k, w := range at.row(soundingOctave(s, transposition)) {
			row[1+k] = w / lengthRatio(s, transposition)
		}
	}
	return out
}

// smoothBasis is how values at the knots act on the slots for functions of
// written pitch: the player's habits, the wiggle of the day, the interaction
// of a pair (J x smoothKnots).
func smoothBasis(slots []pitch.Slot) []float64 {
	at := newSplines(knots(smoothKnots))
	out := make([]float64, 0, len(slots)*smoothKnots)
	for _, s := range slots {
		out = append(out, at.row(soundingOctave(s, bbTransposition))...)
	}
	return out
}
