package match

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// Profile is what one horn or one mouthpiece contributes to every setup it is
// part of, note by note.
type Profile struct {
	// Horn or Mouthpiece is its label; the other is empty.
	Horn       string `json:"horn,omitempty"`
	Mouthpiece string `json:"mouthpiece,omitempty"`
	// Sessions measured it; DesignSessions measured others of its design.
	Sessions       int            `json:"sessions"`
	DesignSessions int            `json:"design_sessions"`
	Players        int            `json:"players,omitempty"` // of a horn: how many measured it
	Basis          fit.Basis      `json:"basis"`
	Notes          []Contribution `json:"notes"` // upwards
	Words          []string       `json:"words"`
}

// Contribution is what a horn or mouthpiece does to one note, in cents with the
// 80 % interval: of a horn, the note with a typical mouthpiece and player; of a
// mouthpiece, how far it moves the note compared with a typical one.
type Contribution struct {
	Note    string  `json:"note"` // written
	Valves  string  `json:"valves"`
	Partial int     `json:"partial"`
	Cents   float64 `json:"cents"`
	Low     float64 `json:"low"`
	High    float64 `json:"high"`
}

// sure reports whether the interval lies on one side of nought.
func (c Contribution) sure() bool { return c.Low > 0 || c.High < 0 }

// HornProfile says what a horn brings, over the range of the criteria. Invalid
// when the range leaves no note.
func HornProfile(e Engine, h catalog.Horn, c Criteria) (*Profile, error) {
	slots, err := profileSlots(e, h, c)
	if err != nil {
		return nil, err
	}
	p, err := e.Predict(fit.Setup{Horn: h.ID}, slots)
	if err == nil {
		err = usable([]fit.Prediction{p}, 1, len(slots))
	}
	if err != nil {
		return nil, fmt.Errorf("predicting %s with a typical mouthpiece: %w", h.Label, err)
	}
	x := &Profile{
		Horn: h.Label, Sessions: p.Evidence.Horn, DesignSessions: p.Evidence.HornDesign, Players: p.Evidence.HornPlayers,
		Basis: basisOf(p.Evidence.Horn, p.Evidence.HornDesign, false), Notes: contributions(slots, p.Mean, p.SD),
	}
	x.Words = append(x.extremes(), x.restsOn("horn"))
	return x, nil
}

// MouthpieceProfile says how a mouthpiece moves the notes of a Bb trumpet
// compared with a typical mouthpiece, over the range of the criteria; a player's
// habits do not matter to it. Invalid when the range leaves no note.
func MouthpieceProfile(e Engine, m catalog.Mouthpiece, c Criteria) (*Profile, error) {
	var horn catalog.Horn
	horn.Normalize()
	slots, err := profileSlots(e, horn, c)
	if err != nil {
		return nil, err
	}
	predictions, err := e.PredictMany([]fit.Setup{{Mouthpiece: m.ID}, {}}, slots)
	if err == nil {
		err = usable(predictions, 2, len(slots))
	}
	if err != nil {
		return nil, fmt.Errorf("predicting %s and a typical mouthpiece on a typical horn: %w", m.Label, err)
	}
	this, typical := predictions[0], predictions[1]
	x := &Profile{
		Mouthpiece: m.Label, Sessions: this.Evidence.Mouthpiece, DesignSessions: this.Evidence.MouthpieceDesign,
		Basis: basisOf(this.Evidence.Mouthpiece, this.Evidence.MouthpieceDesign, hasDimensions(m)),
		Notes: contributions(slots, this.Mouthpiece, differenceSD(this, typical)),
	}
	x.Words = append(x.moves(), x.restsOn("mouthpiece"))
	return x, nil
}

// profileSlots are the slots that a profile shows.
func profileSlots(e Engine, h catalog.Horn, c Criteria) ([]pitch.Slot, error) {
	p, err := c.plan(h, answers(e), false)
	return p.slots, err
}

// differenceSD is the standard deviation, slot by slot, of the difference of two
// predictions, from their joint draws.
func differenceSD(a, b fit.Prediction) []float64 {
	out := make([]float64, len(a.Slots))
	for j := range out {
		var d []float64
		for k := range min(len(a.Draws), len(b.Draws)) {
			d = append(d, a.Draws[k][j]-b.Draws[k][j])
		}
		if len(d) < 2 {
			continue
		}
		middle, sum := mean(d), 0.0
		for _, v := range d {
			sum += (v - middle) * (v - middle)
		}
		out[j] = math.Sqrt(sum / float64(len(d)-1))
	}
	return out
}

