package match

import (
	"context"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Sealed is a sheet that gives nothing away: of a blind visit what tells
// candidates from each other by name is left out.
func (s *VisitSheet) Sealed() *VisitSheet {
	if !s.Blind {
		return s
	}
	out := *s
	out.Tries = nil
	for _, t := range s.Tries {
		// What is expected of a candidate would be a hint too, to the ear.
		out.Tries = append(out.Tries, PlannedTry{Number: t.Number, Code: t.Code})
	}
	out.Notes = nil
	for _, n := range s.Notes {
		n.Windows = nil
		n.Listen = place(n.Now) + " with yours."
		out.Notes = append(out.Notes, n)
	}
	return &out
}

// KeyLine says which mouthpiece goes by a code.
type KeyLine struct {
	Code       string `json:"code"`
	Mouthpiece string `json:"mouthpiece"`
	Own        bool   `json:"own"`     // the one played now, as a control
	Planned    bool   `json:"planned"` // else it is tried only if the readings ask for it
}

// VisitKey is the key of a visit, in the order of the plan.
func VisitKey(ctx context.Context, store interface {
	Mouthpiece(ctx context.Context, label string) (catalog.Mouthpiece, error)
}, v catalog.Visit) ([]KeyLine, error) {
	var out []KeyLine
	for i, c := range v.Candidates {
		m, err := store.Mouthpiece(ctx, string(c.Mouthpiece))
		if err != nil {
			return nil, err
		}
		out = append(out, KeyLine{c.Code, m.Label, c.Mouthpiece == v.Mouthpiece, i < v.Planned})
	}
	return out, nil
}

// Card is a few notes to play of any mouthpiece.
type Card struct {
	Notes     []CardNote `json:"notes"`
	Sentences []string   `json:"sentences"`
}

// CardNote is one of them.
type CardNote struct {
	Note      string `json:"note"`
	Fingering string `json:"fingering"`
	Partial   int    `json:"partial"`
}

// fixedCard holds the notes that told most in half of many simulated catalogs and
// held 73 % of what 31 notes tell in the other half: the extremes, partials 2 and
// 8, and the fifth partial carry it.
var fixedCard = []pitch.Slot{
	{Valves: 1, Partial: 5}, {Valves: 2, Partial: 2}, {Valves: 2, Partial: 5}, {Valves: 2, Partial: 8},
	{Valves: 3, Partial: 2}, {Valves: 3, Partial: 3}, {Valves: 3, Partial: 8}, {Valves: 6, Partial: 8},
}

// FixedCard is the card for a player without a plan, low to high.
func FixedCard() Card {
	var c Card
	for n := pitch.RangeLow; n <= pitch.RangeHigh; n++ {
		for _, s := range fixedCard {
			if s.Note() == n {
				c.Notes = append(c.Notes, CardNote{n.String(), s.Valves.String(), s.Partial})
			}
		}
	}
	c.Sentences = []string{
		"Tune the open C5 (third space) with the slide before each mouthpiece. Play each note twice, as it comes: no lipping, no slides thrown, eyes away from the needle; somebody else reads it.",
		"Write down your own mouthpiece the same way first, and compare note by note. The mouthpiece whose readings are nearest each other, not nearest nought, is the better one: the slide takes out the rest.",
		"Two readings of eight notes can mislead by several cents: take the best two home, not the best one.",
		hygieneAdvice, restAdvice,
	}
	return c
}
