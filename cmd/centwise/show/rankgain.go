package show

import (
	"fmt"
	"io"

	"centwise/match"
)

// extraColumns are columns of a ranking that only some have: the support by
// measured resonances, and the comparison with the setup played now.
func extraColumns(t *Table, r *match.Ranking) (columns []Column, cells func(p match.Pairing) []Cell) {
	var makers []func(p match.Pairing) []Cell
	add := func(make func(p match.Pairing) []Cell, c ...Column) {
		columns = append(columns, c...)
		makers = append(makers, make)
	}
	if r.Against != nil {
		makeRoom(t)
		add(gainCells,
			Column{Title: "gain", Name: "gain_cents", Right: true},
			Column{Title: "80 % of gain", Right: true, Drop: 1},
			Column{Name: "gain_low", Right: true}, Column{Name: "gain_high", Right: true},
			Column{Title: "better", Name: "chance_better", Right: true, Drop: 1})
	}
	if anyMeasured(r.Pairings) {
		add(func(p match.Pairing) []Cell { return []Cell{index(p.SupportMeasured)} },
			Column{Title: "measured", Name: "support_measured", Right: true, Drop: 5})
	}
	return columns, func(p match.Pairing) (out []Cell) {
		for _, make := range makers {
			out = append(out, make(p)...)
		}
		return out
	}
}

// makeRoom lets columns go on narrow terminals that matter less where pairings
// are compared with what is played now.
func makeRoom(t *Table) {
	for i, c := range t.Columns {
		switch c.Title {
		case "80 % interval":
			t.Columns[i].Drop = 5
		case "worst note":
			t.Columns[i].Drop = 4
		}
	}
}

func anyMeasured(list []match.Pairing) bool {
	for _, p := range list {
		if p.SupportMeasured != nil {
			return true
		}
	}
	return false
}

// gainCells compare a pairing with the setup played now.
func gainCells(p match.Pairing) []Cell {
	if p.Gain == nil {
		now := Cell{}
		if p.Now {
			now = Words("now")
		}
		return []Cell{Either(now.short, ""), {}, {}, {}, {}}
	}
	g := p.Gain
	return []Cell{
		Share(g.Cents), Words(fmt.Sprintf("%s..%s", Signed(g.Low, 1), Signed(g.High, 1))),
		Number(g.Low, 1), Number(g.High, 1), percent(g.ChanceBetter),
	}
}

// answerFirst says before the list whether changing is worth it.
func answerFirst(w io.Writer, s Style, r *match.Ranking) error {
	if r.Against == nil {
		return nil
	}
	_, err := fmt.Fprintf(w, "%s\n\n", Wrap(Clean(r.Against.Answer), s.Columns(), "", "  "))
	return err
}

// RankSentences is what a ranking says in words, whether changing is worth it
// first.
func RankSentences(r *match.Ranking) []string {
	if r.Against == nil {
		return r.Notes
	}
	return append([]string{r.Against.Answer}, r.Notes...)
}