func contributions(slots []pitch.Slot, cents, sd []float64) []Contribution {
	out := make([]Contribution, len(slots))
	for j, s := range slots {
		out[j] = Contribution{
			Note: s.Note().String(), Valves: s.Valves.String(), Partial: s.Partial,
			Cents: cents[j], Low: cents[j] - z80*sd[j], High: cents[j] + z80*sd[j],
		}
	}
	return out
}

// basisOf is what one item by itself rests on.
func basisOf(own, design int, dimensions bool) fit.Basis {
	switch {
	case own > 0:
		return fit.BasisMeasured
	case design > 0:
		return fit.BasisDesign
	case dimensions:
		return fit.BasisDimensions
	}
	return fit.BasisPrior
}

// hasDimensions reports whether the fit has anything to judge a mouthpiece by
// that nobody measured.
func hasDimensions(m catalog.Mouthpiece) bool {
	return m.RimMM+m.CupCM3+m.ThroatMM+m.ThroatLengthMM+m.BackboreMM+m.LengthMM > 0
}

// namedContributions is how many notes a sentence on a profile names.
const namedContributions = 3

// extremes are a horn's sharpest and flattest notes in words.
func (x *Profile) extremes() []string {
	var out []string
	for _, part := range []struct {
		text string
		sign float64
	}{{"Sharpest, with a typical mouthpiece and before anything is corrected", 1}, {"Flattest", -1}} {
		if names := x.largest(part.sign, "%s (%s)"); len(names) > 0 {
			out = append(out, fmt.Sprintf("%s: %s.", part.text, joinAnd(names)))
		}
	}
	if len(out) == 0 {
		return []string{"No note is off by more than it is uncertain."}
	}
	return out
}

// moves are the notes that a mouthpiece surely raises and lowers, in words.
func (x *Profile) moves() []string {
	var out []string
	for _, part := range []struct {
		verb string
		sign float64
	}{{"raises", 1}, {"lowers", -1}} {
		if names := x.largest(part.sign, "%s (by %s)"); len(names) > 0 {
			out = append(out, fmt.Sprintf("Compared with a typical mouthpiece, %s %s above all %s.", x.Mouthpiece, part.verb, joinAnd(names)))
		}
	}
	if len(out) == 0 {
		return []string{fmt.Sprintf("%s moves no note, compared with a typical mouthpiece, by more than is uncertain.", x.Mouthpiece)}
	}
	return out
}

// largest names the notes that are moved most in one direction, by at least
// minChange and surely.
func (x *Profile) largest(sign float64, format string) []string {
	list := slices.DeleteFunc(slices.Clone(x.Notes), func(c Contribution) bool { return !c.sure() || sign*c.Cents < minChange })
	slices.SortStableFunc(list, func(a, b Contribution) int { return cmp.Compare(sign*b.Cents, sign*a.Cents) })
	var out []string
	for _, c := range list[:min(len(list), namedContributions)] {
		size := fmt.Sprintf("%.0f", math.Abs(c.Cents))
		if x.Horn != "" {
			size = sharpFlat(c.Cents)
		}
		out = append(out, fmt.Sprintf(format, c.Note, size))
	}
	return out
}

// restsOn says what is behind a profile.
func (x *Profile) restsOn(noun string) string {
	switch x.Basis {
	case fit.BasisMeasured:
		text := fmt.Sprintf("Measured in %s", Count(x.Sessions, "session"))
		if x.DesignSessions > 0 {
			text += fmt.Sprintf(", and %s with others of its design", Count(x.DesignSessions, "session"))
		}
		if x.Horn != "" && x.Players == 1 {
			text += "; only one player has measured it, so its habits and the player's can't be told apart"
		}
		return text + "."
	case fit.BasisDesign:
		return fmt.Sprintf("Nobody has measured this %s: it is judged by %s with others of its design.", noun, Count(x.DesignSessions, "session"))
	case fit.BasisDimensions:
		return fmt.Sprintf("Nobody has measured this %s or another of its design: it is judged by its dimensions alone.", noun)
	}
	return fmt.Sprintf("Nothing is known of this %s: it is taken for an average one. One session with it would tell more than anything else.", noun)
}
