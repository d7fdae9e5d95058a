package show

import (
	"fmt"

	"centwise/match"
)

// visitView is the part of a page that is taken along to a visit: what to try in
// which order, and for each try the notes to play with places for what is read.
type visitView struct {
	Headline, Lead string
	Blind          bool
	Facts          []Fact
	Steps          []string // what to do with each mouthpiece
	List           listView // of the tries; the limit is what is played now
	Tries          []tryView
	Notes          []listenView
	Times          []int // the readings of a note: 1, 2 ...
	Enter          string
}

// tryView is one mouthpiece of the plan, with its notes.
type tryView struct {
	Label string
	Rows  []windowRow
}

// windowRow is a note of a try: what the tuner should show of it.
type windowRow struct{ Note, Valves, Sounds, Expected, Interval, Decides string }

// listenView says what to listen for on a note.
type listenView struct{ Note, Valves, Sounds, Now, Listen string }

func newVisitView(s *match.VisitSheet, enter string) visitView {
	headline, lead := splitVerdict(s.Advice)
	v := visitView{
		Blind: s.Blind, Headline: Clean(headline), Lead: Clean(lead), Facts: visitFacts(s), Steps: cleanAll(visitSteps(s)), Enter: Clean(enter),
	}
	high := []float64{s.NowError.Cents}
	for _, t := range s.Tries {
		high = append(high, t.Error.Cents, t.Error.High)
	}
	scale := newErrorScale(0, high...)
	v.List = listView{
		Title:   "What each should leave to the lip, all notes together",
		Reading: "Cents: what is expected before anything is tried, on a line over its 80 % interval. The rest of the order changes as readings come in.",
		Ticks:   scale.ticks(), Limit: scale.at(s.NowError.Cents),
		AxisText:  fmt.Sprintf("Scale in cents, from 0 to %.0f; %s, played now, leaves %.1f.", scale.high, Clean(s.Now), s.NowError.Cents),
		LimitText: fmt.Sprintf("%s, played now: %.1f", Clean(s.Now), s.NowError.Cents),
	}
	for _, t := range s.Tries {
		v.List.Lines = append(v.List.Lines, tryLine(s, t, scale))
		v.Tries = append(v.Tries, newTryView(s, t))
	}
	for _, n := range s.Notes {
		v.Notes = append(v.Notes, listenView{n.Note, valveNames(n.Fingering), n.Sounds, signed(n.Now, 0), Clean(n.Listen)})
	}
	for k := range s.Times {
		v.Times = append(v.Times, k+1)
	}
	return v
}

// visitFacts are the figures beside the verdict.
func visitFacts(s *match.VisitSheet) []Fact {
	return []Fact{
		{"Horn", Clean(s.Horn)},
		{"Played now", fmt.Sprintf("%s, leaves %.1f cents (%.1f to %.1f)", Clean(s.Now), s.NowError.Cents, s.NowError.Low, s.NowError.High)},
		{"Tries", fmt.Sprintf("%d of %s, about %d minutes with rests", len(s.Tries), match.Count(s.Considered, "mouthpiece"), s.Minutes)},
		{"Notes", fmt.Sprintf("%s, each read %d times; they tell %.0f %% of what all notes would", match.Count(len(s.Notes), "note"), s.Times, 100*s.Explained)},
	}
}

// visitSteps say what to do with each mouthpiece.
func visitSteps(s *match.VisitSheet) []string {
	out := []string{
		"Disinfect the mouthpiece, put it in, and play yourself in for a minute or two.",
		fmt.Sprintf("Tune %s to nought with the tuning slide, then leave the slide where it is.", s.Reference),
		fmt.Sprintf("Play each note %d times as it comes, without lipping it and with the valve slides in. Somebody else reads the tuner.", s.Times),
		s.Rest,
		fmt.Sprintf("Stop when no candidate left has more than a %.0f %% chance of saving another %.1f cents: the program says when.", 100*s.StopChance, s.StopCents),
	}
	if s.Blind {
		out = append(out, "Somebody else, who has the key, swaps the mouthpieces out of sight. It is opened at the end.")
	}
	return out
}

// tryName is what a candidate is called on paper.
func tryName(s *match.VisitSheet, t match.PlannedTry) string {
	if s.Blind {
		return t.Code
	}
	name := t.Code + ", " + t.Mouthpiece
	if t.Control {
		name += " (your own once more)"
	}
	return name
}

// tryLine is a candidate in the list of tries.
func tryLine(s *match.VisitSheet, t match.PlannedTry, scale errorScale) candidateLine {
	l := candidateLine{
		Rank: t.Number, Label: Clean(tryName(s, t)), Mark: "ring",
		Figures: fmt.Sprintf("%.1f (%.1f to %.1f)", t.Error.Cents, t.Error.Low, t.Error.High),
		Low:     scale.at(t.Error.Low), High: scale.at(t.Error.High), At: scale.at(t.Error.Cents),
	}
	if rests := fmt.Sprintf("%s, %s", match.Count(t.Sessions, "session"), restsOn(match.Pairing{Basis: t.Basis, Linked: t.Linked})); t.Control {
		l.Details = "a control: does it read as it did before? · " + rests
	} else {
		l.Details = fmt.Sprintf("better than now: %s · %s", chance(t.ChanceBetter), rests)
	}
	l.Alternative = fmt.Sprintf("%s: error %s cents", l.Label, l.Figures)
	return l
}

// newTryView lays out the notes of a try, in the order of the plan.
func newTryView(s *match.VisitSheet, t match.PlannedTry) tryView {
	v := tryView{Label: Clean(tryName(s, t))}
	for _, n := range s.Notes {
		row := windowRow{Note: n.Note, Valves: valveNames(n.Fingering), Sounds: n.Sounds, Expected: signed(n.Now, 0)}
		for _, w := range n.Windows {
			if w.Code == t.Code {
				row.Expected, row.Interval, row.Decides = signed(w.Expected, 0), interval(w.Low, w.High), typographic(w.Decides)
			}
		}
		v.Rows = append(v.Rows, row)
	}
	return v
}
