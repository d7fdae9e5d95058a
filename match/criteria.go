package match

import (
	"cmp"
	"fmt"
	"slices"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/tuning"
)

// Criteria say by what a setup is judged. The zero value is the player's range
// and weights if they have any, else the usual range of the instrument with
// every note alike; equal temperament, throws used.
type Criteria struct {
	// Low and High bound the written range; 0 = the player's, else as far as
	// Weights reach beyond the usual range of the instrument.
	Low, High pitch.Note
	// Weights of single notes go before a Register; with neither, the
	// player's weights count, else every note alike.
	Weights tuning.Weights
	// WeightsFrom names where the weights come from, for people to read.
	WeightsFrom string
	Register    tuning.Register
	Temperament pitch.Temperament
	Travel      *tuning.Travel // of the tuning slide; nil = tuning.DefaultTravel
	NoThrows    bool           // leave the valve slides where they are
	// ToleranceCents is the error up to which a setup counts as in tune; 0 =
	// the player's, else DefaultToleranceCents.
	ToleranceCents float64
}

// DefaultToleranceCents is what a player is taken to accept: the just
// noticeable difference for tones in short melodies (Hill & Summers 2007,
// J. Acoust. Soc. Am. 121, 2376-2383, abstract: about 10 cents).
const DefaultToleranceCents = 10.0

// For fills what c leaves open from a player's own wishes; nil is a typical
// player. What depends on the horn too stays open.
func (c Criteria) For(p *catalog.Player) Criteria {
	var player catalog.Player
	if p != nil {
		player = *p
	}
	c.Low = cmp.Or(c.Low, player.RangeLow)
	c.High = cmp.Or(c.High, player.RangeHigh)
	c.ToleranceCents = cmp.Or(c.ToleranceCents, player.ToleranceCents, DefaultToleranceCents)
	if c.Weights == nil && c.Register == "" && player.Weights != nil {
		c.Weights, c.WeightsFrom = tuning.Weights(player.Weights), "player "+player.Label
	}
	return c
}

// weighting names what the notes are weighed by.
func (c Criteria) weighting() string {
	switch {
	case c.Weights != nil:
		return cmp.Or(c.WeightsFrom, "own")
	case c.Register == "":
		return string(tuning.RegisterEven)
	}
	return string(c.Register)
}

// span is the range in which setups with an instrument are judged: what is
// asked for, else the usual one, widened to the notes that have a weight of
// their own.
func (c Criteria) span(i catalog.Instrument) (low, high pitch.Note) {
	low, high = catalog.UsualRange(i)
	for n, w := range c.Weights {
		if w > 0 {
			low, high = min(low, n), max(high, n)
		}
	}
	return cmp.Or(c.Low, low), cmp.Or(c.High, high)
}

// plan is what the judgements of all setups with one horn have in common.
type plan struct {
	problem   *tuning.Problem
	tolerance float64
	slots     []pitch.Slot // those to ask of the engine; the problem's come first
	at        *places      // of slots
	missing   []pitch.Note // notes in the range that nothing is known of
	unjudged  []pitch.Note // notes outside the range, or missing, that have a weight of their own
}

// plan prepares to judge setups with a horn on its usual slots, with the slots
// of their harmonics if support is wanted.
func (c Criteria) plan(h catalog.Horn, answered func(pitch.Slot) bool, support bool) (plan, error) {
	low, high := c.span(h.Instrument)
	slots, missing := usualSlots(low, high, h.Valves, answered)
	if len(slots) == 0 {
		return plan{}, catalog.Errorf(catalog.Invalid, fmt.Sprintf("give the lower note first, within %s..%s", pitch.RangeLow, pitch.TopUsual),
			"no note of horn %q lies in the range %s..%s", h.Label, low, high)
	}
	throws, length := tuning.ForHorn(h)
	if c.NoThrows {
		throws = tuning.Throws{}
	}
	problem, err := tuning.NewProblem(slots, tuning.Options{
		Weights: c.weights(low, high), Temperament: c.Temperament,
		Throws: throws, OpenLengthMM: length, Travel: c.Travel,
	})
	if err != nil {
		return plan{}, &catalog.Error{Kind: catalog.Invalid, What: fmt.Sprintf("judging horn %q", h.Label), Err: err}
	}
	if support {
		slots = withHarmonics(slots, answered)
	}
	p := plan{problem: problem, tolerance: c.ToleranceCents, slots: slots, at: placesOf(slots), missing: missing}
	p.unjudged = c.unjudged(problem.Slots())
	return p, nil
}

func (c Criteria) weights(low, high pitch.Note) tuning.Weights {
	if c.Weights != nil {
		return c.Weights
	}
	return tuning.Emphasis(c.Register, low, high)
}

// unjudged lists the notes that have a weight of their own but no place among
// the slots, upwards.
func (c Criteria) unjudged(slots []pitch.Slot) []pitch.Note {
	judged := map[pitch.Note]bool{}
	for _, s := range slots {
		judged[s.Note()] = true
	}
	var out []pitch.Note
	for n, w := range c.Weights {
		if w > 0 && !judged[n] {
			out = append(out, n)
		}
	}
	slices.Sort(out)
	return out
}
