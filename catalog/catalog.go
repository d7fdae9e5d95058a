// Package catalog holds the domain of centwise: horns, mouthpieces, players,
// contributors and the sessions measured with them; what makes a record valid;
// and the [Store] that keeps them. It knows nothing of databases.
//
// Units are in the field names: MM millimetres, CM3 cubic centimetres, Hz, C
// degrees Celsius; deviations are cents from equal temperament at the session's
// A4, positive when sharp. A dimension of 0 means "not known".
package catalog

import (
	"time"

	"centwise/catalog/pitch"
)

// ID is a ULID (https://github.com/ulid/spec) made where the record is made.
type ID string

// Revision says which version of a record this is, and whose.
type Revision struct {
	Number      int       // 1 for the first
	At          time.Time // UTC, to the millisecond
	Contributor string    // handle of who entered it; may be empty
	Retired     bool      // no longer offered, still in history
}

// Instrument is the kind of a horn.
type Instrument string

// The instruments of the trumpet family that the catalog holds.
const (
	Trumpet    Instrument = "trumpet"
	Cornet     Instrument = "cornet"
	Flugelhorn Instrument = "flugelhorn"
	Piccolo    Instrument = "piccolo"
)

// Instruments lists the known kinds.
var Instruments = []Instrument{Trumpet, Cornet, Flugelhorn, Piccolo}

// Shank names the taper family of a mouthpiece shank or of the receiver that
// takes it.
type Shank string

// Shanks in use in the family (common practice, no source).
const (
	ShankTrumpet    Shank = "trumpet"
	ShankCornet     Shank = "cornet"
	ShankFlugelhorn Shank = "flugelhorn"
)

// Shanks lists the known shanks.
var Shanks = []Shank{ShankTrumpet, ShankCornet, ShankFlugelhorn}

// Horn is one physical instrument.
type Horn struct {
	ID ID
	Revision
	Label        string // unique among the horns of a catalog
	Maker, Model string // together the design; as the user types them
	Serial       string
	Instrument   Instrument
	Key          pitch.Key
	Valves       int // 3 or 4
	Receiver     Shank
	BoreMM       float64
	Throw1MM     float64 // reach of the first valve slide while playing, 0 = none
	Throw3MM     float64 // reach of the third valve slide while playing, 0 = none
	Loaner       bool
	Owner        string // owner note, free text or a player's handle
	Tags         []string
	BoreGeometry string // bore description file contents if known, else empty
}

// Transposition is how many semitones above the written pitch the horn sounds.
func (h Horn) Transposition() int {
	s := h.Key.Semitones()
	if h.Instrument == Piccolo {
		s += 12
	}
	return s
}

// Mouthpiece is one physical cup mouthpiece.
type Mouthpiece struct {
	ID ID
	Revision
	Label             string // unique among the mouthpieces of a catalog
	Maker, Model      string // together the design
	Serial            string
	Shank             Shank
	RimMM             float64 // inner diameter of the rim
	CupCM3            float64
	CupDepthMM        float64
	ThroatMM          float64
	ThroatLengthMM    float64
	BackboreMM        float64 // exit diameter
	BackboreCharacter string
	LengthMM          float64
	Owner             string
	Stock             []string // lists (shops, cupboards) that have it in stock
	Tags              []string
}

// Player is somebody who plays, known by a handle that need not be a name.
type Player struct {
	ID ID
	Revision
	Label                string // the handle, unique among players
	Level                string
	RimMinMM, RimMaxMM   float64    // comfort range of the rim, 0 = no limit
	CupMinCM3, CupMaxCM3 float64    // comfort range of the cup, 0 = no limit
	ToleranceCents       float64    // what the player takes for in tune, 0 = default
	RangeLow, RangeHigh  pitch.Note // written; 0 = default
	Weights              Weights    // of the notes, from the player's own music; nil = every note alike
	Tags                 []string
}

// Method is how a session was measured.
type Method string

// Methods of measuring.
const (
	MethodTuner     Method = "tuner"
	MethodRecording Method = "recording"
	MethodImpedance Method = "impedance"
)

// Methods lists the known methods.
var Methods = []Method{MethodTuner, MethodRecording, MethodImpedance}

// Session is one player with one setup at one sitting. Sessions never change:
// a correction retracts one and records another.
type Session struct {
	ID           ID
	Name         string // as imported or chosen; unique among sessions not retracted
	Horn         ID
	Mouthpiece   ID
	Player       ID
	Contributor  string    // handle of who measured; may be empty
	At           time.Time // when it was played; zero if not known
	Recorded     time.Time // when it entered a catalog
	A4Hz         float64   // 0 is read as 440
	TemperatureC *float64
	SlideMM      *float64 // tuning slide, pulled out by
	GapMM        *float64 // shank end to leadpipe
	Dynamic      string
	Method       Method // empty is read as tuner
	Remark       string
	Source       string // file the session was imported from
	Adapter      bool   // shank and receiver differ and an adapter was used
	Retraction   *Retraction
	Readings     []Reading
}

// Retraction takes a session out of every calculation; it stays in history.
type Retraction struct {
	At          time.Time
	Contributor string
	Reason      string
	ReplacedBy  ID // the correcting session, if any
}

// Reading is the deviation of one slot, read once.
type Reading struct {
	Slot   pitch.Slot
	Repeat int     // 1 for the first reading of the slot in the session
	Cents  float64 // + sharp, - flat
	Odd    bool    // outside the accepted range, kept for review, not used by the fit
}

// Accepted deviations in cents; outside them a reading is refused, or kept as
// odd on request.
const (
	MinCents = -150.0
	MaxCents = 150.0
)

// DefaultA4Hz is the standard tuning frequency: ISO 16:1975, A4 = 440 Hz.
const DefaultA4Hz = 440.0
