package tone

import "math"

// bandShare of the sample rate is the band that harmonics keep to, and ceilingHz
// its end where the rate allows for more than can be heard.
const (
	bandShare = 0.45
	ceilingHz = 20000
)

// MinHz is the lowest fundamental, below the pedal notes of a trumpet; a lower
// one would have thousands of harmonics.
const MinHz = 20

// top is the highest frequency that a harmonic may have, in Hz.
func top(rate int) float64 { return min(ceilingHz, bandShare*float64(rate)) }

// bendHz is where the curve of strengths turns (our own choice near the cutoff
// of brass bells, see the package's notes).
const bendHz = 1200

// strength is the amplitude of a harmonic at f Hz of a tone with dynamic L,
// 0 < L <= 1. With x = f/bendHz it is
//
//	x (1 + x^2)^(-5/4) * 2^(h (1 + log2(1 + x))),   h = log2 L:
//
// far below the bend it rises by 6 dB an octave and goes with L; far above it
// falls by 9 dB an octave at L = 1 and by 6 dB more for every halving of L.
func strength(f, dynamic float64) float64 {
	x := f / bendHz
	return x * math.Pow(1+x*x, -1.25) * math.Exp2(math.Log2(dynamic)*(1+math.Log2(1+x)))
}
