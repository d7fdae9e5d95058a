package catalog

import (
	"context"
	"iter"
	"time"

	"centwise/catalog/pitch"
)

// Store keeps a catalog. Every change goes through [Store.Apply], which is one
// transaction. Methods return an [*Error]: NotFound, Conflict, Invalid,
// Unavailable or Busy; the error of a context that was cancelled or ran out
// wraps that of the context; anything else is a defect.
type Store interface {
	// Apply validates and writes all of the changes or none of them.
	// Conflict: a label or session name is taken, or a revision is not the
	// next one. Invalid: a record breaks a rule. NotFound: a session refers to
	// a record that is neither stored nor among the changes. The changes
	// themselves are not altered: a caller that needs a new record's id takes
	// it from [NewID] beforehand.
	Apply(ctx context.Context, c Changes) error

	// Horns, Mouthpieces and Players list the current revisions by label,
	// retired ones only if asked, without those that are linked to another: that
	// stands for them everywhere, as the horn or mouthpiece of sessions, drafts,
	// loans and visits too.
	Horns(ctx context.Context, retired bool) ([]Horn, error)
	Mouthpieces(ctx context.Context, retired bool) ([]Mouthpiece, error)
	Players(ctx context.Context, retired bool) ([]Player, error)

	// Horn, Mouthpiece and Player find a current record, retired or not, by
	// label (exact, then ignoring case) or by id: that of a linked one gives what
	// it is linked to. NotFound names near labels.
	Horn(ctx context.Context, label string) (Horn, error)
	Mouthpiece(ctx context.Context, label string) (Mouthpiece, error)
	Player(ctx context.Context, label string) (Player, error)

	// Links lists all links, also those that are not in effect, in the order of
	// [CompareLinks].
	Links(ctx context.Context) ([]LinkSummary, error)

	// HornHistory, MouthpieceHistory and PlayerHistory list every revision of
	// a record, be it linked to another or not, the first one first.
	HornHistory(ctx context.Context, id ID) ([]Horn, error)
	MouthpieceHistory(ctx context.Context, id ID) ([]Mouthpiece, error)
	PlayerHistory(ctx context.Context, id ID) ([]Player, error)

	// Sessions lists sessions in order of recording, without readings.
	Sessions(ctx context.Context, f SessionFilter) ([]SessionSummary, error)
	// Session finds one by name (exact, then ignoring case; one that counts
	// before retracted ones, the latest of those) or id, with its readings in
	// the order of [CompareReadings].
	Session(ctx context.Context, name string) (Session, error)

	// Measurements streams every session that is not retracted, in order of
	// recording, without odd readings; sessions of retired gear count. After
	// skips sessions recorded up to and including that sequence number. The
	// Readings of a yielded value are only valid until the next one.
	Measurements(ctx context.Context, after int64) iter.Seq2[Measured, error]

	// Info counts what the catalog holds.
	Info(ctx context.Context) (Info, error)
	// Digest is [Info].Digest without the counting: quick on any catalog, to
	// see whether what was made from the data is still true.
	Digest(ctx context.Context) (Digest, error)

	// OpenDraft begins a session that is entered line by line. Invalid: a rule
	// is broken, or shank and receiver or the valves do not fit; NotFound: it
	// names gear that is not there; Conflict: the id is taken. Drafts are no
	// part of the digest: they never make a fit stale.
	OpenDraft(ctx context.Context, d Draft) error
	// AddDraftLine writes line n of a draft, counted from 1; when it returns,
	// the line is on disk. Conflict: line n is there already, or the ones before
	// it are not, as when two terminals enter one draft. NotFound: there is no
	// such draft, or not any more.
	AddDraftLine(ctx context.Context, id ID, n int, l DraftLine) error
	// Drafts lists the open drafts in the order they were begun, without lines.
	Drafts(ctx context.Context) ([]DraftSummary, error)
	// Draft finds an open draft by id or by the name of its session (exact, then
	// ignoring case), with its lines. Conflict when several have that name.
	Draft(ctx context.Context, name string) (Draft, error)
	// DiscardDraft throws a draft away. NotFound: there is no such draft.
	DiscardDraft(ctx context.Context, id ID) error

	// Loans lists who has which horn or mouthpiece, and who had it, in the order
	// the loans were recorded. They are no part of the digest.
	Loans(ctx context.Context, f LoanFilter) ([]LoanSummary, error)

	// OpenVisit keeps a planned visit. Invalid: a rule is broken, or the shank of
	// a candidate does not fit; NotFound: it names gear that is not there;
	// Conflict: its name is taken. Visits are no part of the digest.
	OpenVisit(ctx context.Context, v Visit) error
	// AddVisitLine writes line n of a visit, counted from 1; when it returns, the
	// line is on disk. Conflict: line n is there already, or the ones before it
	// are not, or the visit is recorded; NotFound: there is no such visit, or no
	// candidate with the code.
	AddVisitLine(ctx context.Context, id ID, n int, l VisitLine) error
	// Visits lists the visits in the order they were planned, without lines.
	Visits(ctx context.Context) ([]VisitSummary, error)
	// Visit finds a visit by name (ignoring case) or id, with its lines.
	Visit(ctx context.Context, name string) (VisitSummary, error)
	// DiscardVisit throws a visit away. NotFound: there is no such visit.
	DiscardVisit(ctx context.Context, id ID) error

	// SaveFit replaces the stored fit by f.
	SaveFit(ctx context.Context, f StoredFit) error
	// LoadFit hands the named sections of the stored fit to take, one after the
	// other, all when none is named; NotFound if there is none. f is the fit
	// without its sections. A body is good during the call only: sections are
	// large, and most are taken apart at once. An error of take ends the reading
	// and is returned.
	LoadFit(ctx context.Context, take func(f StoredFit, section string, body []byte) error, sections ...string) error

	// AmendFit replaces the sections that f names and the digest, version and
	// time of the stored fit, and keeps its other sections. Conflict if the
	// stored fit's digest is not from; NotFound if there is none.
	AmendFit(ctx context.Context, f StoredFit, from string) error

	// Backup writes a complete copy to path: temporary file, sync, rename.
	// Conflict if path exists.
	Backup(ctx context.Context, path string) error
	// Integrity reports damage of the database itself and orphan rows.
	Integrity(ctx context.Context) ([]Finding, error)

	// Pooled streams the records that another catalog is to get: players, horns
	// and mouthpieces with all their revisions, links, records of unknown kinds,
	// then sessions, retracted ones too, with the gear they were recorded with. Gear comes before the sessions that name it,
	// and the sessions that replace others come with those. Labels and names are
	// those that were given, see [Distinct]. Equal catalogs give equal streams,
	// whatever the order in which they came to be.
	Pooled(ctx context.Context, sel PoolSelection) iter.Seq2[Pooled, error]
	// Merge joins records with what is stored, see [JoinHorns] and
	// [JoinSessions]: all of them or, when the stream or one of them is bad,
	// none. Gear must come before the sessions that name it. Merging is
	// idempotent, commutative and associative. NotFound: a session names gear, or
	// a retraction a session, that is neither stored nor in the stream.
	Merge(ctx context.Context, records iter.Seq2[Pooled, error]) (Merged, error)
	// PoolSecret is what pseudonyms are made with; it must not leave the catalog.
	PoolSecret(ctx context.Context) (PoolSecret, error)

	// TokenKeeper keeps who may use a pool server.
	TokenKeeper
	// Follower is how catalogs keep up with each other over a network.
	Follower

	// SetTitle names the catalog (shown by info and on reports).
	SetTitle(ctx context.Context, title string) error

	Close() error
}

