package match

import (
	"fmt"
	"math"
	"slices"
)

// words puts the answer into plain sentences.
func (a *Adjusted) words() []string {
	now := fmt.Sprintf("As it is, %s with %s leaves %.1f cents to the lip after the best slide and throws", a.Horn, a.Mouthpiece, a.ErrorCents)
	if a.Session == "" {
		now += fmt.Sprintf(" (80 %% chance of %.1f to %.1f)", a.Low, a.High)
	} else {
		now += fmt.Sprintf(", by the readings of session %s alone, errors of reading included", a.Session)
	}
	out := []string{now + "."}
	out = append(out, a.bestWords()...)
	out = append(out, a.irreversibleWords()...)
	if a.MeasurableCents > 0 {
		out = append(out, fmt.Sprintf("One session before and one after show a change of %.1f cents at least; a smaller one is below measurement.", a.MeasurableCents))
	}
	return append(out,
		"Shifts are calculated for "+a.Model+"; they hold for differences, not for where a note lies.",
		"From intonation alone throat, throat length and backbore can hardly be told apart; what is marked uncertain needs the actual mouthpiece measured.")
}

func (a *Adjusted) bestWords() []string {
	if a.Best == nil {
		return []string{"No setting of valve slides and gap within their limits makes it better: leave them where they are."}
	}
	var moves []string
	for _, m := range a.Best.Settings {
		moves = append(moves, m.words())
	}
	text := fmt.Sprintf("The best that can be undone again: %s. That leaves %.1f cents, %.1f less", joinAnd(moves), a.Best.ErrorCents, a.Best.Gain)
	if !a.Best.Measurable {
		text += ", which is below measurement: hardly worth it"
	}
	return append([]string{text + "."}, noteWords(a.Best.Outcome)...)
}

// words says a move.
func (m Setting) words() string {
	if m.What == "gap wider" {
		if m.MM < 0 {
			return fmt.Sprintf("the gap %.1f mm narrower", -m.MM)
		}
		return fmt.Sprintf("the gap %.1f mm wider", m.MM)
	}
	return fmt.Sprintf("%s by %.1f mm", m.What, m.MM)
}

func noteWords(o Outcome) []string {
	var out []string
	if len(o.Improved) > 0 {
		out = append(out, fmt.Sprintf("It improves %s.", nameSome(o.Improved)))
	}
	if len(o.Spoilt) > 0 {
		out = append(out, fmt.Sprintf("It spoils %s.", nameSome(o.Spoilt)))
	}
	return out
}

// irreversibleWords name the change of shape that would gain most, if any; a
// dent is none that anybody makes.
func (a *Adjusted) irreversibleWords() []string {
	var list []Adjustment
	for _, c := range a.Changes {
		if !c.Reversible && c.What != dent && c.Gain >= worthGain {
			list = append(list, c)
		}
	}
	if len(list) == 0 {
		return []string{"Of the changes that can't be undone none would help."}
	}
	c := slices.MaxFunc(list, func(x, y Adjustment) int { return sign(x.Gain - y.Gain) })
	text := fmt.Sprintf("Of the changes that can't be undone, %s would gain most, %.1f cents", c.Name(), c.Gain)
	switch {
	case !c.Measurable:
		text += ", which is below measurement"
	case c.Uncertain:
		text += ", but that is uncertain"
	}
	return []string{text + "."}
}

// Name names a change with its step.
func (w Adjustment) Name() string {
	if w.Unit == "" {
		return w.What
	}
	step := fmt.Sprintf("%g", math.Round(w.Step*100)/100)
	return fmt.Sprintf("%s by %s %s", w.What, step, w.Unit)
}
