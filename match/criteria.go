package match

import (
	"cmp"
	"fmt"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/tuning"
)

// Criteria say by what a setup is judged. The zero value is the usual range
// F#3..C6, every note alike, equal temperament, throws used.
type Criteria struct {
	Low, High   pitch.Note     // written range; 0 = the player's, else the usual one
	Weights     tuning.Weights // nil = even
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
// player.
func (c Criteria) For(p *catalog.Player) Criteria {
	var player catalog.Player
	if p != nil {
		player = *p
	}
	c.Low = cmp.Or(c.Low, player.RangeLow, pitch.RangeLow)
	c.High = cmp.Or(c.High, player.RangeHigh, pitch.RangeHigh)
	c.ToleranceCents = cmp.Or(c.ToleranceCents, player.ToleranceCents, DefaultToleranceCents)
	return c
}

// plan is what the judgements of all setups with one horn have in common.
type plan struct {
	problem   *tuning.Problem
	tolerance float64
	slots     []pitch.Slot // those to ask of the engine; the problem's come first
	at        places       // of slots
	missing   []pitch.Note // notes in the range that nothing is known of
}

// plan prepares to judge setups with a horn on its usual slots, with the slots
// of their harmonics if support is wanted.
func (c Criteria) plan(h catalog.Horn, answered func(pitch.Slot) bool, support bool) (plan, error) {
	slots, missing := usualSlots(c.Low, c.High, h.Valves, answered)
	if len(slots) == 0 {
		return plan{}, catalog.Errorf(catalog.Invalid, fmt.Sprintf("give the lower note first, within %s..%s", pitch.RangeLow, pitch.TopUsual),
			"no note of horn %q lies in the range %s..%s", h.Label, c.Low, c.High)
	}
	throws, length := tuning.ForHorn(h)
	if c.NoThrows {
		throws = tuning.Throws{}
	}
	problem, err := tuning.NewProblem(slots, tuning.Options{
		Weights: c.Weights, Temperament: c.Temperament,
		Throws: throws, OpenLengthMM: length, Travel: c.Travel,
	})
	if err != nil {
		return plan{}, &catalog.Error{Kind: catalog.Invalid, What: fmt.Sprintf("judging horn %q", h.Label), Err: err}
	}
	if support {
		slots = withHarmonics(slots, answered)
	}
	return plan{problem, c.ToleranceCents, slots, placesOf(slots), missing}, nil
}