// Changes is what one [Store.Apply] writes. A record with Revision.Number 1 is
// new (0 is read as 1); with a higher one it replaces the revision before it.
// What is written is normalised (see [Changes.Normalized]): empty ids, zero
// revision times and Recorded times are filled in.
type Changes struct {
	Horns       []Horn
	Mouthpieces []Mouthpiece
	Players     []Player
	Sessions    []Session
	Retractions []RetractionOf
	// Links join records, or spellings of designs, and take them apart. NotFound:
	// a record is not there; Invalid: the two can't be one, or what else the change
	// says of gear makes two of what is linked; Conflict: the links would go round
	// in a circle, or one is not the next revision.
	Links []Link
	// Returns end loans, then Loans begin new ones, so that things can be handed
	// on. NotFound: a loan, gear or a player is not there; Conflict: somebody has
	// it, who is named, or it came back already.
	Returns []ReturnOf
	Loans   []Loan
	// Finished drafts are closed with the change that records their sessions.
	// NotFound: one is not open any more; Conflict: it has another number of
	// lines by now.
	Finished []DraftEnd
	// Visits are closed with the change that records their sessions. Conflict: one
	// is closed already, or has another number of lines by now.
	Visits []VisitEnd
}

// RetractionOf retracts one session.
type RetractionOf struct {
	Session ID
	Retraction
}

