package match

import (
	"fmt"
	"math"
	"strings"

	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// words puts an explanation into plain sentences.
func words(x *Explanation, missing []pitch.Note) []string {
	var out []string
	out = append(out, x.verdictWords())
	out = append(out, changeWords(x)...)
	out = append(out, x.alternateWords()...)
	out = append(out, x.slideWords()...)
	out = append(out, x.evidenceWords()...)
	return append(out, missingWords(missing)...)
}

func (x *Explanation) verdictWords() string {
	return fmt.Sprintf("After the best slide and throws, %s with %s leaves %.1f cents to the lip (80 %% chance of %.1f to %.1f); the worst note is %s, %s.",
		x.Horn, x.Mouthpiece, x.ErrorCents, x.Low, x.High, x.Worst.Note, sharpFlat(x.Worst.Cents))
}

// sharpFlat says a deviation in words, to the cent.
func sharpFlat(cents float64) string {
	switch c := math.Round(cents); {
	case c > 0:
		return fmt.Sprintf("%.0f sharp", c)
	case c < 0:
		return fmt.Sprintf("%.0f flat", -c)
	}
	return "in tune"
}

// curedCents is what a note may be left out and still count as cured.
const curedCents = 5.0

func changeWords(x *Explanation) []string {
	if len(x.Cures)+len(x.Spoils) == 0 {
		return []string{fmt.Sprintf("%s changes no note of %s, compared with a typical mouthpiece, by more than the prediction is uncertain.", x.Mouthpiece, x.Horn)}
	}
	var cured, helped []Change
	for _, c := range x.Cures {
		if math.Abs(c.This) <= curedCents {
			cured = append(cured, c)
		} else {
			helped = append(helped, c)
		}
	}
	var out []string
	for _, part := range []struct {
		verb string
		list []Change
	}{{"cures", cured}, {"helps, but does not cure,", helped}, {"spoils", x.Spoils}} {
		if len(part.list) > 0 {
			out = append(out, fmt.Sprintf("%s %s %s.", x.Mouthpiece, part.verb, listChanges(part.list)))
		}
	}
	return out
}

// namedChanges is how many notes a sentence names before it only counts.
const namedChanges = 5

func listChanges(list []Change) string {
	var parts []string
	for _, c := range list[:min(len(list), namedChanges)] {
		parts = append(parts, fmt.Sprintf("%s (%s with a typical mouthpiece, %s with this one)", c.Note, sharpFlat(c.Typical), sharpFlat(c.This)))
	}
	if more := len(list) - namedChanges; more > 0 {
		parts = append(parts, fmt.Sprintf("%s more", Count(more, "note")))
	}
	return joinAnd(parts)
}

func (x *Explanation) slideWords() []string {
	if !x.SlideStop {
		return nil
	}
	return []string{"The tuning slide is at the end of its travel: this profile can't be brought into tune by it."}
}

// evidenceWords say what the prediction rests on and what would make it better.
func (x *Explanation) evidenceWords() []string {
	e := x.Evidence
	var out []string
	if e.Pair > 0 {
		out = append(out, fmt.Sprintf("This very setup was measured in %s.", Count(e.Pair, "session")))
	} else {
		out = append(out, fmt.Sprintf("Nobody has measured this setup: it is predicted from %s with the horn and %s with the mouthpiece.",
			Count(e.Horn, "session"), Count(e.Mouthpiece, "session")))
	}
	switch x.Basis {
	case fit.BasisDesign:
		out = append(out, "The horn or the mouthpiece was never measured itself and is judged by others of its design.")
	case fit.BasisDimensions:
		out = append(out, "The horn or the mouthpiece was never measured, nor any of its design: it is judged by its dimensions alone.")
	case fit.BasisPrior:
		out = append(out, "Of the horn or the mouthpiece nothing is known: it is judged as an average one. One session with it would tell more than anything else.")
	}
	if !x.Linked {
		out = append(out, "No chain of sessions links this horn with this mouthpiece, so their sum rests on what is usual. One session that joins the two parts of the catalog would link them.")
	}
	if e.HornPlayers == 1 && e.Horn > 0 {
		out = append(out, "Only one player has measured this horn, so its habits and the player's can't be told apart.")
	}
	return out
}

// missingWords names the notes of the range that were not judged, if any.
func missingWords(missing []pitch.Note) []string {
	if len(missing) == 0 {
		return nil
	}
	var names []string
	for _, n := range missing {
		names = append(names, n.String())
	}
	return []string{fmt.Sprintf("Not judged: %s. Nobody has measured the fingerings they are played with.", joinAnd(names))}
}

// Count writes a number with its noun: 1 session, 2 sessions, no session.
func Count(n int, noun string) string {
	switch n {
	case 0:
		return "no " + noun
	case 1:
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// joinAnd joins parts with commas and a last "and".
func joinAnd(parts []string) string {
	if len(parts) < 2 {
		return strings.Join(parts, "")
	}
	return strings.Join(parts[:len(parts)-1], ", ") + " and " + parts[len(parts)-1]
}
