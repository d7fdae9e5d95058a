package catalog

import (
	"context"
	"fmt"
	"iter"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
)

// A catalog that keeps up with another one over a network asks for what that has
// come to know since. Clocks don't tell that: they jump, and a change that began
// earlier may end later. So every change of a catalog that records something has
// a number, in the order in which changes were completed, and every record has
// the number of the last change that touched it. What changes again while others
// read moves to the end of the order, so that nobody who reads on misses it.

// PooledOther stands for all kinds of record that this version does not know.
const PooledOther = "other"

// pooledOrder is the order of kinds within one change: gear before the sessions
// that name it. Catalogs keep the places, so a new kind comes last.
var pooledOrder = []string{PooledPlayer, PooledHorn, PooledMouthpiece, PooledOther, PooledSession, PooledLink}

// lastKind is behind all kinds.
const lastKind = 99

// KindRank is the place of a kind in the order within a change, from 1.
func KindRank(kind string) int { return slices.Index(pooledOrder, kind) + 1 }

// KindOfRank is the kind at a place; empty if there is none.
func KindOfRank(rank int) string {
	if rank < 1 || rank > len(pooledOrder) {
		return ""
	}
	return pooledOrder[rank-1]
}

// Position is a place in that order, behind one record. Its zero value is before
// everything.
type Position struct {
	Number int64
	// Tag is a random word of the change with the number. It tells whether a
	// catalog still has that change: one that was put back from a backup gives the
	// numbers after it to other changes.
	Tag string
	// Rank and ID are those of the record.
	Rank int
	ID   string
}

// EndOf is the position behind everything in a change.
func EndOf(number int64, tag string) Position {
	return Position{Number: number, Tag: tag, Rank: lastKind}
}

// Zero reports whether the position is before everything.
func (p Position) Zero() bool { return p.Number == 0 }

// String is the position as [ParsePosition] reads it.
func (p Position) String() string {
	if p.Zero() {
		return "0"
	}
	return fmt.Sprintf("%d.%s.%d.%s", p.Number, p.Tag, p.Rank, url.QueryEscape(p.ID))
}

// maxPosition bounds the text of a position.
const maxPosition = 4096

// ParsePosition reads what String wrote; no text is the zero position. The error
// is of kind Invalid.
func ParsePosition(text string) (Position, error) {
	if text == "" || text == "0" {
		return Position{}, nil
	}
	bad := Errorf(Invalid, "leave it out to begin at the beginning", "%.80q is not a position", text)
	parts := strings.SplitN(text, ".", 4)
	if len(parts) != 4 || len(text) > maxPosition || parts[1] == "" {
		return Position{}, bad
	}
	number, err1 := strconv.ParseInt(parts[0], 10, 64)
	rank, err2 := strconv.Atoi(parts[2])
	id, err3 := url.QueryUnescape(parts[3])
	p := Position{number, parts[1], rank, id}
	if err1 != nil || err2 != nil || err3 != nil || number < 1 || p.String() != text || strings.Trim(p.Tag, "0123456789abcdef") != "" {
		return Position{}, bad
	}
	return p, nil
}

// RecordRef names a record of a kind.
type RecordRef struct{ Kind, ID string }

// ChangedRecord is a record in the order of changes.
type ChangedRecord struct {
	RecordRef
	Behind Position // the position behind it
	// Source is the URL of the catalog from which the record came, if it came from
	// nowhere else and is still as it came.
	Source string
	// Contributor measured the session or entered the first revision of the gear.
	Contributor string
	Readings    int
}

// Remote is what a catalog remembers of another one that it exchanges records
// with over a network.
type Remote struct {
	URL     string
	Catalog string // the other one's id
	// Terms say what was sent: as who, and what stayed at home. Under other terms
	// everything goes again.
	Terms      string
	Sent       Position // of this catalog: what is before it the other one has
	Received   Position // of the other one: what is before it this one has
	Seen       Position // of the other one, the last that it was known to have
	SentAt     time.Time
	ReceivedAt time.Time
}

// Arrival is a record that a merge is about to take over.
type Arrival struct {
	Record Pooled  // as it came
	Stored *Pooled // what is there: the same revision, or the session; nil for nothing
	Joined Pooled  // what there would be
	// New gear was not known before the merge; else Owner is who entered its first
	// revision.
	New   bool
	Owner string
	// ReplacementStored says that the session which is to replace a retracted one
	// is there.
	ReplacementStored bool
}

// Admission decides whether a record that would change something is taken over,
// and in which form. Why says why not; empty takes it over.
type Admission func(Arrival) (as Pooled, why string)

// HeldBack is a record that was not admitted.
type HeldBack struct {
	Kind  string `json:"kind"`
	ID    ID     `json:"id"`
	Label string `json:"label"` // or name
	Why   string `json:"why"`
}

// ReceiveOptions say how records are received.
type ReceiveOptions struct {
	// From is the URL of the catalog that sent them; empty if they did not come over
	// a network.
	From string
	// Admit may refuse records; nil admits all. What names gear that was refused is
	// refused too.
	Admit Admission
	// Remote is remembered with the same change; may be nil.
	Remote *Remote
}

// Follower is what a catalog needs to keep up with others.
type Follower interface {
	// PoolID is the id of the catalog, which no other one has but its copies.
	PoolID(ctx context.Context) (string, error)
	// End is the position behind all that the catalog holds.
	End(ctx context.Context) (Position, error)
	// HasPosition reports whether the position is one of this catalog, see
	// [Position.Tag].
	HasPosition(ctx context.Context, p Position) (bool, error)
	// ChangedRecords lists the records behind a position, the first limit of them.
	ChangedRecords(ctx context.Context, after Position, limit int) ([]ChangedRecord, error)
	// PooledRecords streams records as [Store.Pooled] does, with the gear that
	// sessions name and the sessions that replace them. Those that are not there
	// are passed over.
	PooledRecords(ctx context.Context, refs []RecordRef) iter.Seq2[Pooled, error]
	// Receive is [Store.Merge] with options.
	Receive(ctx context.Context, records iter.Seq2[Pooled, error], o ReceiveOptions) (Merged, error)

	// Remote is what is remembered under a URL. NotFound: nothing.
	Remote(ctx context.Context, url string) (Remote, error)
	// SaveRemote remembers r under its URL.
	SaveRemote(ctx context.Context, r Remote) error
	// ForgetRemote forgets what is remembered under a URL, and which records came
	// from there.
	ForgetRemote(ctx context.Context, url string) error
}
