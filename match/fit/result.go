package fit

import (
	"cmp"
	"slices"
	"sync"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Model is a finished fit: what is known of every horn, mouthpiece, player and
// measured pair, with joint draws of what is not. It is safe for concurrent use.
type Model struct {
	Digest     string // of the data
	At         time.Time
	Seed       uint64
	Report     Report
	Components Components

	slots       []pitch.Slot
	horns       []hornRecord
	mouthpieces []itemRecord
	players     []itemRecord // of a stored fit, see fetchPlayers
	pairs       []pairRecord // sorted by horn, mouthpiece

	// The effects, as coefficients: cents slot by slot, or at the knots of a
	// smooth function; a table of width 0 is not part of the model.
	tables [effects]table

	playersOnce  sync.Once
	playersError error

	// read gets sections of the stored fit that the model came from.
	read     func(take func(section string, body []byte) error, sections ...string) error
	storedAt time.Time

	// What a refresh goes on from.
	sources []Source
	learned []learnedLevel
	last    int64 // sequence of the last session that went in

	slotIndex                      map[pitch.Slot]int
	hornAt, mouthpieceAt, playerAt lookup
	smooth                         []float64 // J x smoothKnots
	usual                          []int     // the default range as indices of slots
}

// Report says how the fit went.
type Report struct {
	Sessions, Readings int
	Unknowns           int
	Steps              int     // of learning
	Change             float64 // of the standard deviations in the last step
	Iterations         int     // of the last solve
	Residual           float64
	Converged          bool
	Draws              int
	Exact              bool // draws from the exact posterior
	Levels             []LevelReport
	Parts              int // unconnected parts with sessions
	Refreshed          int // sessions taken in since the last whole fit
	Duration           time.Duration
}

// LevelReport sums up one kind of effect.
type LevelReport struct {
	Name   string
	Blocks int     // items
	Seen   int     // items with a session
	SD     float64 // typical size in cents over the usual notes after the best offset
}

type itemRecord struct {
	Item
	Design         string
	Part           int32
	Sessions       int
	DesignSessions int // with other specimens of the design
	HasDimensions  bool
	Dimensions     [dimensionCount]float64 // as standardDimensions gives them
}

type hornRecord struct {
	Record        itemRecord
	Transposition int
	Players       int
}

type pairRecord struct {
	horn, mouthpiece int32
	sessions         int32
	at               int32 // place in the table of pairs
}

// finish turns the engine's answer, recorded in tables, into a model.
func (e *engine) finish(tables [effects]table, report Report) *Model {
	m := &Model{Digest: e.data.Digest, At: time.Now().UTC(), Seed: e.seed, Report: report, Components: *e.comp,
		slots: e.data.Slots, tables: tables}
	m.recordItems(e.data)
	for i, expected := range e.prior.horns {
		m.horns[i].Record.HasDimensions = expected != nil
	}
	m.sources = e.data.Sources
	for _, s := range e.data.sessions {
		m.last = max(m.last, s.sequence)
	}
	for _, l := range e.sys.levels {
		m.learned = append(m.learned, learnedLevel{l.name, l.p, l.cov.a})
	}
	m.index()
	m.Report.Levels = m.levelReports(e)
	m.Report.Parts = m.countParts()
	return m
}

// countParts is how many unconnected parts have sessions.
func (m *Model) countParts() int {
	parts := map[int32]bool{}
	for _, p := range m.pairs {
		parts[m.horns[p.horn].Record.Part] = true
	}
	return len(parts)
}

// recordItems counts the evidence behind every item.
func (m *Model) recordItems(d *Data) {
	hornPart, mouthpiecePart := d.parts()
	hornDesign := map[string]int{}
	mouthpieceDesign := map[string]int{}
	hornCount, mouthpieceCount := make([]int, len(d.Horns)), make([]int, len(d.Mouthpieces))
	playerCount := make([]int, len(d.Players))
	hornPlayers := make([]map[int32]bool, len(d.Horns))
	for i, s := range d.sessions {
		hornCount[s.horn]++
		mouthpieceCount[s.mouthpiece]++
		playerCount[s.player]++
		hornDesign[d.Horns[s.horn].Design]++
		mouthpieceDesign[d.Mouthpieces[s.mouthpiece].Design]++
		if hornPlayers[s.horn] == nil {
			hornPlayers[s.horn] = map[int32]bool{}
		}
		hornPlayers[s.horn][s.player] = true
		if last := len(m.pairs) - 1; i > 0 && m.pairs[last].horn == s.horn && m.pairs[last].mouthpiece == s.mouthpiece {
			m.pairs[last].sessions++
		} else {
			m.pairs = append(m.pairs, pairRecord{s.horn, s.mouthpiece, 1, int32(len(m.pairs))})
		}
	}
	others := func(design string, of map[string]int, own int) int {
		if design == "" {
			return 0
		}
		return of[design] - own
	}
	for i, h := range d.Horns {
		m.horns = append(m.horns, hornRecord{itemRecord{Item: h.Item, Design: h.Design, Part: hornPart[i],
			Sessions: hornCount[i], DesignSessions: others(h.Design, hornDesign, hornCount[i])}, h.Transposition, len(hornPlayers[i])})
	}
	for i, x := range d.Mouthpieces {
		m.mouthpieces = append(m.mouthpieces, itemRecord{Item: x.Item, Design: x.Design, Part: mouthpiecePart[i],
			Sessions: mouthpieceCount[i], DesignSessions: others(x.Design, mouthpieceDesign, mouthpieceCount[i]),
			HasDimensions: d.z[i] != [dimensionCount]float64{}, Dimensions: d.z[i]})
	}
	for i, p := range d.Players {
		m.players = append(m.players, itemRecord{Item: p, Sessions: playerCount[i]})
	}
}

// index prepares the look-ups.
func (m *Model) index() {
	m.slotIndex = make(map[pitch.Slot]int, len(m.slots))
	for i, s := range m.slots {
		m.slotIndex[s] = i
	}
	m.usual = nil
	for _, s := range pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3) {
		m.usual = append(m.usual, m.slotIndex[s])
	}
	m.hornAt.id, m.hornAt.n = func(i int) catalog.ID { return m.horns[i].Record.ID }, len(m.horns)
	m.mouthpieceAt.id, m.mouthpieceAt.n = func(i int) catalog.ID { return m.mouthpieces[i].ID }, len(m.mouthpieces)
	m.indexPlayers()
	m.smooth = smoothBasis(m.slots)
}

func (m *Model) indexPlayers() {
	m.playerAt.id, m.playerAt.n = func(i int) catalog.ID { return m.players[i].ID }, len(m.players)
}

// lookup finds items by their id. Most questions are about few kinds of items, so
// it is made when it is first used.
type lookup struct {
	once sync.Once
	n    int
	id   func(i int) catalog.ID
	at   map[catalog.ID]int
}

func (l *lookup) find(id catalog.ID) (int, bool) {
	l.once.Do(func() {
		l.at = make(map[catalog.ID]int, l.n)
		for i := range l.n {
			l.at[l.id(i)] = i
		}
	})
	i, ok := l.at[id]
	return i, ok
}

// findPair is the place of a measured pair.
func (m *Model) findPair(horn, mouthpiece int) (int, bool) {
	return slices.BinarySearchFunc(m.pairs, pairRecord{horn: int32(horn), mouthpiece: int32(mouthpiece)}, func(a, b pairRecord) int {
		return cmp.Or(cmp.Compare(a.horn, b.horn), cmp.Compare(a.mouthpiece, b.mouthpiece))
	})
}

// Slots are the slots the model answers for.
func (m *Model) Slots() []pitch.Slot { return slices.Clone(m.slots) }
