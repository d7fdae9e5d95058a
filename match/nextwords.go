package match

import (
	"fmt"

	"centwise/match/fit"
)

// Link is a session that would join two unlinked parts of a catalog.
type Link struct {
	Horn       string `json:"horn"`
	Mouthpiece string `json:"mouthpiece"`
	// Sessions of the part of the horn and of that of the mouthpiece.
	HornPart       int `json:"horn_part_sessions"`
	MouthpiecePart int `json:"mouthpiece_part_sessions"`
}

// link finds the session that joins the two largest parts of which gear is at
// hand.
func (f *foresight) link(out *Next) {
	parts := f.e.Parts()
	out.Parts = len(parts)
	for b := 1; b < len(parts); b++ {
		for a := range b {
			if l := f.linkOf(parts[a], parts[b]); l != nil {
				out.Link = l
				return
			}
		}
	}
}

// linkOf joins two parts by the best known horn of one and the best known
// mouthpiece of the other that fit and are at hand.
func (f *foresight) linkOf(a, b fit.Part) *Link {
	if l := f.oneWay(a, b); l != nil {
		return l
	}
	return f.oneWay(b, a)
}

func (f *foresight) oneWay(horns, mouthpieces fit.Part) *Link {
	for _, x := range horns.Horns {
		for _, h := range f.q.Horns {
			if h.ID != x.ID {
				continue
			}
			for _, y := range mouthpieces.Mouthpieces {
				for _, m := range f.q.Mouthpieces {
					if m.ID == y.ID && f.mayBe(h, m) {
						return &Link{h.Label, m.Label, horns.Sessions, mouthpieces.Sessions}
					}
				}
			}
		}
	}
	return nil
}

// notes are what the answer can't say by itself.
func (f *foresight) notes(out *Next) []string {
	var notes []string
	if f.undecided > 0 {
		notes = append(notes, fmt.Sprintf("Left out: %s with fewer than two mouthpieces to choose from.", Count(f.undecided, "choice")))
	}
	if out.Link != nil {
		notes = append(notes, fmt.Sprintf("The catalog falls into %d parts that no session links. One session of horn %s with mouthpiece %s links the part of %s with that of %s.",
			out.Parts, out.Link.Horn, out.Link.Mouthpiece, Count(out.Link.HornPart, "session"), Count(out.Link.MouthpiecePart, "session")))
	} else if out.Parts > 1 {
		notes = append(notes, fmt.Sprintf("The catalog falls into %d parts that no session links, and no gear of two of them that fits together is at hand.", out.Parts))
	}
	if f.likeliest {
		notes = append(notes, fmt.Sprintf("The gear at hand allows too many sessions to look into all: these are the best of %d with contenders of the choices.", out.Considered))
	}
	return notes
}

// Words say in plain sentences what to measure next and what for.
func (n *Next) Words() []string {
	if len(n.Sessions) == 0 {
		return []string{"No session can be measured with what is at hand."}
	}
	s := n.Sessions[0]
	setup := s.Horn + " with " + s.Mouthpiece
	if s.Player != "" {
		setup += " played by " + s.Player
	}
	if s.SavesCents < worthSaying {
		return []string{fmt.Sprintf("No single session is expected to make the choices better by more than %.2f cents: they are as sure as one session can make them, or nothing at hand touches them.", worthSaying)}
	}
	return []string{
		fmt.Sprintf("Measure %s next: on average over what it may show, the %s together would be better by %.2f cents (of %.2f that not knowing costs them), and there is a %.0f %% chance that one of them changes.",
			setup, Count(len(n.Choices), "choice"), s.SavesCents, n.RegretCents, 100*s.Chance),
		fmt.Sprintf("It helps most with the mouthpiece for %s.", forWhom(s.ForHorn, s.ForPlayer)),
	}
}

// Brief says in one sentence which session comes first.
func (n *Next) Brief() string {
	if len(n.Sessions) == 0 || n.Sessions[0].SavesCents < worthSaying {
		return "No single session would teach much about this choice now; 'centwise next' looks at all of them."
	}
	s := n.Sessions[0]
	return fmt.Sprintf("Which session would teach most next: %s with %s. On average it makes the choice of a mouthpiece for %s better by %.2f of the %.2f cents that not knowing costs; 'centwise next' looks at all choices.",
		s.Horn, s.Mouthpiece, forWhom(s.ForHorn, s.ForPlayer), s.SavesCents, n.RegretCents)
}

// worthSaying is the saving below which a session is not recommended, cents.
const worthSaying = 0.005

func forWhom(horn, player string) string {
	if player == "" {
		return horn
	}
	return player + " on " + horn
}
