package catalog

import (
	"fmt"
	"math"
	"time"

	"centwise/catalog/pitch"
)

// Validate checks the horn as it stands, without normalising it first. The
// error is an [*Error] of kind Invalid holding [Problems].
func (h Horn) Validate() error { return h.check().err() }

func (h Horn) check() *check {
	c := checking("horn", h.Label)
	c.revision(h.ID, h.Revision)
	c.label("label", h.Label)
	c.handle("maker", h.Maker)
	c.handle("model", h.Model)
	c.handle("serial", h.Serial)
	oneOf(c, "instrument", h.Instrument, Instruments)
	oneOf(c, "key", h.Key, pitch.Keys)
	if h.Valves != 3 && h.Valves != 4 {
		c.addf("valves", "write 3 or 4", "is %d", h.Valves)
	}
	oneOf(c, "receiver", h.Receiver, Shanks)
	c.known(boreSpan, h.BoreMM)
	c.known(throw1Span, h.Throw1MM)
	c.known(throw3Span, h.Throw3MM)
	c.handle("owner", h.Owner)
	c.labels("tags", h.Tags)
	if n := len(h.BoreGeometry); n > MaxGeometryBytes {
		c.addf("bore_geometry", "describe the bore with fewer points", "has %d bytes, more than %d", n, MaxGeometryBytes)
	} else {
		c.clean("bore_geometry", h.BoreGeometry, "\n\r\t")
	}
	return c
}

// Validate checks the mouthpiece as it stands, without normalising it first.
// The error is an [*Error] of kind Invalid holding [Problems].
func (m Mouthpiece) Validate() error { return m.check().err() }

func (m Mouthpiece) check() *check {
	c := checking("mouthpiece", m.Label)
	c.revision(m.ID, m.Revision)
	c.label("label", m.Label)
	c.handle("maker", m.Maker)
	c.handle("model", m.Model)
	c.handle("serial", m.Serial)
	oneOf(c, "shank", m.Shank, Shanks)
	c.known(rimSpan, m.RimMM)
	c.known(cupSpan, m.CupCM3)
	c.known(cupDepthSpan, m.CupDepthMM)
	c.known(throatSpan, m.ThroatMM)
	c.known(throatLength, m.ThroatLengthMM)
	c.known(backboreSpan, m.BackboreMM)
	c.handle("backbore", m.BackboreCharacter)
	c.known(lengthSpan, m.LengthMM)
	c.handle("owner", m.Owner)
	c.labels("stock", m.Stock)
	c.labels("tags", m.Tags)
	return c
}

// Validate checks the player as it stands, without normalising it first. The
// error is an [*Error] of kind Invalid holding [Problems].
func (p Player) Validate() error { return p.check().err() }

func (p Player) check() *check {
	c := checking("player", p.Label)
	c.revision(p.ID, p.Revision)
	c.label("label", p.Label)
	c.handle("level", p.Level)
	c.ordered(rimMinSpan, rimMaxSpan, p.RimMinMM, p.RimMaxMM)
	c.ordered(cupMinSpan, cupMaxSpan, p.CupMinCM3, p.CupMaxCM3)
	c.known(toleranceSp, p.ToleranceCents)
	c.note("range_low", p.RangeLow)
	c.note("range_high", p.RangeHigh)
	if p.RangeLow != 0 && p.RangeHigh != 0 && p.RangeLow > p.RangeHigh {
		c.addf("range_low", "exchange them", "is %s, above range_high which is %s", p.RangeLow, p.RangeHigh)
	}
	c.problems = append(c.problems, p.Weights.problems(c.record)...)
	c.labels("tags", p.Tags)
	return c
}

// note checks a written note that may be 0 for not given.
func (c *check) note(field string, n pitch.Note) {
	if n == 0 {
		return
	}
	if _, ok := pitch.UsualSlot(n, 4); !ok {
		c.addf(field, fmt.Sprintf("write a note up to %s", pitch.TopUsual), "is %s, which has no fingering in the catalog", n)
	}
}

