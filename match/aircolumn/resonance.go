package aircolumn

import (
	"math"
	"slices"

	"centwise/catalog/pitch"
)

// Definition says in words what a resonance is here. Frequencies by other
// definitions differ by up to 17 cents; differences between setups hardly do.
const Definition = "max |Zin| at the rim plane"

// QDefinition says in words what Q is here: the quality of the single resonance
// whose peak is as sharply curved as this one.
const QDefinition = "f/2 sqrt(-d2 ln|Zin|/df2) at the peak"

// Resonance is a maximum of |Zin| at the rim plane.
type Resonance struct {
	Slot        pitch.Slot // its partial counts half waves, the pedal being 1
	FrequencyHz float64    // to 0.01 cent and better
	Q           float64    // see [QDefinition]
	Magnitude   float64    // |Zin| at the peak, Pa s/m^3
}

// Cents is the deviation of the resonance from the equal-tempered note that its
// slot is used for, on an instrument that sounds transposition semitones above
// the written note (B-flat: -2), at a tuning frequency a4Hz.
func (r Resonance) Cents(transposition int, a4Hz float64) float64 {
	const a4 = 69
	semitones := int(r.Slot.Note()) + transposition - a4
	return 1200*math.Log2(r.FrequencyHz/a4Hz) - 100*float64(semitones)
}

// Resonances finds the resonances of partials 1 to upTo of each of the given
// fingerings, in their order, upwards. A partial whose peak has vanished is
// left out, its number unused. It fails for valves that the instrument has no
// loop for.
func (m *Model) Resonances(valves []pitch.Valves, upTo int) ([]Resonance, error) {
	for _, v := range valves {
		if err := m.checkValves(v); err != nil {
			return nil, err
		}
	}
	low, high := m.searchRange(valves, upTo)
	t := m.newTable(low, high)
	var out []Resonance
	for _, v := range valves {
		out = append(out, fingered{m, t, v}.resonances(low, high, upTo)...)
	}
	return out, nil
}

// searchRange is where the resonances up to a partial lie, in Hz. The first of a
// closed cylinder is at c/4L, of a cavity with a neck far lower, and those of any bore come closer to n c/2L the
// higher they are.
func (m *Model) searchRange(valves []pitch.Valves, upTo int) (low, high float64) {
	longest := 0.0
	for _, v := range valves {
		longest = max(longest, m.loopMM(v))
	}
	open := m.in.Bore.LengthMM()
	return 0.05 * m.spacing() * open / (open + longest), m.spacing() * (float64(upTo) + 1.6)
}

// stepsPerResonance is how finely the curve is searched: a peak with Q = 30 is
// as wide as its distance from the next divided by 3 at partial 10.
const stepsPerResonance = 20

// resonances finds the peaks of one fingering.
func (f fingered) resonances(low, high float64, upTo int) []Resonance {
	open := f.m.in.Bore.LengthMM()
	step := f.m.spacing() * open / (open + f.m.loopMM(f.v)) / stepsPerResonance
	var out []Resonance
	before, at := f.level(low), f.level(low+step)
	for hz := low + step; hz < high; hz += step {
		after := f.level(hz + step)
		if at > before && at >= after {
			if r := f.peak(hz-step, hz+step); r.FrequencyHz > 0 {
				r.Slot = pitch.Slot{Valves: f.v, Partial: f.m.halfWaves(f.v, r.FrequencyHz)}
				out = append(out, r)
			}
		}
		before, at = at, after
	}
	return numbered(out, upTo)
}

// numbered keeps the higher of two peaks that share a number, as ripples on one
// resonance do, and those up to a partial.
func numbered(list []Resonance, upTo int) []Resonance {
	slices.SortStableFunc(list, func(a, b Resonance) int { return a.Slot.Partial - b.Slot.Partial })
	var out []Resonance
	for _, r := range list {
		switch n := len(out); {
		case r.Slot.Partial < 1 || r.Slot.Partial > upTo:
		case n > 0 && out[n-1].Slot.Partial == r.Slot.Partial:
			if r.Magnitude > out[n-1].Magnitude {
				out[n-1] = r
			}
		default:
			out = append(out, r)
		}
	}
	return out
}

// nudge is the share of a frequency over which derivatives are taken: wide
// enough for rounding, and a thousandth of a peak's width.
const nudge = 3e-5

// slopeOf is f d ln|Zin|/df.
func (f fingered) slopeOf(hz float64) float64 {
	return (f.level(hz*(1+nudge)) - f.level(hz*(1-nudge))) / (2 * nudge)
}

// peak refines a maximum between low and high Hz: the zero of the slope, by
// false position (Illinois form). The zero Resonance says that there is none.
func (f fingered) peak(low, high float64) Resonance {
	a, b := f.slopeOf(low), f.slopeOf(high)
	if !(a > 0 && b < 0) {
		return Resonance{}
	}
	hz, kept := low, 0
	for range maxRefinements {
		hz = (low*b - high*a) / (b - a)
		s := f.slopeOf(hz)
		if math.Abs(s) < 1e-7 {
			break
		}
		if s > 0 {
			low, a = hz, s
			if kept++; kept > 1 {
				b /= 2
			}
			kept = max(kept, 1)
		} else {
			high, b = hz, s
			if kept--; kept < -1 {
				a /= 2
			}
			kept = min(kept, -1)
		}
	}
	middle := f.level(hz)
	curve := (f.level(hz*(1+nudge)) - 2*middle + f.level(hz*(1-nudge))) / (nudge * nudge)
	return Resonance{FrequencyHz: hz, Q: math.Sqrt(max(0, -curve)) / 2, Magnitude: math.Exp(middle)}
}

// maxRefinements bounds the search for a peak, which takes 6 steps as a rule.
const maxRefinements = 60
