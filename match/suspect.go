package match

import (
	"fmt"
	"math"
	"slices"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// How much likelier a session has to be another way before that is said: the least
// logarithm of the ratio of likelihoods. What they let through and what they miss
// was measured with match/checkstudy.
const (
	fullGain = 2.0 // against what the whole fit expects
	// commonGain is against the common tendency alone, which takes gear and players
	// to vary in ways that are not quite theirs.
	commonGain = 5.5
	// closer is what the clipped residual has to be below, as a share of what it is
	// as entered: a likelihood may rest on the day's law alone. Fitting better than
	// noise allows is luck, and counts for nothing.
	closer = 0.9
)

// minNotes is the least number of slots that can show a pattern: constant and
// slide take two.
const minNotes = 6

// shifts are the wrong keys that are tried, in semitones: B flat against C, C
// against D, D against E flat and the like.
var shifts = []int{-2, -1, 1, 2}

// suspicion is another way to read a session that fits better.
type suspicion struct {
	kind            string
	shift           int
	gain            float64
	asEntered, then float64 // clipped rms, cents
	notes           int
}

// check gives the findings on one session.
func (s *sheet) check(full, common expectation) []catalog.Finding {
	var best suspicion
	for _, x := range s.suspicions(full, fullGain) {
		best = stronger(best, x)
	}
	for _, x := range s.suspicions(common, commonGain) {
		best = stronger(best, x)
	}
	if best.kind != "" {
		return []catalog.Finding{s.finding(best)}
	}
	v, at := s.values(full.outlook)
	if len(v.places) < minNotes {
		return nil
	}
	entered := full.agree(v)
	if moved := s.slideMoved(full, v, at, entered); moved != nil {
		return []catalog.Finding{*moved}
	}
	return s.far(v, at, entered)
}

func stronger(a, b suspicion) suspicion {
	if b.gain > a.gain {
		return b
	}
	return a
}

// suspicions tries every other reading of the session and gives those that make it
// likelier by more than least.
func (s *sheet) suspicions(e expectation, least float64) []suspicion {
	var out []suspicion
	try := func(kind string, shift int, sign float64) {
		entered, then := s.pairUp(e.outlook, shift, sign)
		n := len(entered.places)
		if n < minNotes || 2*n < len(s.slots) {
			return
		}
		x := suspicion{kind: kind, shift: shift, notes: n, asEntered: e.clippedRMS(entered), then: e.clippedRMS(then)}
		if max(x.then, s.noise) > closer*max(x.asEntered, s.noise) {
			return
		}
		x.gain = e.agree(then).log - e.agree(entered).log
		needed := least
		if shift != 0 {
			needed += math.Log(float64(len(shifts))) // one of them fits best by chance
		}
		if x.gain > needed {
			out = append(out, x)
		}
	}
	try(FindSignFlipped, 0, -1)
	for _, shift := range shifts {
		try(FindWrongKey, shift, 1)
	}
	return out
}

// clippedRMS is that of values off what is expected, constant and slide apart.
func (e expectation) clippedRMS(v values) float64 {
	off := make([]float64, len(v.places))
	for a, i := range v.places {
		off[a] = v.cents[a] - e.mean[i]
	}
	return clippedRMS(residuals(off, e.shorter(v)))
}

// shorter is what a pull of the slide does on the slots of values.
func (e expectation) shorter(v values) []float64 {
	out := make([]float64, len(v.places))
	for a, i := range v.places {
		out[a] = shorter(e.slots[i])
	}
	return out
}

// pairUp gives the readings that can be told of both ways: as entered, and with the
// sign given and moved by shift semitones.
func (s *sheet) pairUp(o *outlook, shift int, sign float64) (entered, then values) {
	for i, slot := range s.slots {
		moved, ok := s.moved(slot, shift)
		at, known := o.at.place(slot)
		atMoved, knownMoved := o.at.place(moved)
		if !ok || !known || !knownMoved {
			continue
		}
		entered.places, then.places = append(entered.places, at), append(then.places, atMoved)
		entered.cents, then.cents = append(entered.cents, s.cents[i]), append(then.cents, sign*s.cents[i])
		entered.variance = append(entered.variance, s.variance(i))
	}
	then.variance = entered.variance
	return entered, then
}

// moved is the usual slot of the note shift semitones above that of a usual
// slot; alternate slots have no counterpart.
func (s *sheet) moved(slot pitch.Slot, shift int) (pitch.Slot, bool) {
	if shift == 0 {
		return slot, true
	}
	if usual, ok := pitch.UsualSlot(slot.Note(), s.valves); !ok || usual != slot {
		return pitch.Slot{}, false
	}
	return pitch.UsualSlot(slot.Note()+pitch.Note(shift), s.valves)
}

// priorOdds are the odds, before looking, that a session was entered in one
// particular wrong way: one session in a hundred, by one of five ways.
const priorOdds = 0.01 / 5

// maxCertainty is the most a finding may claim: notes of one session are not
// independent witnesses.
const maxCertainty = 0.99

// certaintyOf turns a gain, the logarithm of a ratio of likelihoods, into a
// probability, by the odds before looking.
func certaintyOf(gain float64) float64 {
	return min(maxCertainty, 1/(1+math.Exp(-gain)/priorOdds))
}

func (s *sheet) finding(x suspicion) catalog.Finding {
	f := catalog.Finding{Kind: x.kind, Session: s.name(), Certainty: certaintyOf(x.gain)}
	reason := "sharp and flat were swapped"
	f.Detail = fmt.Sprintf("with sharp and flat swapped the %d notes lie %.1f cents from what is expected, as entered %.1f", x.notes, x.then, x.asEntered)
	if x.kind == FindWrongKey {
		direction := "higher"
		if x.shift < 0 {
			direction = "lower"
		}
		distance := Count(max(x.shift, -x.shift), "semitone")
		reason = "notes were entered for another key"
		f.Detail = fmt.Sprintf("read %s %s, as if entered for an instrument in another key, the %d notes lie %.1f cents from what is expected, as entered %.1f",
			distance, direction, x.notes, x.then, x.asEntered)
	}
	f.Repair = fmt.Sprintf("centwise session retract %s --reason %s", catalog.ShellWord(s.name()), catalog.ShellWord(reason))
	return f
}

const (
	farSure  = 0.95 // chance of being a slip from which a reading is named
	farCents = 15.0 // and the least distance
	// oddShare is the share of far slots from which the session as a whole
	// looks odd rather than its readings.
	oddShare = 0.25
)

// far finds slots that look odd: far from what is expected of them beside the rest
// of their session.
func (s *sheet) far(v values, at []int, x agreement) []catalog.Finding {
	var out []catalog.Finding
	for a, i := range at {
		cents, _ := x.apart(a)
		if slip := x.slipChance(a, v.variance[a]); slip > farSure && math.Abs(cents) > farCents {
			out = append(out, s.farFinding(i, s.cents[i]-cents, slip))
		}
	}
	if float64(len(out)) > oddShare*float64(len(at)) {
		return []catalog.Finding{s.oddFinding(len(out), len(at))}
	}
	return out
}

// farCertainty caps what is claimed of single readings: a horn may really have
// a note like that.
const farCertainty = 0.8

func (s *sheet) farFinding(i int, expected, slip float64) catalog.Finding {
	slot := s.slots[i]
	return catalog.Finding{
		Kind: FindFarReading, Session: s.name(), Subject: fmt.Sprintf("%s (%s)", slot.Note(), slot),
		Detail: fmt.Sprintf("looks odd: %s on %s was read %+.0f cents in %s, %+.0f is expected after the session's own slide and level; the fit gives it little weight already",
			slot.Note(), slot.Valves, s.cents[i], Count(s.count[i], "reading"), expected),
		Certainty: farCertainty * slip,
		Repair:    "centwise session show " + catalog.ShellWord(s.name()),
	}
}

// oddCertainty is low on purpose: in simulation six of ten sessions that merely
// looked odd were right.
const oddCertainty = 0.4

func (s *sheet) oddFinding(far, of int) catalog.Finding {
	return catalog.Finding{
		Kind: FindFarSession, Session: s.name(),
		Detail:    fmt.Sprintf("looks odd: %d of %d notes are far from what is expected; was it entered under another horn's label?", far, of),
		Certainty: oddCertainty,
		Repair:    "centwise session show " + catalog.ShellWord(s.name()),
	}
}

// median is the median of values, which it leaves in place.
func median(x []float64) float64 {
	var room [64]float64
	sorted := append(room[:0], x...)
	slices.Sort(sorted)
	return quantile(sorted, 0.5)
}

// medianAbs is the median of absolute values.
func medianAbs(x []float64) float64 {
	abs := make([]float64, len(x))
	for i, v := range x {
		abs[i] = math.Abs(v)
	}
	return median(abs)
}
