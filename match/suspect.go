package match

import (
	"fmt"
	"math"
	"slices"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// rule is when a session is said to fit better another way: the residual is
// below ratio times what it is as entered, and the gain, the logarithm of how
// much likelier the readings are the other way, is above gain. How sure that is
// was measured with TestCheckOnShortSessions.
type rule struct {
	ratio, gain float64
}

var (
	// fullRule is for what the whole fit expects.
	fullRule = rule{0.85, 3}
	// commonRule is for the common tendency alone, from which honest setups
	// stray further.
	commonRule = rule{0.6, 8}
)

// minNotes is the least number of slots that can show a pattern: constant and
// slide take two.
const minNotes = 6

// plainNoise is how far honest sessions stray from what is expected, in cents:
// reading noise of 3.5, and 1.5 each for the pair and the day. Fitting better
// than that is luck.
const plainNoise = 4.0

// dayNoise is what a day adds to a session's readings, in cents (see dayNoise's
// prior in the fit: a wiggle of 1.5).
const dayNoise = 1.5

// shifts are the wrong keys that are tried, in semitones: B flat against C, C
// against D, D against E flat and the like.
var shifts = []int{-2, -1, 1, 2}

// rareKey is how much surer a key must look wrong by one semitone: few horns are
// built a semitone apart, and half of the false alarms were of that kind.
const rareKey = 2.0

// suspicion is another way to read a session that fits better.
type suspicion struct {
	kind            string
	shift           int
	gain            float64
	asEntered, then float64 // clipped rms, cents
	notes           int
}

// check gives the findings on one session.
func (s *sheet) check(p fit.Prediction) []catalog.Finding {
	full := expect(p)
	var best suspicion
	for _, x := range s.suspicions(full, fullRule) {
		best = stronger(best, x)
	}
	for _, x := range s.suspicions(expectCommon(p), commonRule) {
		best = stronger(best, x)
	}
	if best.kind != "" {
		return []catalog.Finding{s.finding(best)}
	}
	if moved := s.slideMoved(full); moved != nil {
		return []catalog.Finding{*moved}
	}
	return s.far(full)
}

func stronger(a, b suspicion) suspicion {
	if b.gain > a.gain {
		return b
	}
	return a
}

// suspicions tries every other reading of the session under a rule.
func (s *sheet) suspicions(e expectation, r rule) []suspicion {
	var out []suspicion
	try := func(kind string, shift int, sign float64) {
		entered, then, slopes, slopesThen, noise, noiseThen := s.pairUp(e, shift, sign)
		n := len(entered)
		if n < minNotes || 2*n < len(s.slots) {
			return
		}
		left, leftThen := residuals(entered, slopes), residuals(then, slopesThen)
		x := suspicion{kind: kind, shift: shift, notes: n, asEntered: clippedRMS(left), then: clippedRMS(leftThen)}
		ratio := max(x.then, plainNoise) / max(x.asEntered, plainNoise)
		x.gain = likelihood(leftThen, noiseThen) - likelihood(left, noise)
		gain := r.gain
		if shift != 0 {
			gain += math.Log(float64(len(shifts)))
			if shift == 1 || shift == -1 {
				gain += rareKey
			}
		}
		if ratio < r.ratio && x.gain > gain {
			out = append(out, x)
		}
	}
	try(FindSignFlipped, 0, -1)
	for _, shift := range shifts {
		try(FindWrongKey, shift, 1)
	}
	return out
}

// pairUp gives, for the slots that both can be told of, the differences from
// the expectation as entered and as read the other way: with the sign given and
// moved by shift semitones; and the 1/r of each.
func (s *sheet) pairUp(e expectation, shift int, sign float64) (entered, then, slopes, slopesThen, noise, noiseThen []float64) {
	for i, slot := range s.slots {
		moved, ok := s.moved(slot, shift)
		if !ok {
			continue
		}
		at, known := e.cents(slot)
		atMoved, knownMoved := e.cents(moved)
		if !known || !knownMoved {
			continue
		}
		entered = append(entered, s.cents[i]-at)
		then = append(then, sign*s.cents[i]-atMoved)
		slopes = append(slopes, 1/slot.Valves.Ratio())
		slopesThen = append(slopesThen, 1/moved.Valves.Ratio())
		sd, _ := e.sd(slot)
		noise = append(noise, math.Sqrt(s.noise*s.noise+sd*sd+e.extra))
		sd, _ = e.sd(moved)
		noiseThen = append(noiseThen, math.Sqrt(s.noise*s.noise+sd*sd+e.extra))
	}
	return entered, then, slopes, slopesThen, noise, noiseThen
}

// likelihood is the logarithm of the density of residuals under the mixture of
// good and gross readings, each with its own standard deviation, up to a
// constant.
func likelihood(res, sd []float64) float64 {
	sum := 0.0
	for i, x := range res {
		z := x / sd[i]
		good := (1 - grossShare) * math.Exp(-z*z/2)
		gross := grossShare / grossWidth * math.Exp(-z*z/(2*grossWidth*grossWidth))
		sum += math.Log((good+gross)/sd[i] + 1e-300)
	}
	return sum
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

// The noise of a reading is taken as good with chance 0.98 and gross, six times
// as wide, with chance 0.02, as in the fit.
const (
	grossShare = 0.02
	grossWidth = 6.0
	minNoise   = 3.0  // cents; a session that seems steadier is so by chance
	farSure    = 0.95 // chance of being gross from which a reading is named
	farCents   = 15.0 // and the least distance
	// oddShare is the share of far slots from which the session as a whole
	// looks odd rather than its readings.
	oddShare = 0.25
)

// far finds slots that look odd: far from the expectation and unlike the rest
// of their session.
func (s *sheet) far(e expectation) []catalog.Finding {
	var x, slopes []float64
	var at []int
	for i, slot := range s.slots {
		if c, ok := e.cents(slot); ok {
			x, slopes, at = append(x, s.cents[i]-c), append(slopes, 1/slot.Valves.Ratio()), append(at, i)
		}
	}
	if len(x) < minNotes {
		return nil
	}
	res := residuals(x, slopes)
	noise := max(minNoise, 1.4826*medianAbs(res))
	var out []catalog.Finding
	for k, i := range at {
		sd, _ := e.sd(s.slots[i])
		gross := grossChance(res[k], math.Sqrt(noise*noise+sd*sd+e.extra))
		if gross < farSure || math.Abs(res[k]) < farCents {
			continue
		}
		out = append(out, s.farFinding(i, s.cents[i]-res[k], gross))
	}
	if float64(len(out)) > oddShare*float64(len(x)) {
		return []catalog.Finding{s.oddFinding(len(out), len(x))}
	}
	return out
}

// grossChance is the chance that a residual comes from the wide part of the
// noise, when the narrow one has standard deviation sd.
func grossChance(res, sd float64) float64 {
	z := res / sd
	good := (1 - grossShare) * math.Exp(-z*z/2)
	gross := grossShare / grossWidth * math.Exp(-z*z/(2*grossWidth*grossWidth))
	if good+gross == 0 {
		return 1
	}
	return gross / (good + gross)
}

// farCertainty caps what is claimed of single readings: a horn may really have
// a note like that.
const farCertainty = 0.8

func (s *sheet) farFinding(i int, expected, gross float64) catalog.Finding {
	slot := s.slots[i]
	return catalog.Finding{
		Kind: FindFarReading, Session: s.name(), Subject: fmt.Sprintf("%s (%s)", slot.Note(), slot),
		Detail: fmt.Sprintf("looks odd: %s on %s was read %+.0f cents in %s, %+.0f is expected after the session's own slide and level; the fit gives it little weight already",
			slot.Note(), slot.Valves, s.cents[i], Count(s.count[i], "reading"), expected),
		Certainty: farCertainty * gross,
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
