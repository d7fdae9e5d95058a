package match

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"centwise/catalog/pitch"
	"centwise/match/fit"
	"centwise/match/tuning"
)

// Alternate compares the usual fingering of a note that is left more than the
// player's tolerance with the best other one, both at the same place of the
// tuning slide. Throws count for both.
type Alternate struct {
	Note      string  `json:"note"`
	InsteadOf string  `json:"instead_of"` // valves of the usual fingering
	UsualLeft float64 `json:"usual_left"` // cents that it leaves to the lip
	Valves    string  `json:"valves"`     // of the other one
	Partial   int     `json:"partial"`
	Throw     float64 `json:"throw"`
	Left      float64 `json:"left"`
	SD        float64 `json:"sd"` // of the other one's prediction
	// Gain is the expected |left with the usual one| - |left with this one|,
	// Low..High its 80 % interval by joint draws.
	Gain float64 `json:"gain"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Sure reports whether the other fingering is better with 90 % chance.
func (a Alternate) Sure() bool { return a.Low > 0 }

// otherFingerings knows the ways to play a note on so many valves for which
// there are answers.
type otherFingerings struct {
	valves   int
	answered func(pitch.Slot) bool
}

// of lists the other fingerings of a slot's note, from the shortest tube to the
// longest.
func (o otherFingerings) of(usual pitch.Slot) []pitch.Slot {
	return slices.DeleteFunc(pitch.SlotsFor(usual.Note(), o.valves), func(s pitch.Slot) bool { return s == usual || !o.answered(s) })
}

// with lists slots, and behind them the other fingerings of the usual ones.
func (o otherFingerings) with(slots, usual []pitch.Slot) []pitch.Slot {
	out := slices.Clone(slots)
	have := placesOf(out)
	for _, u := range usual {
		for _, s := range o.of(u) {
			if _, listed := have.place(s); !listed {
				have.put(s, len(out))
				out = append(out, s)
			}
		}
	}
	return out
}

// alternates finds, for each note that counts and is left more than the
// tolerance, the other fingering that should leave least; notes for which none
// should leave less by a cent or more come in the second list. Those that gain
// most come first.
func (o otherFingerings) alternates(p plan, x fit.Prediction, result tuning.Result) (better []Alternate, none []string) {
	better, none = []Alternate{}, []string{}
	var slides []float64
	at := placesOf(x.Slots)
	for j, usual := range result.Notes {
		if usual.Weight == 0 || math.Abs(usual.Left) <= p.tolerance {
			continue
		}
		if slides == nil {
			slides = p.slides(x)
		}
		var best *Alternate
		for _, s := range o.of(usual.Slot) {
			place, _ := at.place(s) // asked for by with
			if a := p.alternate(x, result, slides, [2]int{j, place}); best == nil || a.Gain > best.Gain {
				best = &a
			}
		}
		// What is printed, the profile's own difference, must say the same.
		if best == nil || min(best.Gain, math.Abs(best.UsualLeft)-math.Abs(best.Left)) < minChange {
			none = append(none, usual.Slot.Note().String())
			continue
		}
		better = append(better, *best)
	}
	slices.SortStableFunc(better, func(a, b Alternate) int { return cmp.Compare(b.Gain, a.Gain) })
	return better, none
}

// slides gives the best place of the tuning slide in every draw, for the usual
// fingerings.
func (p plan) slides(x fit.Prediction) []float64 {
	n := len(p.problem.Slots())
	out := make([]float64, len(x.Draws))
	for k, d := range x.Draws {
		out[k] = p.problem.Slide(d[:n])
	}
	return out
}

// alternate compares two slots of one note by their places in x, the first one a
// slot of the problem.
func (p plan) alternate(x fit.Prediction, result tuning.Result, slides []float64, at [2]int) Alternate {
	usual, s := result.Notes[at[0]], x.Slots[at[1]]
	other := p.problem.Fingered(s, x.Mean[at[1]], result.SlideCents)
	a := Alternate{
		Note: s.Note().String(), InsteadOf: usual.Slot.Valves.String(), UsualLeft: usual.Left,
		Valves: s.Valves.String(), Partial: s.Partial, Throw: other.Throw, Left: other.Left, SD: x.SD[at[1]],
		Gain: math.Abs(usual.Left) - math.Abs(other.Left),
	}
	a.Low, a.High = a.Gain, a.Gain
	if len(slides) == 0 {
		return a
	}
	gains := make([]float64, len(slides))
	for k, t := range slides {
		left := func(i int) float64 { return math.Abs(p.problem.Fingered(x.Slots[i], x.Draws[k][i], t).Left) }
		gains[k] = left(at[0]) - left(at[1])
	}
	a.Gain = mean(gains)
	slices.Sort(gains)
	a.Low, a.High = quantile(gains, 0.1), quantile(gains, 0.9)
	return a
}

// alternateWords say which notes another fingering helps.
func (x *Explanation) alternateWords() []string {
	var out []string
	for _, a := range x.Alternates[:min(len(x.Alternates), namedChanges)] {
		sure, thrown := "", ""
		if !a.Sure() {
			sure = ", so that it may be worse: try both"
		}
		if a.Throw >= minChange {
			thrown = fmt.Sprintf(", thrown by %.0f,", a.Throw)
		}
		out = append(out, fmt.Sprintf("Fingering: %s is left %s on %s; on %s%s it should be %s, better by %.0f (80 %% chance of %.0f to %.0f%s).",
			a.Note, sharpFlat(a.UsualLeft), a.InsteadOf, a.Valves, thrown, sharpFlat(a.Left), a.Gain, whole(a.Low), whole(a.High), sure))
	}
	if more := len(x.Alternates) - namedChanges; more > 0 {
		out = append(out, fmt.Sprintf("Fingering: another one should be better for %s too.", Count(more, "more note")))
	}
	if n := len(x.NoAlternate); n > 0 {
		out = append(out, fmt.Sprintf("Fingering: for %s, left more than %g cents out, no other one should be better.", nameSome(x.NoAlternate), x.ToleranceCents))
	}
	return out
}

// whole rounds to a whole number that is never -0.
func whole(x float64) float64 { return math.Round(x) + 0 }
