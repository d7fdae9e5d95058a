package catalog

import (
	"cmp"
	"encoding/json"

	"centwise/catalog/pitch"
)

// Pooled is one record in the form in which catalogs exchange it: one of the
// pointers is set.
type Pooled struct {
	Horn       *Shared[Horn]
	Mouthpiece *Shared[Mouthpiece]
	Player     *Shared[Player]
	Link       *Shared[Link]
	Session    *Shared[Session]
	Other      *OtherRecord
}

// Shared is a revision of a piece of gear, or a session, with what only the
// exchange needs to know of it.
type Shared[T any] struct {
	Record T
	// Withheld names, sorted, the fields that whoever sent the record kept
	// back: they are empty, or hold a pseudonym.
	Withheld []string
	// Extra holds the fields that this version does not know.
	Extra Extra
}

// OtherRecord is a record of a kind that this version does not know. It is kept
// and passed on as it came.
type OtherRecord struct {
	Kind string
	Body string // a JSON object, compact
}

// Kinds of records that are exchanged.
const (
	PooledHorn       = "horn"
	PooledMouthpiece = "mouthpiece"
	PooledPlayer     = "player"
	PooledLink       = "link"
	PooledSession    = "session"
)

// Kind is the kind of the record.
func (p Pooled) Kind() string {
	switch {
	case p.Horn != nil:
		return PooledHorn
	case p.Mouthpiece != nil:
		return PooledMouthpiece
	case p.Player != nil:
		return PooledPlayer
	case p.Link != nil:
		return PooledLink
	case p.Session != nil:
		return PooledSession
	case p.Other != nil:
		return p.Other.Kind
	}
	return ""
}

// ID is the id of the record; empty for a link and one of an unknown kind.
func (p Pooled) ID() ID {
	switch {
	case p.Horn != nil:
		return p.Horn.Record.ID
	case p.Mouthpiece != nil:
		return p.Mouthpiece.Record.ID
	case p.Player != nil:
		return p.Player.Record.ID
	case p.Session != nil:
		return p.Session.Record.ID
	}
	return ""
}

// sharedField is one field of a record as it is exchanged. Soft ones may be
// withheld by whoever sends the record; the others are what it is.
type sharedField[T any] struct {
	name string
	soft bool
	of   func(*T) any // pointer that encoding/json reads and writes
}

// exchange says how one kind of record is written, read and joined.
type exchange[T any] struct {
	kind   string
	fields []sharedField[T]
	// later are fields that came to the record after it was made, and that join
	// by a rank of their own: the retraction of a session.
	later     []sharedField[T]
	rank      func(*T) string // of the fields, see join
	laterRank func(*T) string
	normalize func(*T)
	validate  func(T) error
}

func hard[T any](name string, of func(*T) any) sharedField[T] {
	return sharedField[T]{name, false, of}
}

func soft[T any](name string, of func(*T) any) sharedField[T] {
	return sharedField[T]{name, true, of}
}

// revisionFields are those of every kind of gear.
func revisionFields[T any](id func(*T) *ID, r func(*T) *Revision) []sharedField[T] {
	return []sharedField[T]{
		hard("id", func(x *T) any { return id(x) }),
		hard("revision", func(x *T) any { return &r(x).Number }),
		hard("revised", func(x *T) any { return &r(x).At }),
		soft("contributor", func(x *T) any { return &r(x).Contributor }),
		hard("retired", func(x *T) any { return &r(x).Retired }),
	}
}

var exchangedHorns = exchange[Horn]{
	kind: PooledHorn,
	fields: append(revisionFields(func(h *Horn) *ID { return &h.ID }, func(h *Horn) *Revision { return &h.Revision }),
		soft("label", func(h *Horn) any { return &h.Label }),
		hard("maker", func(h *Horn) any { return &h.Maker }),
		hard("model", func(h *Horn) any { return &h.Model }),
		hard("serial", func(h *Horn) any { return &h.Serial }),
		hard("instrument", func(h *Horn) any { return &h.Instrument }),
		hard("key", func(h *Horn) any { return &h.Key }),
		hard("valves", func(h *Horn) any { return &h.Valves }),
		hard("receiver", func(h *Horn) any { return &h.Receiver }),
		hard("bore_mm", func(h *Horn) any { return &h.BoreMM }),
		hard("throw1_mm", func(h *Horn) any { return &h.Throw1MM }),
		hard("throw3_mm", func(h *Horn) any { return &h.Throw3MM }),
		hard("loaner", func(h *Horn) any { return &h.Loaner }),
		soft("owner", func(h *Horn) any { return &h.Owner }),
		soft("tags", func(h *Horn) any { return &h.Tags }),
		hard("bore_geometry", func(h *Horn) any { return &h.BoreGeometry })),
	rank:      func(h *Horn) string { return revisionRank(h.Revision) },
	normalize: (*Horn).Normalize,
	validate:  func(h Horn) error { return cmp.Or(h.Revision.dated(), h.Validate()) },
}