// PoolSelection says which records another catalog is to get; zero fields do
// not select. Sessions must fit every field that is given; the gear they name
// goes with them, and so does the gear that Horns, Mouthpieces and Players name.
type PoolSelection struct {
	// Since leaves out what this catalog has known since before that time, be it
	// recorded here or merged.
	Since                       time.Time
	Horns, Mouthpieces, Players []ID
	Contributors                []string
}

// PoolSecret is what pseudonyms are made with.
type PoolSecret struct {
	Salt    []byte   // 32 bytes, another in every catalog
	Handles []string // that players have or had
}

// Merged says what a [Store.Merge] did.
type Merged struct {
	Horns, Mouthpieces, Players, Sessions MergedKind
	Links                                 MergedKind
	Readings                              int // of new sessions
	Retracted                             int // sessions that counted until now
	Kept                                  int // records of kinds that this version does not know
	Renamed                               []Renaming
	HeldBack                              []HeldBack // what [ReceiveOptions].Admit refused
}

// MergedKind counts the records of one kind. Gear counts by record, not by
// revision.
type MergedKind struct {
	New, Changed int
	Same         int // sessions only: there already
}

// Renaming tells that a record is not called what it was given, because an
// older one has the label.
type Renaming struct {
	Kind          string
	ID            ID
	Stated, Label string
}

// Gear is the count of one kind of gear.
func (m *Merged) Gear(kind string) *MergedKind {
	switch kind {
	case PooledHorn:
		return &m.Horns
	case PooledMouthpiece:
		return &m.Mouthpieces
	}
	return &m.Players
}

// SessionFilter narrows a listing; zero fields do not filter.
type SessionFilter struct {
	Horn, Mouthpiece, Player ID
	Contributor              string
	Method                   Method
	Since                    time.Time // played, or if that is not known recorded, at this time or later
	Retracted                bool      // include retracted sessions
	Limit                    int
}

// SessionSummary is a session without its readings.
type SessionSummary struct {
	Session                                 // Readings is nil
	HornLabel, MouthpieceLabel, PlayerLabel string
	ReadingCount                            int
}

// Measured is one session as the fit needs it.
type Measured struct {
	Sequence                 int64 // order of recording in this catalog
	ID                       ID
	Name                     string
	Horn, Mouthpiece, Player ID
	Contributor              string
	Method                   Method
	Readings                 []MeasuredReading
}

// MeasuredReading is a reading without its repeat number.
type MeasuredReading struct {
	Slot  pitch.Slot
	Cents float64
}

// Info counts what a catalog holds, retired and retracted records apart.
type Info struct {
	Title        string    `json:"title"`
	Path         string    `json:"path"`
	Schema       int       `json:"schema"`
	Horns        int       `json:"horns"`
	Mouthpieces  int       `json:"mouthpieces"`
	Players      int       `json:"players"`
	Contributors int       `json:"contributors"`
	Sessions     int       `json:"sessions"`
	Readings     int       `json:"readings"`
	Retired      int       `json:"retired"`
	Retracted    int       `json:"retracted"`
	Drafts       int       `json:"drafts"`         // sessions that are being entered
	Linked       int       `json:"linked"`         // horns and mouthpieces that go by another's name; not among the others
	Pairs        int       `json:"pairs_measured"` // distinct horn x mouthpiece with a session
	Bytes        int64     `json:"bytes"`
	Digest       string    `json:"digest"`     // of the data, whatever the order it came in
	FitDigest    string    `json:"fit_digest"` // of the data the stored fit was made from; empty if none
	FitAt        time.Time `json:"fit_at"`
}

// StoredFit is a fit kept beside the data it came from, in named sections so
// that a reader loads only what it needs.
type StoredFit struct {
	Digest   string // of the data
	Version  int    // of the sections' format
	At       time.Time
	Sections map[string][]byte
}

// Finding is something [Store.Integrity] or a check of the measurements found.
type Finding struct {
	Kind      string  `json:"kind"`
	Session   string  `json:"session,omitempty"`
	Subject   string  `json:"subject,omitempty"`
	Detail    string  `json:"detail"`
	Certainty float64 `json:"certainty"` // 0..1
	Repair    string  `json:"repair"`    // the command to type next
}
