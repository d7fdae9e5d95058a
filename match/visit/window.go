package visit

import "math"

// Window is what the tuner is expected to show of one note of a candidate, when
// the horn has been tuned to a reference note before: cents, + sharp.
type Window struct {
	Expected   float64
	Low, High  float64 // 80 % interval of the mean of the readings
	Difference float64 // from what the present setup shows, tuned alike
	// Decides reports whether a reading of this note alone could turn the expected
	// comparison of the candidate with the present setup: beyond Limit (above it,
	// if Above) the candidate is ahead.
	Decides bool
	Limit   float64
	Above   bool
}

// decidable is how many standard deviations from what is expected a reading may
// lie to be reckoned with.
const decidable = 2.0

// Window works out what a note of a candidate should read; reference is the note
// to which the horn is tuned with the slide, both as places of the slots.
func (v *Visit) Window(setup, note, reference int) Window {
	shown := func(i, k int) float64 {
		p := v.worlds.Profile(i, k)
		return p[note] - p[reference]*v.law.Shorter(note)/v.law.Shorter(reference)
	}
	var w Window
	now, gain := 0.0, 0.0
	for k := range Worlds {
		w.Expected += shown(setup, k) / Worlds
		now += shown(0, k) / Worlds
		gain += (v.errors[0][k] - v.errors[setup][k]) / Worlds
	}
	w.Difference = w.Expected - now
	// Both notes are read with noise; what a day adds is small beside it.
	noise := v.law.ReadingSD * v.law.ReadingSD / Times * (1 + square(v.law.Shorter(note)/v.law.Shorter(reference)))
	variance, together := noise, 0.0
	for k := range Worlds {
		x := shown(setup, k) - w.Expected
		variance += x * x / Worlds
		together += x * (v.errors[0][k] - v.errors[setup][k] - gain) / Worlds
	}
	sd := math.Sqrt(variance)
	const z80 = 1.2815515655446004
	w.Low, w.High = w.Expected-z80*sd, w.Expected+z80*sd
	if slope := together / variance; slope != 0 && math.Abs(gain/slope) < decidable*sd {
		w.Decides, w.Limit, w.Above = true, w.Expected-gain/slope, slope > 0
	}
	return w
}

func square(x float64) float64 { return x * x }
