package show

import (
	"fmt"

	"centwise/match"
)

// setupView is the part of a page that is about one setup.
type setupView struct {
	Headline     string
	Gauge        gaugeView
	Facts        []Fact
	Left, Plays  staffChart
	Words        []string
	TableCaption string
	Read         bool // something was measured
	Rows         []setupRow
}

// gaugeView is the error on a scale.
type gaugeView struct {
	Cents, Alternative, Caption string
	Low, High, At, Limit        percentX
	Ticks                       []chartTick
}

// setupRow is a note in the table of all numbers.
type setupRow struct {
	Note, Valves                          string
	Horn, Mouthpiece                      string
	Plays, PlaysTone, PlaysInterval, Read string
	Slide, Throw                          string
	Left, LeftTone, LeftInterval          string
}

func newSetupView(x *match.Explanation) setupView {
	v := setupView{Headline: Clean(headlineOf(x)), Gauge: newGauge(x), Facts: setupFacts(x), Words: cleanAll(setupWords(x))}
	for i := len(x.Notes) - 1; i >= 0; i-- {
		v.Rows = append(v.Rows, newSetupRow(x.Notes[i]))
		v.Read = v.Read || x.Notes[i].Read != nil
	}
	v.Left, v.Plays = leftChart(x), playsChart(x, v.Read)
	v.TableCaption = setupCaption(x, v.Read)
	return v
}

// headlineOf is the verdict in plain words.
func headlineOf(x *match.Explanation) string {
	setup := x.Horn + " with " + x.Mouthpiece
	about := fmt.Sprintf("about %.0f cents are left to the lip, where %.0f count as in tune", x.ErrorCents, x.ToleranceCents)
	var text string
	switch {
	case x.ChanceTolerable >= 0.9:
		text = fmt.Sprintf("%s should play in tune: %s.", setup, about)
	case x.ChanceTolerable >= 0.5:
		text = fmt.Sprintf("%s will probably play in tune, but that is not sure: %s.", setup, about)
	case x.ChanceTolerable >= 0.1:
		text = fmt.Sprintf("%s will probably ask more of the lip than it should: %s.", setup, about)
	default:
		text = fmt.Sprintf("%s will ask much of the lip: %s.", setup, about)
	}
	if _, wide := x.Wide(); wide {
		text += " This is a first guess: too little has been measured."
	}
	return text
}

func newGauge(x *match.Explanation) gaugeView {
	s := newErrorScale(x.ToleranceCents, x.ErrorCents, x.High)
	return gaugeView{
		Cents:       fmt.Sprintf("%.1f", x.ErrorCents),
		Alternative: fmt.Sprintf("Error %.1f cents, 80 %% interval %.1f to %.1f; in tune is up to %.0f.", x.ErrorCents, x.Low, x.High, x.ToleranceCents),
		Caption:     fmt.Sprintf("80 %% chance of %.1f to %.1f. Shaded: in tune, up to %.0f cents.", x.Low, x.High, x.ToleranceCents),
		Low:         s.at(x.Low), High: s.at(x.High), At: s.at(x.ErrorCents), Limit: s.at(x.ToleranceCents), Ticks: s.ticks(),
	}
}

// setupFacts are the figures beside the verdict.
func setupFacts(x *match.Explanation) []Fact {
	worst := fmt.Sprintf("%s, %s", x.Worst.Note, signed(x.Worst.Cents, 0))
	for _, n := range x.Notes {
		if n.Note == x.Worst.Note {
			worst += fmt.Sprintf(" (%s)", interval(n.LeftLow, n.LeftHigh))
		}
	}
	facts := []Fact{
		{"Worst note", worst},
		{"Beyond 5, 10, 15 cents", fmt.Sprintf("%d, %d and %d of %d notes", x.Beyond[0], x.Beyond[1], x.Beyond[2], len(x.Notes))},
		{"Chance to be in tune", chance(x.ChanceTolerable)},
		{"Rests on", setupRestsOn(x)},
	}
	if x.Support != nil {
		facts = append(facts, Fact{"Harmonic support", fmt.Sprintf("%.2f of 1", *x.Support)})
	}
	return facts
}