func (c *check) revision(id ID, r Revision) {
	if id != "" && !id.Valid() {
		c.addf("id", "leave it empty for a new record", "%q is not a ULID", id)
	}
	if r.Number < 1 {
		c.addf("revision", "write 1 for a new record", "is %d", r.Number)
	}
	c.handle("contributor", r.Contributor)
	c.when("revised", r.At)
}

// when checks a time that may be zero for not known. Years outside 1800..9999
// are slips.
func (c *check) when(field string, t time.Time) {
	if !t.IsZero() && (t.Year() < 1800 || t.Year() > 9999) {
		c.addf(field, "write the date as 2006-01-31", "is in the year %d", t.Year())
	}
}

// MaxRepeat is the highest repeat number of a reading.
const MaxRepeat = 10000

// Validate checks the session as it stands, without normalising it first and
// without its gear (see [Session.Fits]). The error is an [*Error] of kind
// Invalid holding [Problems].
func (s Session) Validate() error { return s.check().err() }

func (s Session) check() *check {
	c := s.facts()
	c.readings(s.Readings)
	return c
}

// facts checks all but the readings.
func (s Session) facts() *check {
	c := checking("session", s.Name)
	c.label("session", s.Name)
	if s.ID != "" && !s.ID.Valid() {
		c.addf("id", "leave it empty for a new session", "%q is not a ULID", s.ID)
	}
	c.reference("horn", s.Horn)
	c.reference("mouthpiece", s.Mouthpiece)
	// A machine that measures impedance needs no player.
	if s.Player != "" || s.Method != MethodImpedance {
		c.reference("player", s.Player)
	}
	c.handle("contributor", s.Contributor)
	c.when("date", s.At)
	c.when("recorded", s.Recorded)
	c.known(a4Span, s.A4Hz)
	c.optional(tempSpan, s.TemperatureC)
	c.optional(slideSpan, s.SlideMM)
	c.optional(gapSpan, s.GapMM)
	c.handle("dynamic", s.Dynamic)
	if s.Method != "" {
		oneOf(c, "method", s.Method, Methods)
	}
	c.text("remark", s.Remark, MaxRemarkLength)
	c.text("source", s.Source, MaxSourceLength)
	if s.Retraction != nil {
		s.Retraction.check(c)
	}
	return c
}

func (c *check) optional(s span, x *float64) {
	if x != nil {
		c.value(s, *x)
	}
}

func (c *check) reference(field string, id ID) {
	switch {
	case id == "":
		c.add(field, "is missing", "name the "+field)
	case !id.Valid():
		c.addf(field, "give its label to the command, or its id to the library", "%q is not a ULID", id)
	}
}

func (c *check) readings(readings []Reading) {
	if len(readings) == 0 {
		c.add("readings", "are missing", "measure at least one note")
	}
	type place struct {
		slot   pitch.Slot
		repeat int
	}
	seen := make(map[place]bool, len(readings))
	for _, r := range readings {
		c.reading(r)
		at := place{r.Slot, r.Repeat}
		if seen[at] {
			c.addf("repeat", "number the readings of a note 1, 2, 3", "%d of %s is there twice", r.Repeat, r.where())
		}
		seen[at] = true
	}
}

// where names a reading for people: the note, and how it was played.
func (r Reading) where() string {
	if !r.Slot.Valid() {
		return fmt.Sprintf("valves %d partial %d", r.Slot.Valves, r.Slot.Partial)
	}
	return fmt.Sprintf("%s (valves %s, partial %d)", r.Slot.Note(), r.Slot.Valves, r.Slot.Partial)
}

