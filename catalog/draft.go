package catalog

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"centwise/catalog/pitch"
)

// Draft is a session while it is being entered: what is known of it beforehand,
// which notes are to be read in which order, and what was entered so far. It
// counts for nothing until it is recorded as a session, see [Changes.Finished].
type Draft struct {
	ID      ID
	Started time.Time
	// Session is what the session will be, without id, readings and time of
	// recording. Its name need not be free yet.
	Session Session
	Seed    int64 // of the order
	// Rounds lists the slots to read, round by round in their order.
	Rounds [][]pitch.Slot
	Lines  []DraftLine // in the order they were accepted
}

// DraftSummary is a draft without its lines.
type DraftSummary struct {
	Draft                                   // Lines is nil
	HornLabel, MouthpieceLabel, PlayerLabel string
	LineCount                               int
	LastLine                                time.Time // when the last line was accepted; zero if there is none
}

// DraftEnd names a draft that is finished, and how many lines it was finished
// with.
type DraftEnd struct {
	ID    ID
	Lines int
}

// DraftLine is one line of a draft as it was accepted.
type DraftLine struct {
	Kind LineKind
	Slot pitch.Slot // what it is about; none for LineUndo
	// Cents are readings of a LineRead that count; Doubt those that were set
	// aside until the note has been played again.
	Cents, Doubt []float64
}

// LineKind is what a line of a draft does.
type LineKind string

// Kinds of line.
const (
	LineRead LineKind = "read" // takes readings
	LineKeep LineKind = "keep" // takes the readings in doubt as they are
	LineSkip LineKind = "skip" // goes on without
	LineUndo LineKind = "undo" // takes back the last line that was not taken back
)

// MaxRounds, MaxDraftSlots and MaxLineReadings bound a draft.
const (
	MaxRounds       = 20
	MaxDraftSlots   = 200 // a round
	MaxLineReadings = 20
)

// doubtMark stands before readings in doubt.
const doubtMark = "?"

// String writes the line as it is stored: "13/3 -3 -4.5 ?31", "13/3 skip",
// "undo". [ParseDraftLine] reads it back without loss.
func (l DraftLine) String() string {
	switch l.Kind {
	case LineUndo:
		return string(LineUndo)
	case LineSkip, LineKeep:
		return l.Slot.String() + " " + string(l.Kind)
	}
	var b strings.Builder
	b.WriteString(l.Slot.String())
	for _, x := range l.Cents {
		b.WriteString(" " + strconv.FormatFloat(x, 'f', -1, 64))
	}
	for _, x := range l.Doubt {
		b.WriteString(" " + doubtMark + strconv.FormatFloat(x, 'f', -1, 64))
	}
	return b.String()
}

// ParseDraftLine reads what String wrote. Invalid: it is no such line.
func ParseDraftLine(text string) (DraftLine, error) {
	words := strings.Fields(text)
	bad := func() (DraftLine, error) {
		return DraftLine{}, Errorf(Invalid, "go back to a backup, or discard the draft", "%q is not a line of a draft", text)
	}
	if len(words) == 1 && words[0] == string(LineUndo) {
		return DraftLine{Kind: LineUndo}, nil
	}
	if len(words) < 2 {
		return bad()
	}
	slot, err := pitch.ParseSlot(words[0])
	if err != nil {
		return bad()
	}
	l := DraftLine{Kind: LineRead, Slot: slot}
	if k := LineKind(words[1]); len(words) == 2 && (k == LineSkip || k == LineKeep) {
		l.Kind = k
		return l, nil
	}
	for _, word := range words[1:] {
		figures, doubt := strings.CutPrefix(word, doubtMark)
		x, err := strconv.ParseFloat(figures, 64)
		switch {
		case err != nil || !acceptedCents(x):
			return bad()
		case doubt:
			l.Doubt = append(l.Doubt, x+0)
		case l.Doubt != nil:
			return bad()
		default:
			l.Cents = append(l.Cents, x+0) // -0 becomes 0
		}
	}
	return l, nil
}

