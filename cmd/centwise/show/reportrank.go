package show

import (
	"fmt"
	"slices"
	"strings"

	"centwise/match"
)

// candidatesView is the part of a page that compares what goes with a horn or a
// mouthpiece.
type candidatesView struct {
	Headline, Lead string // the verdict, and the rest of it
	Title          string
	List           listView
	Words          []string
	Finalists      *finalistsView
}

// listView draws errors below one another on one scale, with a line across them
// at a limit.
type listView struct {
	Title, Reading      string
	AxisText, LimitText string
	Ticks               []chartTick
	Limit               percentX
	Lines               []candidateLine
	Measured            bool // some of what is listed was measured itself
}

// candidateLine is a pairing.
type candidateLine struct {
	Rank                    int
	Label, Figures, Details string
	Href                    string // of a page about it; may be empty
	Now                     bool
	Mark                    string
	Low, High, At           percentX
	Alternative             string
}

// finalistsView puts the first of a list side by side, note by note.
type finalistsView struct {
	Names []string
	Rows  []finalistRow
}

type finalistRow struct {
	Note, Valves string
	Cells        []finalistCell
}

type finalistCell struct{ Cents, Tone, Interval string }

func newCandidatesView(r *match.Ranking, tolerance float64, finalists []*match.Explanation) candidatesView {
	scale := newErrorScale(tolerance)
	for _, p := range r.Pairings {
		scale = newErrorScale(tolerance, scale.high/1.05, p.High, p.ErrorCents)
	}
	headline, lead := splitVerdict(rankHeadline(r))
	v := candidatesView{
		Headline: Clean(headline), Lead: Clean(lead), Title: Clean(candidatesTitle(r)),
		List: listView{
			Title:    "What each leaves to the lip, all notes together",
			Reading:  "Cents, uncertainty included: a dot at the expected error on a line over its 80 % interval. Lines that overlap much can't be told apart.",
			AxisText: fmt.Sprintf("Scale in cents, from 0 to %.0f; in tune is up to %.0f.", scale.high, tolerance),
			Ticks:    scale.ticks(), Limit: scale.at(tolerance), LimitText: fmt.Sprintf("in tune is up to here, %.0f cents", tolerance),
		},
		Words: cleanAll(append(slices.Clone(r.Notes), leftOutWords(r)...)),
	}
	for _, p := range r.Pairings {
		v.List.Lines = append(v.List.Lines, newCandidateLine(r, p, scale))
		v.List.Measured = v.List.Measured || p.PairSessions > 0
	}
	if len(finalists) > 1 {
		v.Finalists = newFinalists(r, finalists)
	}
	return v
}

// candidatesOf says what is compared.
func candidatesOf(r *match.Ranking) string {
	if r.Horn == "" {
		return "Horns for " + r.Mouthpiece
	}
	return "Mouthpieces for " + r.Horn
}

func candidatesTitle(r *match.Ranking) string {
	what := candidatesOf(r)
	switch shown := len(r.Pairings); {
	case shown >= r.Considered:
		return what
	case shown == 1:
		return fmt.Sprintf("%s: the first of %d", what, r.Considered)
	default:
		return fmt.Sprintf("%s: the first %d of %d", what, shown, r.Considered)
	}
}

// contender is the chance of being best from which on a pairing is named at the
// top of a page, and contenders how many are.
const (
	contender  = 0.1
	contenders = 4
)

// rankHeadline says in plain words which to try.
func rankHeadline(r *match.Ranking) string {
	if r.Against != nil {
		return r.Against.Answer
	}
	first := r.Pairings[0]
	var others []string
	for _, p := range r.Pairings[1:] {
		if p.ChanceBest >= contender && len(others) < contenders-1 {
			others = append(others, fmt.Sprintf("%s (%s)", candidateName(r, p), chance(p.ChanceBest)))
		}
	}
	text := fmt.Sprintf("Try %s first: the chance that it is the best of %d is %s.", candidateName(r, first), r.Considered, chance(first.ChanceBest))
	if r.Considered == 1 {
		return fmt.Sprintf("There is only %s to judge.", candidateName(r, first))
	}
	if len(others) > 0 {
		text += fmt.Sprintf(" Don't stop there: %s may be better.", strings.Join(others, ", "))
	}
	return text
}

// splitVerdict parts the first sentence, which stands in large letters, from the
// rest.
func splitVerdict(text string) (first, rest string) {
	if first, rest, ok := strings.Cut(text, ". "); ok {
		return first + ".", rest
	}
	return text, ""
}

// candidateName is what differs between the pairings of a list.
func candidateName(r *match.Ranking, p match.Pairing) string {
	if r.Horn != "" {
		return p.Mouthpiece
	}
	return p.Horn
}

func newCandidateLine(r *match.Ranking, p match.Pairing, scale errorScale) candidateLine {
	l := candidateLine{
		Rank: p.Rank, Label: Clean(candidateName(r, p)), Now: p.Now, Mark: "ring",
		Figures: fmt.Sprintf("%.1f (%.1f to %.1f)", p.ErrorCents, p.Low, p.High),
		Low:     scale.at(p.Low), High: scale.at(p.High), At: scale.at(p.ErrorCents),
	}
	if p.PairSessions > 0 {
		l.Mark = "dot"
	}
	parts := []string{
		"best of the list: " + chance(p.ChanceBest),
		fmt.Sprintf("worst note %s %s", p.Worst.Note, signed(p.Worst.Cents, 0)),
	}
	if g := p.Gain; g != nil {
		parts = append(parts, fmt.Sprintf("%s than now (%s to %s)", lessOrMore(g.Cents), signed(g.Low, 1), signed(g.High, 1)))
	}
	l.Details = strings.Join(append(parts, fmt.Sprintf("%s, %s", match.Count(p.Evidence, "session"), restsOn(p))), " · ")
	l.Alternative = fmt.Sprintf("%s: error %s cents", l.Label, l.Figures)
	return l
}

// lessOrMore says a gain.
func lessOrMore(cents float64) string {
	if cents < 0 {
		return fmt.Sprintf("%.1f more", -cents)
	}
	return fmt.Sprintf("%.1f less", cents)
}

// leftOutWords counts what was not judged, by reason.
func leftOutWords(r *match.Ranking) []string {
	var parts []string
	for reason, n := range r.LeftOut {
		parts = append(parts, fmt.Sprintf("%s (%d)", reason, n))
	}
	if len(parts) == 0 {
		return nil
	}
	slices.Sort(parts)
	return []string{"Not in the list: " + strings.Join(parts, ", ") + "."}
}

// newFinalists lays the notes of some setups side by side, the highest first.
// Notes that not all of them have are left out.
func newFinalists(r *match.Ranking, list []*match.Explanation) *finalistsView {
	v := &finalistsView{}
	for _, x := range list {
		v.Names = append(v.Names, Clean(candidateName(r, match.Pairing{Horn: x.Horn, Mouthpiece: x.Mouthpiece})))
	}
	for _, n := range slices.Backward(list[0].Notes) {
		row := finalistRow{Note: n.Note, Valves: valveNames(n.Valves)}
		for _, x := range list {
			at := slices.IndexFunc(x.Notes, func(o match.NoteLine) bool { return o.Note == n.Note })
			if at < 0 {
				break
			}
			o := x.Notes[at]
			row.Cells = append(row.Cells, finalistCell{signed(o.Left, 0), textTone(o.Left), interval(o.LeftLow, o.LeftHigh)})
		}
		if len(row.Cells) == len(list) {
			v.Rows = append(v.Rows, row)
		}
	}
	return v
}
