package show

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"centwise/match"
)

// RosterTable lays out a roster a line a student. Names, by handle, are a column
// of their own; nil leaves it out.
func RosterTable(r *match.Roster, names map[string]string) *Table {
	t := &Table{Columns: []Column{
		{Title: "student", Name: "student"},
		{Title: "horn", Name: "horn"}, {Title: "mouthpiece", Name: "mouthpiece"}, {Name: "own_mouthpiece"},
		{Title: "error", Name: "error_cents", Right: true}, {Title: "80 % interval", Right: true, Drop: 3},
		{Name: "low", Right: true}, {Name: "high", Right: true},
		{Title: "now", Name: "now_horn", Drop: 2}, {Name: "now_mouthpiece"}, {Name: "now_error_cents", Right: true},
		{Title: "gain", Name: "gain_cents", Right: true}, {Name: "gain_low", Right: true}, {Name: "gain_high", Right: true},
		{Title: "better", Name: "chance_better", Right: true, Drop: 4},
		{Title: "runner-up", Drop: 1}, {Name: "runner_up"}, {Name: "runner_up_cost_cents", Right: true},
		{Title: "worst note", Right: true, Drop: 5}, {Name: "worst_note"}, {Name: "worst_cents", Right: true},
		{Name: "moved"}, {Name: "student_sessions", Right: true}, {Name: "basis"}, {Name: "linked"},
	}}
	if !anyNow(r) {
		for i, c := range t.Columns {
			if c.Title == "now" || c.Title == "gain" || c.Title == "better" {
				t.Columns[i].Title = ""
			}
		}
	}
	if names != nil {
		t.Columns = append([]Column{t.Columns[0], {Title: "name", Name: "name", Drop: 1}}, t.Columns[1:]...)
	}
	for _, l := range r.Lines {
		row := rosterRow(l)
		if names != nil {
			row = append([]Cell{row[0], Text(names[l.Student])}, row[1:]...)
		}
		t.Add(row...)
	}
	return t
}

// anyNow reports whether somebody plays something now.
func anyNow(r *match.Roster) bool {
	return slices.ContainsFunc(r.Lines, func(l match.RosterLine) bool { return l.NowHorn != "" })
}

func rosterRow(l match.RosterLine) []Cell {
	mouthpiece := l.Mouthpiece
	if l.Own {
		mouthpiece = "own"
	}
	now, nowCents, gain, low, high, better := TextEither(l.NowHorn, l.NowHorn), Cell{}, Cell{}, Cell{}, Cell{}, Cell{}
	if l.NowHorn != "" && !l.Moved {
		now = TextEither("the same", l.NowHorn)
	}
	if l.NowCents != nil {
		nowCents = Number(*l.NowCents, 1)
	}
	if g := l.Gain; g != nil {
		gain, low, high, better = Either(Signed(g.Cents, 1), full(g.Cents)), Number(g.Low, 1), Number(g.High, 1), percent(g.ChanceBetter)
	}
	runner, cost, both := Cell{}, Cell{}, Cell{}
	if u := l.RunnerUp; u != nil {
		runner, cost = Text(u.Horn), Number(u.CostCents, 2)
		both = TextEither(fmt.Sprintf("%s %s", u.Horn, Signed(u.CostCents, 1)), "")
	}
	worst := Cents(l.Worst.Cents, 0)
	worst.short = l.Worst.Note + " " + worst.short
	return []Cell{
		Text(l.Student), Text(l.Horn), TextEither(mouthpiece, l.Mouthpiece), Words(yesNo(l.Own)),
		Number(l.ErrorCents, 1), Words(fmt.Sprintf("%.1f..%.1f", l.Low, l.High)), Number(l.Low, 1), Number(l.High, 1),
		now, Text(l.NowMouthpiece), nowCents, gain, low, high, better,
		both, runner, cost, worst, Words(l.Worst.Note), Number(l.Worst.Cents, 1),
		Words(yesNo(l.Moved)), Count(l.Sessions), Words(string(l.Basis)), Words(fmt.Sprint(l.Linked)),
	}
}

func yesNo(yes bool) string {
	if yes {
		return "yes"
	}
	return "no"
}

// Roster draws a roster for people.
func Roster(w io.Writer, s Style, r *match.Roster, names map[string]string) error {
	heading := fmt.Sprintf("Roster of %s: least total error", match.Count(len(r.Lines), "student"))
	if r.Fairest {
		heading = fmt.Sprintf("Roster of %s: fairest", match.Count(len(r.Lines), "student"))
	}
	if _, err := fmt.Fprintf(w, "%s\n\n", s.Paint(Strong, heading)); err != nil {
		return err
	}
	t := RosterTable(r, names)
	if len(r.Lines) > 0 {
		if err := t.Write(w, s); err != nil {
			return err
		}
	}
	return Sentences(w, s, append(RosterSentences(r), rosterLegend(s, t)))
}

