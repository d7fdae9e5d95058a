package show

import (
	"fmt"
	"io"
	"strings"
	"time"

	"centwise/catalog"
	"centwise/match"
)

// phoneColumns is the width of sheets that are read on a phone.
const phoneColumns = 44

// page writes paragraphs and keeps the first error.
type page struct {
	w       io.Writer
	s       Style
	columns int
	err     error
}

func phonePage(w io.Writer, s Style) *page { return &page{w: w, s: s, columns: phoneColumns} }

func (p *page) line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintln(p.w, Wrap(Clean(fmt.Sprintf(format, args...)), p.columns, "", "  "))
	}
}

func (p *page) heading(format string, args ...any) {
	p.space()
	if p.err == nil {
		_, p.err = fmt.Fprintln(p.w, p.s.Paint(Strong, Wrap(Clean(fmt.Sprintf(format, args...)), p.columns, "", "")))
	}
}

func (p *page) space() {
	if p.err == nil {
		_, p.err = fmt.Fprintln(p.w)
	}
}

// VisitSheet prints what is taken along to a visit, narrow enough for a phone.
func VisitSheet(w io.Writer, s Style, v *match.VisitSheet) error {
	p := phonePage(w, s)
	p.line("%s: %s on %s, now %s", v.Name, v.Player, v.Horn, v.Now)
	p.space()
	p.line("%s", v.Advice)
	if len(v.Tries) == 0 {
		return p.err
	}
	p.heading("Tries, in this order (about %d minutes)", v.Minutes)
	if asked := v.TriesAsked; asked > len(v.Tries) {
		p.line("%d of the %d you have strength for: time, or the stock, has room for no more.", len(v.Tries), asked)
	}
	for _, t := range v.Tries {
		switch {
		case v.Blind:
			p.line("%d. %s", t.Number, t.Code)
		case t.Control:
			p.line("%d. %s: %s, your own, once more", t.Number, t.Code, t.Mouthpiece)
		default:
			p.line("%d. %s: %s, leaves %.1f (%.1f..%.1f), better than now %s; rests on %s", t.Number, t.Code, t.Mouthpiece,
				t.Error.Cents, t.Error.Low, t.Error.High, chance(t.ChanceBetter), basisWords(t))
		}
	}
	p.line("%s", v.Rest)
	p.line("%s", v.Hygiene)
	p.heading("Play, each %d times", v.Times)
	p.line("First tune %s to nought with the slide, for each mouthpiece. No lipping, no slides thrown, eyes away from the needle.", v.Reference)
	for _, n := range v.Notes {
		visitNote(p, n)
	}
	p.space()
	if !v.Blind {
		p.line("Numbers are cents on the tuner, + sharp, once %s reads nought; in brackets what 8 of 10 readings should keep to; ahead: from where on this note by itself would put the candidate ahead.", v.Reference)
	}
	p.line("These %d notes hold %.0f %% of what all notes tell.", len(v.Notes), 100*v.Explained)
	p.line("Stop when nothing left has more than a %.0f %% chance of saving another %.1f cents: 'centwise visit record' says when.", 100*v.StopChance, v.StopCents)
	return p.err
}

func visitNote(p *page, n match.DecidingNote) {
	p.heading("%s, %s (tuner: %s)", n.Note, valveNames(n.Fingering), n.Sounds)
	p.line("%s", n.Listen)
	for _, x := range n.Windows {
		text := fmt.Sprintf("%s: %s (%s..%s), %s to now", x.Code, Signed(x.Expected, 0), Signed(x.Low, 0), Signed(x.High, 0), Signed(x.Difference, 0))
		if x.Decides != "" {
			text += "; ahead if " + x.Decides
		}
		p.line("%s", text)
	}
}

func basisWords(t match.PlannedTry) string {
	switch {
	case t.Sessions > 0:
		return match.Count(t.Sessions, "session")
	case t.Basis == "design":
		return "its maker and model"
	case t.Basis == "dimensions":
		return "its sizes"
	}
	return "nothing: an average one"
}

// VisitKey writes the key of a blind visit.
func VisitKey(w io.Writer, v *match.VisitSheet, key []match.KeyLine) error {
	p := phonePage(w, Style{})
	p.line("Key of visit %s. For the helper only: cover the markings and hand over by letter.", v.Name)
	p.space()
	for _, k := range key {
		more := ""
		if k.Own {
			more = " (the player's own, as a control)"
		} else if !k.Planned {
			more = " (only if asked for)"
		}
		p.line("%s: %s%s", k.Code, k.Mouthpiece, more)
	}
	p.space()
	p.line("%s", v.Hygiene)
	return p.err
}

