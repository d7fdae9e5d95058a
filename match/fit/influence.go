package fit

import (
	"context"
	"math"

	"centwise/catalog"
	"centwise/catalog/pitch"

	"gonum.org/v1/gonum/mat"
)

// Influence says what a prediction owes to one session: how it would change if
// the session were not there and all else were.
type Influence struct {
	Session  string // its name
	Sequence int64  // order of recording in the catalog
	Readings int
	Shared   Shared
	// Shift is the prediction without the session less that with it, one a slot,
	// cents, its mean over the usual notes removed like that of a profile.
	Shift []float64
	// Widening are profiles, cents: without the session the covariance of the
	// prediction is larger by the sum of their outer products.
	Widening [][]float64
}

// Shared says what a session has in common with a setup. Without a horn, a
// mouthpiece or a player in the setup, nobody shares it.
type Shared struct {
	Horn, Mouthpiece, Player     bool
	HornDesign, MouthpieceDesign bool // another specimen of the design
}

// Any tells whether there is something.
func (s Shared) Any() bool { return s != Shared{} }

// Influences are those of the sessions behind a prediction, in the order of
// recording.
type Influences struct {
	List []Influence
	// Whole says that the catalog was small enough for List to hold every session.
	// Else it holds those that share something with the setup, as many as
	// influenceSessions of them.
	Whole bool
	// Sessions is how many the catalog has; Left how many share something with
	// the setup and are not in List.
	Sessions, Left int
}

// influenceSessions is how many sessions Influences looks at in a large catalog.
const influenceSessions = 400

// Influences tells what the prediction of a setup owes to each session, the
// components and the weights of readings being held as they are: with R the
// covariance of the session's cells given its setup's profile, C what the fit
// does not know of that profile, c what this has in common with what it does not
// know of the prediction, and r what the session's cells are off,
//
//	prediction with - without = c (R - C)^-1 r
//	covariance without - with = c (R - C)^-1 c'
//
// In a small catalog that is exact. In a large one C and c come from the
// equations of the gear and the players around the setup; what lies farther away
// is given the uncertainty that the fit's draws have.
//
// Errors are those of [Model.Predict] and of the store; Conflict if the catalog
// is not the one that was fitted.
func (m *Model) Influences(ctx context.Context, store catalog.Store, s Setup, slots []pitch.Slot, progress catalog.Counter) (*Influences, error) {
	return m.influences(ctx, store, s, slots, progress, influenceBudget)
}

func (m *Model) influences(ctx context.Context, store catalog.Store, s Setup, slots []pitch.Slot, progress catalog.Counter, budget int) (*Influences, error) {
	d, err := Load(ctx, store, progress)
	if err != nil {
		return nil, err
	}
	if d.Digest != m.Digest {
		return nil, catalog.Errorf(catalog.Conflict, "run the command again", "the catalog was changed meanwhile")
	}
	place, err := m.place(s)
	if err != nil {
		return nil, err
	}
	f, err := m.newFrame(slots, len(slots), place.transposition)
	if err != nil {
		return nil, err
	}
	h, err := m.newHood(ctx, d, place, budget)
	if err != nil {
		return nil, err
	}
	progress.Start("weighing the sessions", int64(len(h.near)))
	defer progress.Done()
	answer := h.answer(f)
	out := &Influences{Whole: h.whole, Sessions: len(d.sessions), Left: h.left}
	for _, n := range h.near {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		row := d.sessions[n.row]
		x := Influence{Session: row.name, Sequence: row.sequence, Readings: int(row.end - row.begin), Shared: h.shared(n.row)}
		x.Shift, x.Widening = h.influence(answer, n, f.n)
		out.List = append(out.List, x)
		progress.Add(1)
	}
	return out, nil
}

// answerPart is how a node of the equations enters the prediction: slots x width.
type answerPart struct {
	node int
	rows []float64
}

