package fit

import (
	"fmt"
	"math"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Predict says what is known of one setup on some slots. An empty Horn or
// Mouthpiece stands for a typical one, whose share is zero. NotFound for an id
// or a slot that the fit does not know.
func (m *Model) Predict(s Setup, slots []pitch.Slot) (Prediction, error) {
	out, err := m.PredictMany([]Setup{s}, slots)
	if err != nil {
		return Prediction{}, err
	}
	return out[0], nil
}

// PredictMany gives one prediction a setup, in their order; see Predict.
func (m *Model) PredictMany(setups []Setup, slots []pitch.Slot) ([]Prediction, error) {
	frames := map[int]*frame{}
	places := make([]setupPlace, len(setups))
	var parts partSet
	for i, s := range setups {
		p, err := m.place(s)
		if err != nil {
			return nil, err
		}
		if frames[p.transposition] == nil {
			if frames[p.transposition], err = m.newFrame(slots, len(slots), p.transposition); err != nil {
				return nil, err
			}
		}
		parts.addSetup(m, p)
		places[i] = p
	}
	if err := m.fetchParts(parts); err != nil {
		return nil, err
	}
	out := make([]Prediction, len(setups))
	parallel(len(setups), func(lo, hi int) {
		c := m.newCaster()
		for i := lo; i < hi; i++ {
			p, f := places[i], frames[places[i].transposition]
			x := m.newCanvas(f)
			c.shares(p, f, shares{}).paint(f, &x)
			m.describe(p, &x.Prediction)
			x.Setup, x.Slots = setups[i], slots
			out[i] = x.Prediction
		}
	})
	return out, nil
}

// setupPlace is a setup as places in the tables, -1 for a typical one.
type setupPlace struct {
	horn, mouthpiece, player, pair int
	sessions                       int // of the pair
	transposition                  int
}

func (m *Model) place(s Setup) (setupPlace, error) {
	p := setupPlace{-1, -1, -1, -1, 0, bbTransposition}
	find := func(kind string, id catalog.ID, at *lookup, into *int) error {
		if id == "" {
			return nil
		}
		i, ok := at.find(id)
		if !ok {
			return catalog.Errorf(catalog.NotFound, "run centwise fit", "the fit does not know %s %s", kind, id)
		}
		*into = i
		return nil
	}
	if err := find("horn", s.Horn, &m.hornAt, &p.horn); err != nil {
		return p, err
	}
	if err := find("mouthpiece", s.Mouthpiece, &m.mouthpieceAt, &p.mouthpiece); err != nil {
		return p, err
	}
	if s.Player != "" || s.Bench {
		if err := m.fetchPlayers(); err != nil {
			return p, err
		}
	}
	if err := find("player", s.Player, &m.playerAt, &p.player); err != nil {
		return p, err
	}
	if s.Bench && s.Player == "" {
		if i, ok := m.playerAt.find(""); ok {
			p.player = i
		}
	}
	if p.horn >= 0 {
		p.transposition = m.horns[p.horn].Transposition
	}
	if p.horn >= 0 && p.mouthpiece >= 0 {
		if i, ok := m.findPair(p.horn, p.mouthpiece); ok {
			p.pair = int(m.pairs[i].at)
			p.sessions = int(m.pairs[i].sessions)
		}
	}
	return p, nil
}

// describe says what a prediction rests on.
func (m *Model) describe(p setupPlace, out *Prediction) {
	out.Evidence = m.evidence(p)
	out.Linked = m.linked(p)
}

// linked reports whether a chain of sessions joins horn and mouthpiece.
func (m *Model) linked(p setupPlace) bool {
	return p.horn < 0 || p.mouthpiece < 0 || m.horns[p.horn].Record.Part == m.mouthpieces[p.mouthpiece].Part
}

// evidence counts the sessions behind a setup.
func (m *Model) evidence(p setupPlace) Evidence {
	e := Evidence{Basis: BasisMeasured}
	if p.pair >= 0 {
		e.Pair = p.sessions
	}
	if p.horn >= 0 {
		h := m.horns[p.horn]
		e.Horn, e.HornDesign, e.HornPlayers = h.Record.Sessions, h.Record.DesignSessions, h.Players
		e.Basis = weaker(e.Basis, h.Record.basis())
	}
	if p.mouthpiece >= 0 {
		x := m.mouthpieces[p.mouthpiece]
		e.Mouthpiece, e.MouthpieceDesign = x.Sessions, x.DesignSessions
		e.Basis = weaker(e.Basis, x.basis())
	}
	if p.player >= 0 {
		e.Player = m.players[p.player].Sessions
	}
	return e
}

func (r itemRecord) basis() Basis {
	switch {
	case r.Sessions > 0:
		return BasisMeasured
	case r.DesignSessions > 0:
		return BasisDesign
	case r.HasDimensions:
		return BasisDimensions
	}
	return BasisPrior
}

var basisRank = map[Basis]int{BasisMeasured: 0, BasisDesign: 1, BasisDimensions: 2, BasisPrior: 3}

func weaker(a, b Basis) Basis {
	if basisRank[b] > basisRank[a] {
		return b
	}
	return a
}

// levelReports sums up the sizes of the effects.
func (m *Model) levelReports(e *engine) []LevelReport {
	var out []LevelReport
	for _, l := range e.sys.levels {
		out = append(out, LevelReport{Name: l.name, Blocks: l.blocks, Seen: l.seenCount(), SD: m.typicalSize(l)})
	}
	return out
}

// typicalSize is the root mean variance of a level's effect over the usual
// notes after the mean is removed.
func (m *Model) typicalSize(l *level) float64 {
	coef := l.coef[0]
	if coef == nil {
		coef = pattern(l.p, func(i, j int) float64 { return same(i == j) }).a
	}
	b := m.centred(coef, m.usual)
	sum := 0.0
	half := make([]float64, l.p)
	for i := range m.usual {
		row := b[i*l.p:][:l.p]
		times(l.cov.a, row, half)
		sum += dot(row, half)
	}
	if l.loads != nil {
		sum *= dimensionCount
	}
	return math.Sqrt(sum / float64(len(m.usual)))
}

// String says where a report's fit stands.
func (r Report) String() string {
	return fmt.Sprintf("%d readings in %d sessions, %d unknowns, %d learning steps", r.Readings, r.Sessions, r.Unknowns, r.Steps)
}
