package catalog

import (
	"cmp"
	"slices"
	"time"

	"centwise/catalog/pitch"
)

// Pitch is the A4 of the session in Hz, [DefaultA4Hz] if none is given.
func (s Session) Pitch() float64 {
	if s.A4Hz == 0 {
		return DefaultA4Hz
	}
	return s.A4Hz
}

// ReceiverOf is the receiver usual for an instrument: its own, and a trumpet's
// for piccolos, which are built with either (common practice, no source).
func ReceiverOf(i Instrument) Shank {
	switch i {
	case Cornet:
		return ShankCornet
	case Flugelhorn:
		return ShankFlugelhorn
	}
	return ShankTrumpet
}

// Normalize brings the horn into the form that is stored: labels trimmed and in
// NFC, lists sorted, and what was left empty filled with the usual: a trumpet
// in Bb with three valves (a piccolo with four) and the receiver of its kind.
func (h *Horn) Normalize() {
	h.Revision.normalize()
	normalLabels(&h.Label, &h.Maker, &h.Model, &h.Serial, &h.Owner)
	h.Tags = normalList(h.Tags)
	h.Instrument = cmp.Or(h.Instrument, Trumpet)
	h.Key = cmp.Or(h.Key, pitch.KeyBb)
	h.Receiver = cmp.Or(h.Receiver, ReceiverOf(h.Instrument))
	if h.Instrument == Piccolo {
		h.Valves = cmp.Or(h.Valves, 4)
	}
	h.Valves = cmp.Or(h.Valves, 3)
}

// Normalize brings the mouthpiece into the form that is stored: labels trimmed
// and in NFC, lists sorted, an empty shank read as a trumpet's.
func (m *Mouthpiece) Normalize() {
	m.Revision.normalize()
	normalLabels(&m.Label, &m.Maker, &m.Model, &m.Serial, &m.BackboreCharacter, &m.Owner)
	m.Shank = cmp.Or(m.Shank, ShankTrumpet)
	m.Stock = normalList(m.Stock)
	m.Tags = normalList(m.Tags)
}

// Normalize brings the player into the form that is stored.
func (p *Player) Normalize() {
	p.Revision.normalize()
	normalLabels(&p.Label, &p.Level)
	if len(p.Weights) == 0 {
		p.Weights = nil
	}
	p.Tags = normalList(p.Tags)
}

// Normalize brings the session into the form that is stored: labels trimmed and
// in NFC, A4 and method filled in, times in UTC to the millisecond, readings in
// the order of [CompareReadings], repeat 0 read as 1 where it is alone.
func (s *Session) Normalize() {
	normalLabels(&s.Name, &s.Contributor, &s.Dynamic)
	s.Remark = normalText(s.Remark)
	s.A4Hz = s.Pitch()
	s.Method = cmp.Or(s.Method, MethodTuner)
	s.At, s.Recorded = utc(s.At), utc(s.Recorded)
	for i := range s.Readings {
		s.Readings[i].Repeat = cmp.Or(s.Readings[i].Repeat, 1)
		s.Readings[i].Cents += 0 // -0 becomes 0
	}
	slices.SortStableFunc(s.Readings, CompareReadings)
	if s.Retraction != nil {
		r := *s.Retraction
		r.normalize()
		s.Retraction = &r
	}
}

// CompareReadings orders readings by slot (see [pitch.Slot.Compare]), then by
// repeat. Slots that do not exist come last.
func CompareReadings(a, b Reading) int {
	if va, vb := a.Slot.Valid(), b.Slot.Valid(); !va || !vb {
		switch {
		case va:
			return -1
		case vb:
			return 1
		}
		return cmp.Or(cmp.Compare(a.Slot.Partial, b.Slot.Partial), cmp.Compare(a.Slot.Valves, b.Slot.Valves), cmp.Compare(a.Repeat, b.Repeat))
	}
	return cmp.Or(a.Slot.Compare(b.Slot), cmp.Compare(a.Repeat, b.Repeat))
}

func (r *Retraction) normalize() {
	normalLabels(&r.Contributor)
	r.Reason = normalText(r.Reason)
	r.At = utc(r.At)
}

func (r *Revision) normalize() {
	normalLabels(&r.Contributor)
	r.Number = cmp.Or(r.Number, 1)
	r.At = utc(r.At)
}

func normalLabels(labels ...*string) {
	for _, l := range labels {
		*l = NormalLabel(*l)
	}
}

// utc is t in UTC to the millisecond; zero stays zero.
func utc(t time.Time) time.Time {
	if t.IsZero() {
		return time.Time{}
	}
	return t.UTC().Truncate(time.Millisecond)
}

// Normalized is a copy of the changes in the form that is stored, with empty
// ids and zero times of recording filled in. The changes themselves, and what
// their slices point to, stay as they are.
func (c Changes) Normalized(now time.Time) Changes {
	out := Changes{
		Horns: slices.Clone(c.Horns), Mouthpieces: slices.Clone(c.Mouthpieces), Players: slices.Clone(c.Players),
		Sessions: slices.Clone(c.Sessions), Retractions: slices.Clone(c.Retractions),
		Returns: slices.Clone(c.Returns), Loans: slices.Clone(c.Loans),
		Finished: slices.Clone(c.Finished), Visits: slices.Clone(c.Visits), Links: slices.Clone(c.Links),
	}
	at := stamp(utc(now))
	out.normalizeGear(at)
	out.normalizeSessions(at)
	out.normalizeLoans(at)
	for i := range out.Links {
		out.Links[i].Normalize()
		at.time(&out.Links[i].At)
	}
	return out
}

// stamp fills in what a record lacks with the time of recording.
type stamp time.Time

func (s stamp) time(at *time.Time) {
	if at.IsZero() {
		*at = time.Time(s)
	}
}

func (s stamp) record(id *ID, at *time.Time) {
	if *id == "" {
		*id = NewID()
	}
	s.time(at)
}

func (c *Changes) normalizeGear(at stamp) {
	for i := range c.Horns {
		c.Horns[i].Normalize()
		at.record(&c.Horns[i].ID, &c.Horns[i].At)
	}
	for i := range c.Mouthpieces {
		c.Mouthpieces[i].Normalize()
		at.record(&c.Mouthpieces[i].ID, &c.Mouthpieces[i].At)
	}
	for i := range c.Players {
		c.Players[i].Normalize()
		at.record(&c.Players[i].ID, &c.Players[i].At)
	}
}

func (c *Changes) normalizeSessions(at stamp) {
	for i := range c.Sessions {
		s := &c.Sessions[i]
		s.Readings = slices.Clone(s.Readings)
		s.Normalize()
		at.record(&s.ID, &s.Recorded)
		if s.Retraction != nil {
			at.time(&s.Retraction.At)
		}
	}
	for i := range c.Retractions {
		c.Retractions[i].normalize()
		at.time(&c.Retractions[i].At)
	}
}

func (c *Changes) normalizeLoans(at stamp) {
	for i := range c.Loans {
		l := &c.Loans[i]
		l.Normalize()
		at.record(&l.ID, &l.Recorded)
		at.time(&l.Since)
	}
	for i := range c.Returns {
		r := &c.Returns[i].Return
		r.normalize()
		at.time(&r.At)
	}
}