// answer says how the prediction of the setup is made of the nodes.
func (h *hood) answer(f *frame) []answerPart {
	var out []answerPart
	take := func(key nodeKey, cents []float64) {
		if node, ok := h.nodes[key]; ok {
			out = append(out, answerPart{node, h.m.centred(cents, f.index)})
		}
	}
	for i, l := range h.levels {
		item := h.place.item(l.into)
		if item < 0 && l.into != effectCommon {
			continue
		}
		block := l.block(max(0, item))
		if block < 0 {
			continue
		}
		cents := l.basis[h.classOfSetup(l)]
		if l.loads != nil {
			cents = loaded(cents, l.p, l.itemLoads[item])
		}
		take(nodeKey{i, block}, cents)
	}
	if h.pair >= 0 {
		take(nodeKey{len(h.levels), h.pair}, h.pairBasis)
	}
	return out
}

// item is the place of the item that an effect belongs to, -1 for a typical one.
func (p setupPlace) item(e effect) int {
	switch e {
	case effectHorn:
		return p.horn
	case effectMouthpiece, effectMouthpieceSlots:
		return p.mouthpiece
	case effectPlayer, effectPlayerSlots:
		return p.player
	}
	return -1
}

// loaded is a basis (J x p) as the coefficients of all dimensions see it: J x
// dimensions p.
func loaded(basis []float64, p int, loads [dimensionCount]float64) []float64 {
	n := len(basis) / p
	out := make([]float64, 0, n*p*dimensionCount)
	for i := range n {
		for _, z := range loads {
			for _, v := range basis[i*p:][:p] {
				out = append(out, z*v)
			}
		}
	}
	return out
}

// influence works out shift and widening of the n slots of a prediction.
func (h *hood) influence(answer []answerPart, s *nearSession, n int) (shift []float64, widening [][]float64) {
	j := len(s.cells)
	c := make([]float64, n*j)
	for _, b := range s.parts {
		sum := make([]float64, n*b.width)
		for _, a := range answer {
			cov := h.system.covariance(a.node, b.node)
			part := make([]float64, len(sum))
			mul(part, a.rows, cov, n, h.system.width[a.node], b.width)
			add(part, sum)
		}
		part := make([]float64, len(c))
		mulTrans(part, sum, b.rows, n, b.width, j)
		add(part, c)
	}
	left := h.remaining(s)
	// With left = L L': rows of y = L^-1 [c' r].
	y := make([]float64, j*(n+1))
	for i := range j {
		for k := range n {
			y[i*(n+1)+k] = c[k*j+i]
		}
		y[i*(n+1)+n] = s.off[i]
	}
	solveLower(left, y, n+1)
	shift = make([]float64, n)
	cov := mat.NewSymDense(n, nil)
	for i := range j {
		row := y[i*(n+1):][:n+1]
		axpy(-row[n], row[:n], shift)
		cov.SymRankOne(cov, 1, mat.NewVecDense(n, row[:n]))
	}
	return shift, principal(cov)
}

// remaining is the lower factor of R - C of a session: the covariance that the
// residuals of its cells have.
func (h *hood) remaining(s *nearSession) square {
	j := len(s.cells)
	known := newSquare(j)
	half, part := make([]float64, j*h.system.widest), newSquare(j)
	for _, a := range s.parts {
		for _, b := range s.parts {
			mul(half[:j*b.width], a.rows, h.system.covariance(a.node, b.node), j, a.width, b.width)
			mulTrans(part.a, half[:j*b.width], b.rows, j, b.width, j)
			add(part.a, known.a)
		}
	}
	// The equations make C less than R; where rounding, or what is not known
	// well of gear farther away, says otherwise, a little is left over.
	for share := 1.0; ; share *= 0.98 {
		left := square{j, append([]float64(nil), s.covariance.a...)}
		axpy(-share, known.a, left.a)
		if left.cholesky() {
			return left
		}
	}
}

// leastWidening is the share of a covariance's trace below which its directions
// are left out.
const leastWidening = 1e-3

// principal takes a covariance apart into profiles, the largest first.
func principal(cov *mat.SymDense) [][]float64 {
	var eigen mat.EigenSym
	trace := mat.Trace(cov)
	if trace <= 0 || !eigen.Factorize(cov, true) {
		return nil
	}
	values := eigen.Values(nil)
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	var out [][]float64
	for k := len(values) - 1; k >= 0 && values[k] > leastWidening*trace; k-- {
		v := column(&vectors, k)
		for i := range v {
			v[i] *= math.Sqrt(values[k])
		}
		out = append(out, v)
	}
	return out
}