// acceptedCents reports whether x is a deviation that a reading may have.
func acceptedCents(x float64) bool {
	return !math.IsNaN(x) && x >= MinCents && x <= MaxCents
}

// Validate checks the line by itself. The error is an [*Error] of kind Invalid
// holding [Problems].
func (l DraftLine) Validate() error {
	c := &check{record: "line of a draft"}
	readings := len(l.Cents) + len(l.Doubt)
	switch l.Kind {
	case LineRead:
		if readings == 0 || readings > MaxLineReadings {
			c.addf("cents", fmt.Sprintf("write 1 to %d", MaxLineReadings), "are %d readings", readings)
		}
	case LineKeep, LineSkip, LineUndo:
		if readings > 0 {
			c.addf("cents", "leave them out", "do not go with %s", l.Kind)
		}
	default:
		c.addf("kind", "use read, keep, skip or undo", "is %q, which is not known", l.Kind)
	}
	if l.Kind == LineUndo && l.Slot != (pitch.Slot{}) {
		c.add("partial", "does not go with undo", "leave it out")
	} else if l.Kind != LineUndo && !l.Slot.Valid() {
		c.addf("partial", fmt.Sprintf("use partials 1 to %d and valves 1 to 4", pitch.MaxPartial), "%s does not exist", l.Slot)
	}
	for _, list := range [][]float64{l.Cents, l.Doubt} {
		for _, x := range list {
			if !acceptedCents(x) {
				c.addf("cents", "check the note, the key and the tuner's A4", "are %s, outside %g..%g", figure(x), MinCents, MaxCents)
			}
		}
	}
	return c.err()
}

// Normalize brings the draft into the form that is stored, an empty id and a
// zero start filled in.
func (d *Draft) Normalize(now time.Time) {
	if d.ID == "" {
		d.ID = NewID()
	}
	if d.Started.IsZero() {
		d.Started = now
	}
	d.Started = utc(d.Started)
	d.Session.ID, d.Session.Readings, d.Session.Retraction, d.Session.Recorded = "", nil, nil, time.Time{}
	d.Session.Normalize()
}

// Validate checks a draft that is to be opened, without its gear (see
// [Draft.Fits]). The error is an [*Error] of kind Invalid holding [Problems].
func (d Draft) Validate() error {
	c := d.Session.facts()
	if !d.ID.Valid() {
		c.addf("id", "leave it empty for a new draft", "%q is not a ULID", d.ID)
	}
	c.when("started", d.Started)
	if d.Seed < 0 {
		c.addf("order", "write a whole number from 0 on", "is %d", d.Seed)
	}
	if n := len(d.Rounds); n < 1 || n > MaxRounds {
		c.addf("rounds", fmt.Sprintf("choose 1 to %d", MaxRounds), "are %d", n)
	}
	for _, round := range d.Rounds {
		if n := len(round); n < 1 || n > MaxDraftSlots {
			c.addf("notes", fmt.Sprintf("choose 1 to %d", MaxDraftSlots), "are %d in a round", n)
		}
		for _, s := range round {
			if !s.Valid() {
				c.addf("partial", fmt.Sprintf("use partials 1 to %d and valves 1 to 4", pitch.MaxPartial), "%d of valves %d does not exist", s.Partial, s.Valves)
			}
		}
	}
	if len(d.Lines) > 0 {
		c.add("lines", "are there already", "open the draft first, then enter them one by one")
	}
	return c.err()
}

// Fits checks before anything is measured what [Session.Fits] checks of the
// session that the draft will become.
func (d Draft) Fits(h Horn, m Mouthpiece) error {
	s := d.Session
	s.Readings = nil
	for _, round := range d.Rounds {
		for _, slot := range round {
			s.Readings = append(s.Readings, Reading{Slot: slot})
		}
	}
	return s.Fits(h, m)
}
