package show

import (
	"fmt"
	"io"
	"strings"

	"centwise/match"
)

// InfluenceTable lists the sessions behind a prediction, a line each.
func InfluenceTable(x *match.Influence) *Table {
	t := &Table{Columns: []Column{
		{Title: "without", Name: "session"},
		{Title: "date", Name: "date", Drop: 3},
		{Title: "measured by", Name: "contributor", Drop: 1},
		{Name: "method"},
		{Title: "shares", Name: "shares"},
		{Title: "horn", Name: "horn", Drop: 4},
		{Title: "mouthpiece", Name: "mouthpiece", Drop: 5},
		{Title: "player", Name: "player", Drop: 6},
		{Title: "readings", Name: "readings", Right: true, Drop: 7},
		{Title: "profile moves", Name: "profile_moves", Right: true, Whole: true},
		{Title: "most on", Drop: 2},
		{Name: "most_note"}, {Name: "most_cents"},
		{Title: "error", Name: "error_moves", Right: true, Whole: true},
		{Name: "error_without"}, {Name: "sd_without"},
	}}
	for _, s := range x.Sessions {
		day, _, _ := strings.Cut(s.Date, "T")
		t.Add(Text(s.Session), Either(day, s.Date), Text(s.Contributor), Words(s.Method),
			Either(strings.Join(s.Shares, ", "), strings.Join(s.Shares, "; ")),
			Text(s.Horn), Text(s.Mouthpiece), Text(s.Player), Count(s.Readings),
			Number(s.ProfileMoves, 2), Words(fmt.Sprintf("%s %s", s.Most.Note, Signed(s.Most.Cents, 1))),
			Words(s.Most.Note), Number(s.Most.Cents, 2),
			Either(Signed(s.ErrorMoves, 2), full(s.ErrorMoves)), Number(s.ErrorWithout, 2), Number(s.SDWithout, 2))
	}
	return t
}

// Influence draws the sessions behind a prediction for people.
func Influence(w io.Writer, s Style, x *match.Explanation, behind *match.Influence) error {
	if _, err := fmt.Fprintf(w, "%s\n\n", s.Paint(Strong, setupOf(x))); err != nil {
		return err
	}
	if len(behind.Sessions) > 0 {
		if err := InfluenceTable(behind).Write(w, s); err != nil {
			return err
		}
	}
	return Sentences(w, s, InfluenceSentences(behind))
}

// InfluenceSentences say how to read the table and what it says.
func InfluenceSentences(x *match.Influence) []string {
	out := x.Words()
	if len(x.Sessions) > 0 {
		out = append([]string{"How far the answer would move without the session, in cents: the profile, root mean square over the notes; " +
			"the note that would move most, + higher; the expected error, + for more."}, out...)
	}
	return out
}