var exchangedMouthpieces = exchange[Mouthpiece]{
	kind: PooledMouthpiece,
	fields: append(revisionFields(func(m *Mouthpiece) *ID { return &m.ID }, func(m *Mouthpiece) *Revision { return &m.Revision }),
		soft("label", func(m *Mouthpiece) any { return &m.Label }),
		hard("maker", func(m *Mouthpiece) any { return &m.Maker }),
		hard("model", func(m *Mouthpiece) any { return &m.Model }),
		hard("serial", func(m *Mouthpiece) any { return &m.Serial }),
		hard("shank", func(m *Mouthpiece) any { return &m.Shank }),
		hard("rim_mm", func(m *Mouthpiece) any { return &m.RimMM }),
		hard("cup_cm3", func(m *Mouthpiece) any { return &m.CupCM3 }),
		hard("cup_depth_mm", func(m *Mouthpiece) any { return &m.CupDepthMM }),
		hard("throat_mm", func(m *Mouthpiece) any { return &m.ThroatMM }),
		hard("throat_length_mm", func(m *Mouthpiece) any { return &m.ThroatLengthMM }),
		hard("backbore_mm", func(m *Mouthpiece) any { return &m.BackboreMM }),
		hard("backbore_character", func(m *Mouthpiece) any { return &m.BackboreCharacter }),
		hard("length_mm", func(m *Mouthpiece) any { return &m.LengthMM }),
		soft("owner", func(m *Mouthpiece) any { return &m.Owner }),
		soft("stock", func(m *Mouthpiece) any { return &m.Stock }),
		soft("tags", func(m *Mouthpiece) any { return &m.Tags })),
	rank:      func(m *Mouthpiece) string { return revisionRank(m.Revision) },
	normalize: (*Mouthpiece).Normalize,
	validate:  func(m Mouthpiece) error { return cmp.Or(m.Revision.dated(), m.Validate()) },
}

// A player leaves a catalog as a pseudonym and nothing else, unless asked for.
var exchangedPlayers = exchange[Player]{
	kind: PooledPlayer,
	fields: append(revisionFields(func(p *Player) *ID { return &p.ID }, func(p *Player) *Revision { return &p.Revision }),
		soft("label", func(p *Player) any { return &p.Label }),
		soft("level", func(p *Player) any { return &p.Level }),
		soft("rim_min_mm", func(p *Player) any { return &p.RimMinMM }),
		soft("rim_max_mm", func(p *Player) any { return &p.RimMaxMM }),
		soft("cup_min_cm3", func(p *Player) any { return &p.CupMinCM3 }),
		soft("cup_max_cm3", func(p *Player) any { return &p.CupMaxCM3 }),
		soft("tolerance_cents", func(p *Player) any { return &p.ToleranceCents }),
		soft("range_low", func(p *Player) any { return (*noteText)(&p.RangeLow) }),
		soft("range_high", func(p *Player) any { return (*noteText)(&p.RangeHigh) }),
		soft("weights", func(p *Player) any { return (*weightsText)(&p.Weights) }),
		soft("tags", func(p *Player) any { return &p.Tags })),
	rank:      func(p *Player) string { return revisionRank(p.Revision) },
	normalize: (*Player).Normalize,
	validate:  func(p Player) error { return cmp.Or(p.Revision.dated(), p.Validate()) },
}

// A link is a record of its own, so that linking and editing don't undo each other.
var exchangedLinks = exchange[Link]{
	kind: PooledLink,
	fields: []sharedField[Link]{
		hard("kind", func(l *Link) any { return &l.Kind }),
		hard("alias", func(l *Link) any { return &l.Alias }),
		hard("kept", func(l *Link) any { return &l.Kept }),
		hard("revision", func(l *Link) any { return &l.Number }),
		hard("revised", func(l *Link) any { return &l.At }),
		soft("contributor", func(l *Link) any { return &l.Contributor }),
		hard("taken_apart", func(l *Link) any { return &l.Retired }),
	},
	rank:      func(l *Link) string { return revisionRank(l.Revision) },
	normalize: (*Link).Normalize,
	validate:  func(l Link) error { return cmp.Or(l.Revision.dated(), l.Validate()) },
}

// dated refuses a revision without a time: which of two is the later one could
// not be told.
func (r Revision) dated() error {
	if r.At.IsZero() {
		return Errorf(Invalid, "ask for a new bundle", "the record does not say when it was revised")
	}
	return nil
}

// flatSession is a session with its retraction beside it; a zero time means
// that there is none.
type flatSession struct {
	Session
	retraction Retraction
}

