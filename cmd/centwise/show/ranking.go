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
	more, cells := extraColumns(t, r)
	t.Columns = append(t.Columns, more...)
	for _, p := range r.Pairings {
		t.Add(append(rankRow(p), cells(p)...)...)
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
	text := map[fit.Basis]string{
		fit.BasisMeasured: "each alone", fit.BasisDesign: "its design", fit.BasisDimensions: "its sizes", fit.BasisPrior: "nothing yet",
	}[p.Basis]
	switch {
	case p.PairSessions > 0:
		text = "this pair"
	case !p.Linked && p.Basis == fit.BasisMeasured:
		text = "not linked"
	}
	if p.Adapter {
		text += ", adapter"
	}
	return text
}

// Ranking draws a ranking for people: the shortlist, how to read it, and what
// it can't say.
func Ranking(w io.Writer, s Style, r *match.Ranking, toleranceCents float64) error {
	heading := Clean(fmt.Sprintf("%s: %d of %d", rankHeading(r), len(r.Pairings), r.Considered))
	if _, err := fmt.Fprintf(w, "%s\n\n", s.Paint(Strong, heading)); err != nil {
		return err
	}
	if err := answerFirst(w, s, r); err != nil {
		return err
	}
	table := RankTable(r)
	if err := table.Write(w, s); err != nil {
		return err
	}
	return Sentences(w, s, append([]string{rankLegend(s, table, toleranceCents)}, r.Notes...))
}

// played names the player for a heading.
func played(player string) string {
	if player == "" {
		return "a typical player"
	}
	return player
}

// rankLegend says what the columns hold that are drawn.
func rankLegend(s Style, t *Table, toleranceCents float64) string {
	return t.legend(s,
		meaning{"error", "cents left to the lip after the best slide and throws, all notes together, uncertainty included"},
		meaning{"best", "chance of being the best of the list"},
		meaning{"in tune", fmt.Sprintf("chance that the error is below %.0f cents", toleranceCents)},
		meaning{"worst note", "what is left of it, + sharp, - flat"},
		meaning{"support", "how well the notes' overtones find resonances, 1 at most"},
		meaning{"sessions", "how many measured the horn or the mouthpiece"},
		meaning{"gain", "how much less it leaves than what is played now, + better, - worse"},
		meaning{"better", "chance that it is better at all"},
		meaning{"measured", "support by measured resonances"},
		meaning{"rests on", "sessions with this pair, with each alone, with others of a design, or only its sizes"},
	)
}
