package show

import (
	"fmt"
	"io"

	"centwise/match"
)

// NextTable lays out what could be measured next, a line a session.
func NextTable(n *match.Next) *Table {
	t := &Table{Columns: []Column{
		{Title: "rank", Name: "rank", Right: true},
		{Title: "horn", Name: "horn"}, {Title: "mouthpiece", Name: "mouthpiece"}, {Title: "player", Name: "player"},
		{Title: "saves", Name: "saves_cents", Right: true}, {Name: "doubt_cents", Right: true},
		{Title: "changes", Name: "chance_changes", Right: true},
		{Title: "most for", Drop: 2}, {Name: "for_horn"}, {Name: "for_player"}, {Name: "for_cents", Right: true},
		{Title: "sessions", Drop: 1, Right: true}, {Name: "pair_sessions", Right: true}, {Name: "horn_sessions", Right: true}, {Name: "mouthpiece_sessions", Right: true},
		{Name: "basis"}, {Name: "linked"},
	}}
	for _, s := range n.Sessions {
		whom := s.ForHorn
		if s.ForPlayer != "" {
			whom = s.ForPlayer + ", " + s.ForHorn
		}
		t.Add(Count(s.Rank), Text(s.Horn), Text(s.Mouthpiece), Text(s.Player),
			Number(s.SavesCents, 3), Number(s.Doubt, 3), percent(s.Chance),
			Text(whom), Text(s.ForHorn), Text(s.ForPlayer), Number(s.ForCents, 3),
			Words(fmt.Sprintf("%d/%d/%d", s.PairSessions, s.HornSessions, s.MouthpieceSessions)),
			Count(s.PairSessions), Count(s.HornSessions), Count(s.MouthpieceSessions),
			Words(string(s.Basis)), Words(fmt.Sprint(s.Linked)))
	}
	return t
}

// choiceTable lays out how the choices stand.
func choiceTable(n *match.Next) *Table {
	t := &Table{Columns: []Column{
		{Title: "choice for"}, {Title: "best now"}, {Title: "error", Right: true}, {Title: "best", Right: true, Drop: 2},
		{Title: "open", Right: true, Drop: 1}, {Title: "regret", Right: true},
	}}
	for _, c := range n.Choices {
		whom := c.Horn
		if c.Player != "" {
			whom = c.Player + ", " + c.Horn
		}
		t.Add(Text(whom), Text(c.Best), Number(c.ErrorCents, 1), percent(c.ChanceBest), Count(c.Contenders), Number(c.RegretCents, 2))
	}
	return t
}

// Next draws what to measure next for people, the answer first.
func Next(w io.Writer, s Style, n *match.Next) error {
	if !s.Terminal {
		return NextTable(n).Write(w, s)
	}
	if err := Sentences(w, s, n.Words()); err != nil {
		return err
	}
	sessions := NextTable(n)
	if err := sessions.Write(w, s); err != nil {
		return err
	}
	if err := Sentences(w, s, []string{sessions.legend(s,
		meaning{"saves", "cents of error, over all choices together"},
		meaning{"changes", "chance that some choice is another one afterwards"},
		meaning{"sessions", "so far with both, with the horn, with the mouthpiece"},
	)}); err != nil {
		return err
	}
	choices := choiceTable(n)
	if err := choices.Write(w, s); err != nil {
		return err
	}
	return Sentences(w, s, append([]string{choices.legend(s,
		meaning{"best", "chance that it is the best"},
		meaning{"open", "mouthpieces that may still be the best"},
		meaning{"regret", "what taking the best now is expected to lose to the best there is"},
	)}, n.Notes...))
}
