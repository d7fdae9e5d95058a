package scenario

import (
	"math"
	"math/rand/v2"

	"centwise/catalog/pitch"
)

// notes are the slots that the orchestra measures: the 31 usual notes.
var notes = pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3)

// height is a note's place in the range, 0 at F#3 and 1 at C6.
func height(s pitch.Slot) float64 {
	return float64(s.Note()-pitch.RangeLow) / float64(pitch.RangeHigh-pitch.RangeLow)
}

// perNote works out a vector over the notes.
func perNote(f func(s pitch.Slot) float64) []float64 {
	out := make([]float64, len(notes))
	for i, s := range notes {
		out[i] = f(s)
	}
	return out
}

func add(vectors ...[]float64) []float64 {
	out := make([]float64, len(notes))
	for _, v := range vectors {
		for i, x := range v {
			out[i] += x
		}
	}
	return out
}

// mixed adds a design's nature and a copy's own so that the design has the given
// share of the variance.
func mixed(design, own []float64, share float64) []float64 {
	out := make([]float64, len(notes))
	for i := range out {
		out[i] = math.Sqrt(share)*design[i] + math.Sqrt(1-share)*own[i]
	}
	return out
}

// sharpness is how sharp combinations of valves come out when each valve alone
// is in tune, cents: exactly equal-tempered slides on 148 cm of tube (simple
// length model, derived), less what makers lengthen the third slide by.
var sharpness = map[string]float64{"12": 9, "23": 13, "13": 26, "123": 46}

// common is what every setup shares: harmonics and combinations of valves.
func common() []float64 {
	return perNote(func(s pitch.Slot) float64 {
		return 0.7*pitch.HarmonicCents(s.Partial) + sharpness[s.Valves.String()]
	})
}

// waves is a smooth random vector over the range, about sd cents.
func waves(rng *rand.Rand, sd float64) []float64 {
	var a, phase [4]float64
	for k := range a {
		a[k], phase[k] = rng.NormFloat64()/float64(k+1), 2*math.Pi*rng.Float64()
	}
	return perNote(func(s pitch.Slot) float64 {
		sum := 0.0
		for k := range a {
			sum += a[k] * math.Cos(math.Pi*float64(k+1)*height(s)+phase[k])
		}
		return sd * sum * 1.2
	})
}

// hornNature: lengths of the valve slides, a tendency of every partial, waves,
// and notes of their own.
func hornNature(rng *rand.Rand) []float64 {
	var valve [3]float64
	for i, sd := range []float64{2.5, 1.5, 3} {
		valve[i] = sd * rng.NormFloat64()
	}
	partial := map[int]float64{}
	for _, n := range []int{2, 3, 4, 5, 6, 8} {
		partial[n] = 3.5 * rng.NormFloat64()
	}
	return add(waves(rng, 2), perNote(func(s pitch.Slot) float64 {
		sum := partial[s.Partial] + 2*rng.NormFloat64()
		for i, x := range valve {
			if s.Valves.Uses(i + 1) {
				sum += x / s.Valves.Ratio()
			}
		}
		return sum
	}))
}

// mouthpieceRest is what the dimensions leave open.
func mouthpieceRest(rng *rand.Rand) []float64 {
	v := waves(rng, 1.8)
	for i, s := range notes {
		v[i] = v[i]/s.Valves.Ratio() + 0.3*rng.NormFloat64()
	}
	return v
}

// fromDimensions: a larger cup flattens, most at the top; a wider throat or
// backbore flattens the bottom and sharpens the top; a longer throat the other
// way about (invented sizes, directions as in any air column). The middling
// mouthpiece differs by shank.
func (m mouthpiece) fromDimensions() []float64 {
	cup, throat, backbore := 1.2, 3.66, 8.7
	if m.lengthMM < 80 {
		cup, throat, backbore = 1.75, 4.1, 7.8
	}
	dCup, dThroat := math.Log(m.cupCM3/cup), math.Log(m.throatMM/throat)-0.3*math.Log(m.throatLengthMM/10)
	dBackbore := math.Log(m.backboreMM / backbore)
	return perNote(func(s pitch.Slot) float64 {
		x := height(s)
		return (-(20+70*x*x)*dCup + (-30+110*x*x)*dThroat + (-70+230*x*x)*dBackbore) / s.Valves.Ratio()
	})
}

// habit of a player: drifting up or down with height, and waves.
func habit(rng *rand.Rand) []float64 {
	slope := 8 * rng.NormFloat64()
	return add(waves(rng, 2.2), perNote(func(s pitch.Slot) float64 {
		return slope*(height(s)-0.5) + 0.6*rng.NormFloat64()
	}))
}