// RosterSentences say what a roster comes to, and who has nothing.
func RosterSentences(r *match.Roster) []string {
	var out []string
	if n := len(r.Lines); n > 0 {
		text := fmt.Sprintf("%.1f cents are left to the lip on average, %.1f for %s, who has it worst.", r.MeanCents, r.WorstCents, r.WorstOf)
		if g := r.Gain; g != nil {
			text += fmt.Sprintf(" That is %s than what is played now by %s (80 %% chance that it falls by %s to %s); %s another horn, and %.1f should be worse off by more than half a cent.",
				less(g.Cents), ofThem(g.Students, n), Signed(g.Low, 1), Signed(g.High, 1), getMoved(r.Moved), g.WorseOff)
		}
		out = append(out, text)
	}
	if w := r.WhatIf; w != nil {
		out = append(out, whatIfWords(w))
	}
	for _, b := range blocksOf(r.Unserved) {
		out = append(out, b.String())
	}
	if len(r.Spare) > 0 {
		out = append(out, "Horns left over: "+strings.Join(r.Spare, ", ")+".")
	}
	return append(out, r.Notes...)
}

func less(gain float64) string {
	if gain < 0 {
		return fmt.Sprintf("%.1f cents a student more", -gain)
	}
	return fmt.Sprintf("%.1f cents a student less", gain)
}

func ofThem(some, all int) string {
	if some == all {
		return "all of them"
	}
	return fmt.Sprintf("%d of them", some)
}

func getMoved(n int) string {
	switch n {
	case 0:
		return "nobody gets"
	case 1:
		return "1 student gets"
	}
	return fmt.Sprintf("%d students get", n)
}

func whatIfWords(w *match.WhatIfOutcome) string {
	text := "What if: the total rises by"
	cents := w.TotalCents
	if cents < 0 {
		text, cents = "What if: the total falls by", -cents
	}
	text = fmt.Sprintf("%s %.1f cents, changes counted, and %s something else", text, cents, strings.TrimSuffix(getMoved(w.Different), " another horn"))
	switch {
	case w.Served < 0:
		text += fmt.Sprintf("; %s fewer can be served", match.Count(-w.Served, "student"))
	case w.Served > 0:
		text += fmt.Sprintf("; %s more can be served", match.Count(w.Served, "student"))
	}
	return text + "."
}

// block is students whom the same things keep from having a horn.
type block struct {
	who, all []string // those who have none, and those who need the same things
	reason   string
	things   []string
	noun     string // of the things
}

// blocksOf gathers the students who have nothing by what is too few for them.
func blocksOf(list []match.Unserved) []*block {
	var out []*block
	by := map[string]*block{}
	for _, u := range list {
		b := &block{reason: u.Reason, things: u.Horns, noun: "horn"}
		if len(u.Mouthpieces) > 0 {
			b.things, b.noun = u.Mouthpieces, "mouthpiece"
		}
		key := b.noun + "\n" + strings.Join(b.things, "\n")
		if len(b.things) == 0 {
			key = u.Reason
		}
		if by[key] == nil {
			by[key] = b
			out = append(out, b)
		}
		b = by[key]
		b.who, b.all = append(b.who, u.Student), append(b.all, u.Students...)
	}
	return out
}

func (b *block) String() string {
	text := strings.Join(b.who, ", ") + " gets no horn: "
	if len(b.who) > 1 {
		text = strings.Join(b.who, ", ") + " get no horn: "
	}
	if len(b.things) == 0 {
		return text + b.reason + "."
	}
	all := slices.Compact(slices.Sorted(slices.Values(b.all)))
	return text + fmt.Sprintf("%s can have no more than %s between them (%s: %s).",
		match.Count(len(all), "student"), match.Count(len(b.things), b.noun), strings.Join(all, ", "), strings.Join(b.things, ", "))
}

// rosterLegend says what the columns hold that are drawn.
func rosterLegend(s Style, t *Table) string {
	return t.legend(s,
		meaning{"error", "cents left to the lip after the best slide and throws, over the notes of the student, uncertainty included"},
		meaning{"gain", "how much less than with what they play now, + better"},
		meaning{"better", "chance that it is better at all"},
		meaning{"runner-up", "the horn they would have in the next best plan, and by how much the total of the class would rise"},
		meaning{"worst note", "what is left of it, + sharp, - flat"},
	)
}

// namedRoster is a roster whose students have names.
type namedRoster struct {
	*match.Roster
	Names map[string]string `json:"names"`
}

// NamedRoster adds names, by handle, to a roster as JSON; nil adds none.
func NamedRoster(r *match.Roster, names map[string]string) any {
	if names == nil {
		return r
	}
	return namedRoster{r, names}
}
