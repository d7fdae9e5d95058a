package tuning

import (
	"math"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// bbLengthMM is the tube length of an open B-flat trumpet: 148 cm
// (HyperPhysics, Georgia State University, "Trumpet", after Backus 1976).
const bbLengthMM = 1480.0

// OpenLengthMM is the nominal tube length of a horn with no valve pressed, in
// mm: that of the B-flat trumpet scaled by what the horn is pitched in. Pass
// [catalog.Horn.Transposition]: -2 gives 1480, 0 (C) 1318.5, 10 (a B-flat
// piccolo) 740.
func OpenLengthMM(transposition int) float64 {
	return bbLengthMM * math.Exp2(float64(pitch.KeyBb.Semitones()-transposition)/12)
}

// Throws is how far the slides of the first and third valve can be extended
// while playing, in mm of slide travel (the tube grows by twice that); 0 = none.
type Throws struct {
	FirstMM, ThirdMM float64
}

// Reach is how far throws can lower a slot on an instrument of the given open
// tube length, in cents: 1200 log2(1 + 2 x/L), x the travel of the slides of
// the pressed valves together and L the tube length of the combination.
func (t Throws) Reach(s pitch.Slot, openLengthMM float64) float64 {
	x := 0.0
	if s.Valves.Uses(1) {
		x += max(0, t.FirstMM)
	}
	if s.Valves.Uses(3) {
		x += max(0, t.ThirdMM)
	}
	return 1200 * math.Log2(1+2*x/(openLengthMM*s.Valves.Ratio()))
}

// Travel limits the tuning slide: t in cents of open notes, pulling out
// positive, from where the profile has its mean at nought.
type Travel struct {
	MinCents, MaxCents float64
}

// Unlimited is a tuning slide without stops.
var Unlimited = Travel{math.Inf(-1), math.Inf(1)}

// Room of a tuning slide around the place where the horn is in tune on the
// whole. Builders leave the slide out by some 10 to 15 mm in use so that it can
// be pushed in for a cold room, and it comes out a good deal further before the
// tubes leak or part (common practice, no source).
const (
	pushInMM  = 10
	pullOutMM = 25
)

// DefaultTravel is the room a tuning slide has on an instrument of the given
// open tube length: 10 mm in, 25 mm out. On a B-flat trumpet that is -24..+58
// cents, much more than a good profile asks for: only a profile that leans
// hard on the slide meets a limit.
func DefaultTravel(openLengthMM float64) Travel {
	return Travel{
		MinCents: 1200 * math.Log2(1-2*pushInMM/openLengthMM),
		MaxCents: 1200 * math.Log2(1+2*pullOutMM/openLengthMM),
	}
}

// SlideMM is how far the tuning slide is to be pulled out (negative: pushed in)
// for open notes to fall by t cents, in mm, on an instrument of the given open
// tube length: by the length model, L (2^(t/1200) - 1) / 2.
func SlideMM(t, openLengthMM float64) float64 {
	return openLengthMM * (math.Exp2(t/1200) - 1) / 2
}

// ForHorn gives the throws and the open length of a horn.
func ForHorn(h catalog.Horn) (Throws, float64) {
	return Throws{FirstMM: h.Throw1MM, ThirdMM: h.Throw3MM}, OpenLengthMM(h.Transposition())
}
