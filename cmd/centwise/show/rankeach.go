package show

import (
	"fmt"
	"io"
	"slices"

	"centwise/match"
)

// eachTable lays out one of many lists. Off terminals those after the first go on
// under it; there are so many rows that no table holds them all.
func eachTable(l match.List, first bool) *Table {
	t := RankTable(&match.Ranking{}) // its columns must not depend on the list
	for _, p := range l.Pairings {
		t.Add(rankRow(p)...)
	}
	t.Continued = !first
	return t
}

// EachCSV prints a list for each as comma-separated values under one heading.
func EachCSV(w io.Writer, r *match.EachRanking) error {
	for i, l := range r.Lists {
		if err := eachTable(l, i == 0).WriteCSV(w); err != nil {
			return err
		}
	}
	return nil
}

// EachTabs prints a list for each for programs.
func EachTabs(w io.Writer, s Style, r *match.EachRanking) error {
	for i, l := range r.Lists {
		if err := eachTable(l, i == 0).Write(w, s); err != nil {
			return err
		}
	}
	return nil
}

// EachRanking draws a list for each for people, all under one heading: whose list
// it is stands on the list's first line.
func EachRanking(w io.Writer, s Style, r *match.EachRanking, toleranceCents float64) error {
	what := "Mouthpieces for each horn"
	if r.Each == match.EachMouthpiece {
		what = "Horns for each mouthpiece"
	}
	heading := fmt.Sprintf("%s, played by %s: the best of %s", what, played(r.Player), match.Count(r.Considered, "pairing"))
	if _, err := fmt.Fprintf(w, "%s\n\n", s.Paint(Strong, Clean(heading))); err != nil {
		return err
	}
	table := &Table{}
	for _, l := range r.Lists {
		part := eachTable(l, true)
		table.Columns = ownerFirst(r.Each, part.Columns)
		for i, row := range part.Rows {
			row = ownerFirst(r.Each, row)
			if i > 0 {
				row[0] = Cell{}
			}
			table.Add(row...)
		}
	}
	if err := table.Write(w, s); err != nil {
		return err
	}
	return Sentences(w, s, append([]string{
		rankLegend(s, table, toleranceCents),
		"Chances of being the best are shared out between the lines that a list has here.",
	}, r.Notes...))
}

// ownerFirst puts the column of those whose lists are drawn before the rank.
func ownerFirst[T any](each match.Owner, row []T) []T {
	row = slices.Clone(row)
	rank, horn, mouthpiece := row[0], row[1], row[2]
	if each == match.EachHorn {
		row[0], row[1] = horn, rank
	} else {
		row[0], row[1], row[2] = mouthpiece, rank, horn
	}
	return row
}
