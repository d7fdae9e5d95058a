package show

import (
	"cmp"
	"fmt"
	"strings"

	"centwise/catalog"
	"centwise/match"
)

// pageDate is how pages write a day.
const pageDate = "2 January 2006"

// method says what a page rests on and how its numbers were found.
func (r Report) method() []Fact {
	f := r.Fit
	return append(append([]Fact{
		{"Catalog", fmt.Sprintf("%s: %s with %s.", Clean(cmp.Or(r.Catalog.Title, "without a title")), match.Count(f.Sessions, "session"), match.Count(f.Readings, "reading"))},
		{"Sessions behind it", r.evidence()},
	}, f.method()...),
		Fact{"Made", fmt.Sprintf("%s by centwise %s, from the fit of %s, data %s.", r.Made.Format(pageDate), r.Version, f.At.Format(pageDate), shortDigest(f.Digest))})
}

// method says how the numbers of a page were found.
func (f FitFacts) method() []Fact {
	return []Fact{
		{"Model", "Each reading is taken for the sum of what all trumpets share, the horn, the mouthpiece, the player, a small share of the pair and of the day, the session's own level and tuning slide, and a reading error; " +
			"all of them are worked out from all sessions together, and slips count for little."},
		{"Error", "Cents left to the lip: the root mean square over the notes of what remains after the best tuning slide and the valve slides' throws, with the uncertainty of the prediction included."},
		{"Intervals", "80 %: the value should lie within in four of five cases, if the model is right. They come from joint draws of everything that is not known, so differences of setups hold what the two share."},
		{"Nought", "Only relative intonation can be known: the mean over 31 notes (F#3 to C6) is removed from every profile, because a session's own level can't be told from the setup's. The tuning slide is free anyway."},
		{"A single reading", fmt.Sprintf("scatters by %.1f cents (standard deviation) in this catalog.", f.NoiseCents)},
	}
}

// shortDigest is enough of a digest to compare it by eye.
func shortDigest(digest string) string { return digest[:min(len(digest), 12)] }

// evidence counts and names the sessions behind a page.
func (r Report) evidence() string {
	if r.Visit != nil {
		return "What each prediction rests on stands with the tries; of a blind visit it is kept for the end."
	}
	if r.Setup == nil {
		return strings.Join(cleanAll(r.Profile.Words[len(r.Profile.Words)-1:]), "") + " What each pairing rests on stands with it."
	}
	e := r.Setup.Evidence
	text := fmt.Sprintf("%s with this very setup", match.Count(len(r.Sessions), "session"))
	if names := sessionNames(r.Sessions); names != "" {
		text += " (" + names + ")"
	}
	text += fmt.Sprintf("; %s with the horn and %s with the mouthpiece in all", match.Count(e.Horn, "session"), match.Count(e.Mouthpiece, "session"))
	if e.HornDesign+e.MouthpieceDesign > 0 {
		text += fmt.Sprintf("; %s with others of the horn's design and %s with others of the mouthpiece's",
			match.Count(e.HornDesign, "session"), match.Count(e.MouthpieceDesign, "session"))
	}
	if r.Setup.Player != "" {
		text += fmt.Sprintf("; %s with the player", match.Count(e.Player, "session"))
	}
	return text + "."
}

// sessionNames names sessions with who played when, the first few of many.
func sessionNames(list []catalog.SessionSummary) string {
	const few = 8
	var parts []string
	for i, s := range list {
		if i == few {
			parts = append(parts, fmt.Sprintf("%d more", len(list)-few))
			break
		}
		who := cmp.Or(s.PlayerLabel, "nobody named")
		if !s.At.IsZero() {
			who += ", " + s.At.Format(pageDate)
		}
		parts = append(parts, fmt.Sprintf("%s by %s", Clean(s.Name), Clean(who)))
	}
	return strings.Join(parts, "; ")
}