// VisitStandings lays the standings of a visit out.
func VisitStandings(v *match.VisitProgress) *Table {
	t := &Table{Columns: []Column{
		{Title: "now", Name: "rank_after", Right: true}, {Title: "was", Name: "rank_before", Right: true},
		{Title: "code", Name: "code", Drop: 4}, {Title: "mouthpiece", Name: "mouthpiece"},
		{Title: "leaves", Name: "error_cents", Right: true}, {Name: "low", Right: true}, {Name: "high", Right: true},
		{Title: "80 %", Right: true, Drop: 3}, {Title: "before", Name: "error_before", Right: true, Drop: 2},
		{Title: "better", Name: "chance_better", Right: true}, {Title: "raw", Name: "raw_cents", Right: true, Drop: 1},
		{Name: "tried"}, {Name: "readings", Right: true},
	}}
	for _, x := range v.Standings {
		raw, better := Cell{}, percent(x.ChanceBetter)
		if x.RawCents != nil {
			raw = Number(*x.RawCents, 1)
		}
		label := x.Mouthpiece
		if x.Now {
			better, label = Cell{}, label+" (yours)"
		}
		t.Add(Count(x.RankAfter), Count(x.RankBefore), Words(x.Code), TextEither(label, x.Mouthpiece),
			Number(x.After.Cents, 1), Number(x.After.Low, 1), Number(x.After.High, 1), Words(fmt.Sprintf("%.1f..%.1f", x.After.Low, x.After.High)),
			Number(x.Before.Cents, 1), better, raw, Words(fmt.Sprint(x.Tried)), Count(x.Readings))
	}
	return t
}

// VisitProgress prints how a visit stands between two tries.
func VisitProgress(w io.Writer, s Style, v *match.VisitProgress) error {
	p := phonePage(w, s)
	p.line("%s", v.Verdict)
	if v.WhyNotRaw != "" {
		p.line("%s", v.WhyNotRaw)
	}
	switch {
	case v.Done:
		p.line("Time to stop: %s.", v.DoneFor)
	case v.Next != "":
		next := v.NextCode
		if !v.Blind && v.Next != v.NextCode {
			next += ", " + v.Next
		}
		p.line("Next: %s. %s.", next, capital(v.DoneFor))
	}
	return p.err
}

// VisitResult prints the end of a visit: the verdict, then how all stood and stand.
func VisitResult(w io.Writer, s Style, v *match.VisitProgress) error {
	p := &page{w: w, s: s, columns: s.Columns()}
	p.line("%s: %s on %s", v.Name, v.Player, v.Horn)
	p.space()
	p.line("%s", v.Verdict)
	if v.WhyNotRaw != "" {
		p.line("%s", v.WhyNotRaw)
	}
	if v.DoneFor != "" && v.Tried > 0 {
		p.line("%s.", capital(v.DoneFor))
	}
	p.space()
	if p.err != nil {
		return p.err
	}
	shown := *v
	shown.Standings = nil
	for _, x := range v.Standings {
		if !s.Terminal || x.Tried || x.Now || x.RankAfter <= shownUntried {
			shown.Standings = append(shown.Standings, x)
		}
	}
	if err := VisitStandings(&shown).Write(w, s); err != nil || !s.Terminal {
		return err
	}
	return Sentences(w, s, []string{"now, was: rank of all, after and before the readings; leaves: cents expected to be left to the lip, with what else is known; better: chance of leaving less than yours; raw: error of the readings by themselves."})
}

// shownUntried is up to which rank mouthpieces that were not tried are shown.
const shownUntried = 3

// CardTable lays the fixed card out.
func CardTable(c match.Card) *Table {
	t := &Table{Columns: []Column{{Title: "note", Name: "note"}, {Title: "valves", Name: "fingering"}, {Title: "own", Right: true}, {Title: "A", Right: true}, {Title: "B", Right: true}, {Title: "C", Right: true}, {Name: "partial", Right: true}}}
	for _, n := range c.Notes {
		gap := Words("__ __")
		t.Add(Words(n.Note), Either(valveNames(n.Fingering), n.Fingering), gap, gap, gap, gap, Count(n.Partial))
	}
	return t
}

// VisitCard prints the fixed card, to be filled in by hand.
func VisitCard(w io.Writer, s Style, c match.Card) error {
	s.Colour, s.Terminal = s.Colour && s.Terminal, true // it is for paper wherever it goes
	if err := CardTable(c).Write(w, s); err != nil {
		return err
	}
	p := phonePage(w, s)
	p.space()
	for _, text := range c.Sentences {
		p.line("%s", text)
	}
	return p.err
}

// VisitList lays out the visits of a catalog.
func VisitList(list []catalog.VisitSummary) *Table {
	t := &Table{Columns: []Column{
		{Title: "visit", Name: "visit"}, {Title: "horn", Name: "horn"}, {Title: "now", Name: "mouthpiece", Drop: 2}, {Title: "player", Name: "player"},
		{Title: "candidates", Name: "candidates", Right: true, Drop: 3}, {Title: "lines", Name: "lines", Right: true}, {Title: "recorded", Name: "recorded", Drop: 1},
	}}
	for _, v := range list {
		recorded := Cell{}
		if !v.Recorded.IsZero() {
			recorded = Either(v.Recorded.Local().Format("2006-01-02"), v.Recorded.Format(time.RFC3339))
		}
		t.Add(Text(v.Name), Text(v.HornLabel), Text(v.MouthpieceLabel), Text(v.PlayerLabel), Count(len(v.Candidates)), Count(v.LineCount), recorded)
	}
	return t
}

// Labels joins labels for a sentence.
func Labels(list []string) string { return strings.Join(list, ", ") }
