package show

import (
	"fmt"
	"io"

	"centwise/match"
	"centwise/match/fit"
)

// RankTable lays out a ranking a line a pairing.
func RankTable(r *match.Ranking) *Table {
	t := &Table{Columns: []Column{
		{Title: "rank", Name: "rank", Right: true},
		{Title: title(r.Horn == "", "horn"), Name: "horn"},
		{Title: title(r.Mouthpiece == "", "mouthpiece"), Name: "mouthpiece"},
		{Title: "error", Name: "error_cents", Right: true},
		{Title: "80 % interval", Right: true},
		{Name: "low", Right: true}, {Name: "high", Right: true},
		{Title: "best", Name: "chance_best", Right: true},
		{Title: "in tune", Name: "chance_tolerable", Right: true, Drop: 4},
		{Title: "worst note", Right: true},
		{Name: "worst_note"}, {Name: "worst_cents", Right: true},
		{Title: "support", Name: "support", Right: true, Drop: 5},
		{Title: "sessions", Name: "evidence", Right: true, Drop: 3},
		{Title: "rests on", Drop: 2},
		{Name: "basis"}, {Name: "linked"},
	}}
	for _, p := range r.Pairings {
		t.Add(rankRow(p)...)
	}
	return t
}

func rankRow(p match.Pairing) []Cell {
	support := Cell{}
	if p.Support != nil {
		support = Number(*p.Support, 2)
	}
	worst := Cents(p.Worst.Cents, 0)
	worst.short = p.Worst.Note + " " + worst.short
	return []Cell{
		Count(p.Rank), Text(p.Horn), Text(p.Mouthpiece),
		Number(p.ErrorCents, 1), Words(fmt.Sprintf("%.1f..%.1f", p.Low, p.High)),
		Number(p.Low, 1), Number(p.High, 1),
		percent(p.ChanceBest), percent(p.ChanceTolerable),
		worst, Words(p.Worst.Note), Number(p.Worst.Cents, 1),
		support, Count(p.Evidence), Words(restsOn(p)),
		Words(string(p.Basis)), Words(fmt.Sprint(p.Linked)),
	}
}

func percent(chance float64) Cell {
	return Cell{short: fmt.Sprintf("%.0f %%", 100*chance), full: full(chance)}
}

// restsOn says in a few words what a pairing rests on.
func restsOn(p match.Pairing) string {
	text := string(p.Basis)
	if p.PairSessions > 0 {
		text = "this pair"
	}
	if !p.Linked && p.Basis != fit.BasisPrior {
		text += ", not linked"
	}
	if p.Adapter {
		text += ", adapter"
	}
	return text
}

// Ranking draws a ranking for people: the shortlist, how to read it, and what
// it can't say.
func Ranking(w io.Writer, s Style, r *match.Ranking, toleranceCents float64) error {
	who := "a typical player"
	if r.Player != "" {
		who = r.Player
	}
	heading := "Horns and mouthpieces"
	switch {
	case r.Horn != "":
		heading = "Mouthpieces for " + r.Horn
	case r.Mouthpiece != "":
		heading = "Horns for " + r.Mouthpiece
	}
	heading = Clean(fmt.Sprintf("%s, played by %s: %d of %d", heading, who, len(r.Pairings), r.Considered))
	if _, err := fmt.Fprintf(w, "%s\n\n", s.Paint(Strong, heading)); err != nil {
		return err
	}
	if err := RankTable(r).Write(w, s); err != nil {
		return err
	}
	legend := fmt.Sprintf("error: cents left to the lip after the best slide and throws, all notes together; best: chance of being the best of the list; "+
		"in tune: chance that the error is below %.0f cents; sessions: how many measured the horn or the mouthpiece.", toleranceCents)
	return Sentences(w, s, append([]string{legend}, r.Notes...))
}
