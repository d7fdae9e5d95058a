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

// problem sets up the tuning problem of a horn on its usual slots.
func (c Criteria) problem(h catalog.Horn) (*tuning.Problem, error) {
	slots := pitch.UsualSlots(c.Low, c.High, h.Valves)
	if len(slots) == 0 {
		return nil, catalog.Errorf(catalog.Invalid, "give the lower note first, within F#3..G6",
			"no note of horn %s lies in the range %s..%s", h.Label, c.Low, c.High)
	}
	throws, length := tuning.ForHorn(h)
	if c.NoThrows {
		throws = tuning.Throws{}
	}
	p, err := tuning.NewProblem(slots, tuning.Options{
		Weights: c.Weights, Temperament: c.Temperament,
		Throws: throws, OpenLengthMM: length, Travel: c.Travel,
	})
	if err != nil {
		return nil, fmt.Errorf("horn %s: %w", h.Label, err)
	}
	return p, nil
}
