package show

import (
	"fmt"

	"centwise/match"
)

// WorthTable lays out what designs are worth, a line a design.
func WorthTable(list []match.Worth) *Table {
	t := &Table{Columns: []Column{
		{Title: "one more", Name: "kind"}, {Title: "design", Name: "design"}, {Title: "like", Name: "like", Drop: 2},
		{Title: "total", Name: "total_cents", Right: true}, {Title: "80 % of gain", Right: true, Drop: 1}, {Name: "gain_cents", Right: true}, {Name: "gain_low", Right: true}, {Name: "gain_high", Right: true},
		{Title: "better", Name: "chance_better", Right: true, Drop: 3}, {Name: "served", Right: true},
		{Title: "for", Name: "student"}, {Title: "changed", Name: "different", Right: true, Drop: 4},
	}}
	for _, w := range list {
		low, better := Cell{}, Cell{}
		if w.Who != "" && w.Served == 0 {
			low, better = Words(Signed(w.Gain.Low, 1)+".."+Signed(w.Gain.High, 1)), percent(w.Gain.ChanceBetter)
		}
		who := w.Who
		if w.Served > 0 {
			who += " +" + fmt.Sprint(w.Served)
		}
		t.Add(Words(w.Kind), Text(w.Design), Text(w.Like), Number(w.TotalCents, 1), low, Number(w.Gain.Cents, 2), Number(w.Gain.Low, 2), Number(w.Gain.High, 2),
			better, Count(w.Served), TextEither(who, w.Who), Count(w.Different))
	}
	return t
}

// WorthSentences say what the first of the list comes to.
func WorthSentences(list []match.Worth, students int) []string {
	if len(list) == 0 {
		return nil
	}
	first := list[0]
	legend := "total: by how many cents the total error of the class falls, changes counted; for: who would have it; changed: how many students would have something else."
	switch {
	case first.Served > 0:
		return []string{fmt.Sprintf("One more %s serves %s more.", first.Kind, match.Count(first.Served, "student")), legend}
	case first.TotalCents < 0.05*float64(students):
		return []string{fmt.Sprintf("Nothing in the list is worth buying for this class: the best, one more %s %s, gains %.1f cents in all, %.2f a student.", first.Kind, first.Design, first.TotalCents, first.TotalCents/float64(students)), legend}
	}
	return []string{fmt.Sprintf("One more %s %s gains the class %.1f cents in all, %.2f a student.", first.Kind, first.Design, first.TotalCents, first.TotalCents/float64(students)), legend}
}