func (c *check) reading(r Reading) {
	if !r.Slot.Valid() {
		c.addf("partial", fmt.Sprintf("use partials 1 to %d and valves 1 to 4", pitch.MaxPartial), "%s does not exist", r.where())
	}
	if r.Repeat < 1 || r.Repeat > MaxRepeat {
		c.addf("repeat", "number the readings of a note 1, 2, 3", "of %s is %d", r.where(), r.Repeat)
	}
	switch {
	case math.IsNaN(r.Cents) || math.IsInf(r.Cents, 0):
		c.addf("cents", "leave the reading out", "of %s is not a number", r.where())
	case (r.Cents < MinCents || r.Cents > MaxCents) && !r.Odd:
		c.addf("cents", "check the note, the key and the tuner's A4, or keep the reading back as odd",
			"of %s is %s, outside %g..%g", r.where(), figure(r.Cents), MinCents, MaxCents)
	case math.Abs(r.Cents) > MaxOddCents:
		c.addf("cents", "leave the reading out", "of %s is %s, more than ten octaves", r.where(), figure(r.Cents))
	}
}

// MaxOddCents bounds what is kept for review at all.
const MaxOddCents = 12000.0

func (r Retraction) check(c *check) {
	c.handle("contributor", r.Contributor)
	c.text("reason", r.Reason, MaxRemarkLength)
	c.when("retracted", r.At)
	if r.ReplacedBy != "" && !r.ReplacedBy.Valid() {
		c.addf("replaced_by", "give the id of the session that replaces it", "%q is not a ULID", r.ReplacedBy)
	}
}

// Fits checks the session against the horn and the mouthpiece it was played
// with: the shank must fit the receiver unless an adapter was used, and the
// horn must have the valves that were pressed.
func (s Session) Fits(h Horn, m Mouthpiece) error {
	c := checking("session", s.Name)
	if h.Receiver != m.Shank && !s.Adapter {
		c.addf("mouthpiece", "choose another mouthpiece, or say that an adapter was used",
			"%q has a %s shank, which does not fit the %s receiver of %q", m.Label, m.Shank, h.Receiver, h.Label)
	}
	for _, r := range s.Readings {
		if r.Slot.Valves >= 1<<h.Valves {
			c.addf("fingering", "check the fingering, or correct the number of valves of the horn",
				"%s needs a fourth valve, which %q has not got", r.where(), h.Label)
			break
		}
	}
	return c.err()
}

// Validate checks every record of the changes and lists every problem found.
// What needs the stored catalog (labels taken, revisions, gear that is not
// there) is checked by [Store.Apply].
func (c Changes) Validate() error {
	var all Problems
	for _, h := range c.Horns {
		all = append(all, h.check().problems...)
	}
	for _, m := range c.Mouthpieces {
		all = append(all, m.check().problems...)
	}
	for _, p := range c.Players {
		all = append(all, p.check().problems...)
	}
	for _, s := range c.Sessions {
		all = append(all, s.check().problems...)
	}
	for _, r := range c.Retractions {
		k := checking("retraction of session", string(r.Session))
		k.reference("session", r.Session)
		r.Retraction.check(k)
		if r.ReplacedBy != "" && r.ReplacedBy == r.Session {
			k.add("replaced_by", "is the session itself", "name the session that corrects it")
		}
		all = append(all, k.problems...)
	}
	for _, r := range c.Returns {
		k := checking("return of loan", string(r.Loan))
		k.reference("loan", r.Loan)
		r.Return.check(k, time.Time{})
		all = append(all, k.problems...)
	}
	for _, l := range c.Loans {
		all = append(all, l.check().problems...)
	}
	for _, l := range c.Links {
		all = append(all, l.check().problems...)
	}
	for _, d := range c.Finished {
		k := checking("draft", string(d.ID))
		k.reference("draft", d.ID)
		all = append(all, k.problems...)
	}
	return all.Err()
}

// ValidateTitle checks the title of a catalog; it may be empty. The error is an
// [*Error] of kind Invalid holding [Problems].
func ValidateTitle(title string) error {
	c := checking("catalog", title)
	c.handle("title", title)
	return c.err()
}
