package catalog

import (
	"fmt"
	"math"
	"strings"
	"time"

	"centwise/catalog/pitch"
)

// Visit is an hour among mouthpieces, planned and as it went: a horn and a
// player, what may be tried, on which notes, and what was read. It counts for
// nothing until its readings are recorded as sessions, see [Changes.Visits].
type Visit struct {
	ID          ID
	Name        string
	Started     time.Time // when it was planned
	Horn        ID
	Mouthpiece  ID // the one played now
	Player      ID
	Contributor string // who reads the tuner
	// Candidates may be tried, those of the plan first and in its order. One of
	// them is the mouthpiece played now if a control was wanted.
	Candidates []VisitCandidate
	Planned    int          // how many of them are the plan
	Notes      []pitch.Slot // that are played of each
	Times      int          // how often each
	Tries      int          // there is time for
	Minutes    int
	// The visit may stop when nothing has a chance above Chance to be better than
	// the pick by more than Cents.
	Cents, Chance float64
	Blind         bool // candidates go by their codes until the end
	Adapter       bool // shanks and receivers may differ
	Seed          int64
	Recorded      time.Time   // when its readings became sessions; zero before that
	Lines         []VisitLine // in the order they were accepted
}

// VisitCandidate is a mouthpiece that may be tried; Code is the letter it goes by.
type VisitCandidate struct {
	Code       string
	Mouthpiece ID
}

// VisitSummary is a visit without its lines.
type VisitSummary struct {
	Visit                                   // Lines is nil
	HornLabel, MouthpieceLabel, PlayerLabel string
	LineCount                               int
}

// VisitLine is one line of a visit as it was accepted: what was read of a note of
// the candidate with a code. LineUndo takes back the last line of the visit that
// was not taken back.
type VisitLine struct {
	Code string
	DraftLine
}

// VisitEnd names a visit whose readings become sessions, and how many lines it
// has then.
type VisitEnd struct {
	ID    ID
	Lines int
}

// MaxCandidates bounds a visit; MaxTries and MaxVisitMinutes what fits into it.
const (
	MaxCandidates   = 60
	MaxTries        = 40
	MaxVisitMinutes = 600
)

// String writes the line as it is stored: "B 13/3 -3 -4.5", "B 13/3 skip",
// "B undo". [ParseVisitLine] reads it back without loss.
func (l VisitLine) String() string { return l.Code + " " + l.DraftLine.String() }

// ParseVisitLine reads what String wrote. Invalid: it is no such line.
func ParseVisitLine(text string) (VisitLine, error) {
	code, rest, _ := strings.Cut(text, " ")
	l, err := ParseDraftLine(rest)
	if err != nil || !validCode(code) {
		return VisitLine{}, Errorf(Invalid, "go back to a backup, or discard the visit", "%q is not a line of a visit", text)
	}
	return VisitLine{code, l}, nil
}

// validCode reports whether a code is one or two capital letters.
func validCode(code string) bool {
	for _, r := range code {
		if r < 'A' || r > 'Z' {
			return false
		}
	}
	return len(code) == 1 || len(code) == 2
}

// CandidateCode is the code of number i, counted from 0: A to Z, then AA, AB, ...
func CandidateCode(i int) string {
	const letters = 26
	if i < letters {
		return string(rune('A' + i))
	}
	return string(rune('A'+i/letters-1)) + string(rune('A'+i%letters))
}

// Candidate finds a candidate by its code.
func (v Visit) Candidate(code string) (VisitCandidate, bool) {
	for _, c := range v.Candidates {
		if c.Code == code {
			return c, true
		}
	}
	return VisitCandidate{}, false
}

// Normalize brings the visit into the form that is stored, an empty id and a zero
// start filled in.
func (v *Visit) Normalize(now time.Time) {
	if v.ID == "" {
		v.ID = NewID()
	}
	if v.Started.IsZero() {
		v.Started = now
	}
	v.Started, v.Recorded = utc(v.Started), time.Time{}
	v.Name, v.Contributor = NormalLabel(v.Name), NormalLabel(v.Contributor)
}

// Validate checks a visit that is to be opened. The error is an [*Error] of kind
// Invalid holding [Problems].
func (v Visit) Validate() error {
	c := checking("visit", v.Name)
	c.label("visit", v.Name)
	if !v.ID.Valid() {
		c.addf("id", "leave it empty for a new visit", "%q is not a ULID", v.ID)
	}
	c.when("started", v.Started)
	c.reference("horn", v.Horn)
	c.reference("mouthpiece", v.Mouthpiece)
	c.reference("player", v.Player)
	c.handle("contributor", v.Contributor)
	for _, n := range []struct {
		field       string
		value, most int
	}{{"candidates", len(v.Candidates), MaxCandidates}, {"notes", len(v.Notes), MaxDraftSlots}, {"times", v.Times, MaxLineReadings},
		{"tries", v.Tries, MaxTries}, {"minutes", v.Minutes, MaxVisitMinutes}} {
		if n.value < 1 || n.value > n.most {
			c.addf(n.field, fmt.Sprintf("choose 1 to %d", n.most), "are %d", n.value)
		}
	}
	if v.Planned < 0 || v.Planned > len(v.Candidates) {
		c.addf("planned", "plan no more than there are candidates", "are %d", v.Planned)
	}
	if !(v.Cents >= 0) || math.IsInf(v.Cents, 0) || !(v.Chance >= 0 && v.Chance <= 1) {
		c.addf("stop", "use cents from 0 on and a chance of 0 to 1", "at %g cents and a chance of %g", v.Cents, v.Chance)
	}
	codes := map[string]bool{}
	for _, x := range v.Candidates {
		c.reference("mouthpiece", x.Mouthpiece)
		if !validCode(x.Code) || codes[x.Code] {
			c.addf("code", "give each candidate one or two capital letters of its own", "%q is not one, or is given twice", x.Code)
		}
		codes[x.Code] = true
	}
	for _, s := range v.Notes {
		if !s.Valid() {
			c.addf("partial", fmt.Sprintf("use partials 1 to %d and valves 1 to 4", pitch.MaxPartial), "%d of valves %d does not exist", s.Partial, s.Valves)
		}
	}
	if len(v.Lines) > 0 {
		c.add("lines", "are there already", "open the visit first, then enter them one by one")
	}
	return c.err()
}

// Taken gives the lines that count: those that were not taken back.
func (v Visit) Taken() []VisitLine {
	var out []VisitLine
	for _, l := range v.Lines {
		if l.Kind == LineUndo {
			out = out[:max(0, len(out)-1)]
			continue
		}
		out = append(out, l)
	}
	return out
}

// Session is what the try of a candidate becomes: its readings that count, in the
// order in which they were taken.
func (v Visit) Session(c VisitCandidate, remark string) Session {
	s := Session{Horn: v.Horn, Mouthpiece: c.Mouthpiece, Player: v.Player, Contributor: v.Contributor,
		At: v.Started, Method: MethodTuner, Remark: remark, Adapter: v.Adapter}
	s.Name = v.Name + " " + c.Code
	repeats := map[pitch.Slot]int{}
	for _, l := range v.Taken() {
		if l.Code != c.Code {
			continue
		}
		for _, cents := range l.Cents {
			repeats[l.Slot]++
			s.Readings = append(s.Readings, Reading{Slot: l.Slot, Repeat: repeats[l.Slot], Cents: cents})
		}
	}
	return s
}