var exchangedSessions = exchange[flatSession]{
	kind: PooledSession,
	fields: []sharedField[flatSession]{
		hard("id", func(s *flatSession) any { return &s.ID }),
		soft("name", func(s *flatSession) any { return &s.Name }),
		hard("horn", func(s *flatSession) any { return &s.Horn }),
		hard("mouthpiece", func(s *flatSession) any { return &s.Mouthpiece }),
		hard("player", func(s *flatSession) any { return &s.Player }),
		soft("contributor", func(s *flatSession) any { return &s.Contributor }),
		hard("played", func(s *flatSession) any { return &s.At }),
		hard("recorded", func(s *flatSession) any { return &s.Recorded }),
		hard("a4_hz", func(s *flatSession) any { return &s.A4Hz }),
		hard("temperature_c", func(s *flatSession) any { return &s.TemperatureC }),
		hard("slide_mm", func(s *flatSession) any { return &s.SlideMM }),
		hard("gap_mm", func(s *flatSession) any { return &s.GapMM }),
		hard("dynamic", func(s *flatSession) any { return &s.Dynamic }),
		hard("method", func(s *flatSession) any { return &s.Method }),
		soft("remark", func(s *flatSession) any { return &s.Remark }),
		soft("source", func(s *flatSession) any { return &s.Source }),
		hard("adapter", func(s *flatSession) any { return &s.Adapter }),
		hard("readings", func(s *flatSession) any { return (*readingRows)(&s.Readings) }),
	},
	later: []sharedField[flatSession]{
		hard("retracted", func(s *flatSession) any { return &s.retraction.At }),
		soft("retracted_by", func(s *flatSession) any { return &s.retraction.Contributor }),
		soft("retraction_reason", func(s *flatSession) any { return &s.retraction.Reason }),
		hard("replaced_by", func(s *flatSession) any { return &s.retraction.ReplacedBy }),
	},
	rank:      func(*flatSession) string { return "" },
	laterRank: func(s *flatSession) string { return retractionRank(s.retraction) },
	normalize: func(s *flatSession) { s.Session.Normalize(); s.retraction.normalize() },
	validate: func(s flatSession) error {
		r := s.retraction
		if (r != Retraction{}) {
			if s.Retraction = &r; r.At.IsZero() {
				return Errorf(Invalid, "ask for a new bundle", "the session %q has a retraction without a time", s.Name)
			}
		}
		if s.Recorded.IsZero() {
			return Errorf(Invalid, "ask for a new bundle", "the session %q does not say when it was recorded", s.Name)
		}
		return s.Session.Validate()
	},
}

// flat takes the retraction out of a session.
func flat(s Shared[Session]) Shared[flatSession] {
	f := Shared[flatSession]{flatSession{Session: s.Record}, s.Withheld, s.Extra}
	if r := s.Record.Retraction; r != nil {
		f.Record.retraction, f.Record.Retraction = *r, nil
	}
	return f
}

// whole undoes flat.
func whole(f Shared[flatSession]) Shared[Session] {
	s := Shared[Session]{f.Record.Session, f.Withheld, f.Extra}
	if !f.Record.retraction.At.IsZero() {
		r := f.Record.retraction
		s.Record.Retraction = &r
	}
	return s
}

// noteText is a note written as its name, "" for none.
type noteText pitch.Note

func (n *noteText) MarshalText() ([]byte, error) { return []byte(pitch.Note(*n).String()), nil }

func (n *noteText) UnmarshalText(text []byte) error {
	read, err := pitch.ParseNote(string(text))
	*n = noteText(read)
	return err
}

// weightsText are weights written as [Weights.String].
type weightsText Weights

func (w *weightsText) MarshalText() ([]byte, error) { return []byte(Weights(*w).String()), nil }

func (w *weightsText) UnmarshalText(text []byte) error {
	read, err := ParseWeights(string(text))
	*w = weightsText(read)
	return err
}

// readingRows are readings written as rows of numbers: pressed valves as the
// digits of one number (0 for open), partial, repeat, cents, and 1 at the end
// of an odd one.
type readingRows []Reading

func (r *readingRows) MarshalJSON() ([]byte, error) {
	b := []byte{'['}
	for i, x := range *r {
		if i > 0 {
			b = append(b, ',')
		}
		b = appendReading(b, x)
	}
	return append(b, ']'), nil
}

func (r *readingRows) UnmarshalJSON(text []byte) error {
	rows, err := parseReadings(text)
	*r = rows
	return err
}

var _ json.Unmarshaler = (*readingRows)(nil)

// revisionRank orders revisions of one record: by number, then by time. What
// differs beyond that is decided by content, see join.
func revisionRank(r Revision) string { return ordered(int64(r.Number)) + ordered(r.At.UnixMilli()) }

// retractionRank orders what is known of a session's retraction: any before
// none, the earliest before later ones.
func retractionRank(r Retraction) string {
	if r.At.IsZero() {
		return ""
	}
	return ordered(-r.At.UnixMilli()) + string(r.ReplacedBy)
}

// ordered writes a number so that texts sort like numbers.
func ordered(n int64) string {
	var b [8]byte
	for i, u := 7, uint64(n)^1<<63; i >= 0; i, u = i-1, u>>8 {
		b[i] = byte(u)
	}
	return string(b[:])
}