// setupRestsOn says in a few words what a prediction rests on.
func setupRestsOn(x *match.Explanation) string {
	if x.Evidence.Pair > 0 {
		return match.Count(x.Evidence.Pair, "session") + " with this very setup"
	}
	return "horn and mouthpiece: " + restsOn(match.Pairing{Basis: x.Basis, Linked: x.Linked, Adapter: x.Adapter})
}

// setupWords are what a prediction says in sentences but for the verdict, which
// stands above them.
func setupWords(x *match.Explanation) []string {
	var out []string
	for _, text := range append([]string{slideLine(x)}, append(x.Words[min(1, len(x.Words)):], supportLine(x), wideLine(x))...) {
		if text != "" {
			out = append(out, text)
		}
	}
	return out
}

// leftChart draws what is left to the lip, as bars.
func leftChart(x *match.Explanation) staffChart {
	notes := staffNotesOf(x, func(n match.NoteLine) staffNote {
		return staffNote{Note: n.Note, Valves: n.Valves, Cents: n.Left, Low: n.LeftLow, High: n.LeftHigh}
	})
	c := newStaffChart(notes, staffLeft)
	c.ID, c.Title = "left", "Left to your lip"
	c.Reading = "Cents after the best slide and throws: left of the line flat, right sharp."
	return c
}

// playsChart draws how the notes come by themselves, and what was measured.
func playsChart(x *match.Explanation, read bool) staffChart {
	notes := staffNotesOf(x, func(n match.NoteLine) staffNote {
		return staffNote{Note: n.Note, Valves: n.Valves, Cents: n.Cents, Low: n.Low, High: n.High, Read: n.Read}
	})
	c := newStaffChart(notes, staffPlays)
	c.ID, c.Title = "plays", "As it plays by itself"
	c.Reading = "Cents before anything is corrected; the mean over 31 notes is nought."
	if read {
		c.Key = append(c.Key, keyEntry{Mark: "read", Text: "measured with this setup"})
		c.Alternative += " Measured values stand in the table."
	}
	return c
}

func staffNotesOf(x *match.Explanation, note func(match.NoteLine) staffNote) []staffNote {
	var out []staffNote
	for _, n := range x.Notes {
		out = append(out, note(n))
	}
	return out
}

func setupCaption(x *match.Explanation, read bool) string {
	text := "Cents, + sharp, − flat, with 80 % intervals. The shares of horn and mouthpiece"
	if x.Player != "" {
		text += ", the player's"
	}
	text += " and that of the pair add up to how it plays; less what the slide and the throw take, that is left."
	if x.Temperament != "equal" {
		text += " What is left is measured from " + Clean(x.Temperament) + "."
	}
	if read {
		text += " Measured: the mean of the readings, each session's own level and slide taken out."
	}
	return text
}

func newSetupRow(n match.NoteLine) setupRow {
	r := setupRow{
		Note: n.Note, Valves: valveNames(n.Valves), Horn: signed(n.Horn, 1), Mouthpiece: signed(n.Mouthpiece, 1),
		Plays: signed(n.Cents, 1), PlaysTone: textTone(n.Cents), PlaysInterval: interval(n.Low, n.High),
		Slide: signed(n.Slide, 1), Throw: fmt.Sprintf("%.1f", n.Throw),
		Left: signed(n.Left, 1), LeftTone: textTone(n.Left), LeftInterval: interval(n.LeftLow, n.LeftHigh),
	}
	if n.Read != nil {
		r.Read = fmt.Sprintf("◇ %s, %d×", signed(n.Read.Cents, 1), n.Read.Readings)
	}
	return r
}
