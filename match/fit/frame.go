package fit

import (
	"fmt"
	"math/rand/v2"
	"sync"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// frame is how the tables' coefficients sound on the slots asked for, on
// instruments of one transposition, with the mean over the usual notes removed.
// Means are wanted on all n slots, draws on the first drawn of them.
type frame struct {
	n, drawn   int
	index      []int     // of each slot in the model's
	usual      []int     // the default range as indices of the model's slots
	common     []float64 // n: what is common to all setups
	mouthpiece basis
	smooth     basis
	wiggle     func() basis // whitened: of the interaction of a pair
	unknown    []func() *unknownPair
}

// basis says what coefficients are worth in cents on the slots of a frame.
type basis struct {
	width   int
	rows    []float64 // n x width
	columns []float64 // width x drawn, the first rows transposed
}

func (m *Model) newFrame(slots []pitch.Slot, drawn, transposition int) (*frame, error) {
	f := &frame{n: len(slots), drawn: drawn, usual: m.usual}
	for _, s := range slots {
		i, ok := m.slotIndex[s]
		if !s.Valid() {
			return nil, catalog.Errorf(catalog.NotFound, fmt.Sprintf("use partials 1 to %d and valves 1 to 4", pitch.MaxPartial),
				"there is no slot with partial %d and valves %#b", s.Partial, s.Valves)
		}
		if !ok {
			return nil, catalog.Errorf(catalog.NotFound, "measure it once and the fit will answer for it",
				"no session has slot %s (%s) and it is not one of the standard slots", s, s.Note())
		}
		f.index = append(f.index, i)
	}
	f.mouthpiece = m.basis(f, mouthpieceBasis(m.slots, transposition))
	f.smooth = m.basis(f, m.smooth)
	f.common = make([]float64, f.n)
	f.spread(m.tables[effectCommon].mean(0), f.common)
	f.wiggle = sync.OnceValue(func() basis { return m.basis(f, whitenedSmooth(m.slots)) })
	for i := range unknownPairs(m.draws()) {
		f.unknown = append(f.unknown, sync.OnceValue(func() *unknownPair { return m.newUnknownPair(f, i) }))
	}
	return f, nil
}

// basis takes the rows of a J-row matrix that a frame asks for.
func (m *Model) basis(f *frame, rows []float64) basis {
	b := basis{width: len(rows) / len(m.slots), rows: m.centred(rows, f.index)}
	b.columns = make([]float64, b.width*f.drawn)
	for i := range f.drawn {
		for k := range b.width {
			b.columns[k*f.drawn+i] = b.rows[i*b.width+k]
		}
	}
	return b
}

// draws is how many joint draws there are.
func (m *Model) draws() int { return m.tables[effectCommon].draws }

// sound sets out (draws x drawn) to what coefficients (draws x width) are worth.
func (b basis) sound(coef, out []float64) {
	if drawn := len(b.columns) / b.width; drawn > 0 {
		mul(out, coef, b.columns, len(coef)/b.width, b.width, drawn)
	}
}

// centred picks rows of a J-row matrix and subtracts the mean of the rows of
// the usual notes.
func (m *Model) centred(basis []float64, index []int) []float64 {
	p := len(basis) / len(m.slots)
	mean := make([]float64, p)
	for _, i := range m.usual {
		axpy(1/float64(len(m.usual)), basis[i*p:][:p], mean)
	}
	out := make([]float64, 0, len(index)*p)
	for _, i := range index {
		row := append([]float64(nil), basis[i*p:][:p]...)
		axpy(-1, mean, row)
		out = append(out, row...)
	}
	return out
}

// spread writes a J-vector's entries at the frame's slots, as many as out holds,
// centred.
func (f *frame) spread(v, out []float64) {
	mean := 0.0
	for _, i := range f.usual {
		mean += v[i]
	}
	mean /= float64(len(f.usual))
	for k := range out {
		out[k] = v[f.index[k]] - mean
	}
}

// times sets out = basis coef for a basis of len(out) rows.
func times(basis, coef, out []float64) {
	p := len(coef)
	for i := range out {
		out[i] = dot(basis[i*p:][:p], coef)
	}
}

// unknownPair holds draws of the interaction of a pair that nobody measured.
// Every such pair has one of a few sets, from a draw of its own on and with a
// sign of its own: made anew for every pair they would take longer than all the
// rest of a prediction.
type unknownPair struct {
	draws  []float64 // draws x drawn, cents
	centre []float64 // drawn: their mean, nil if nought
}

// evenDraws is from how many draws on a set has exactly the mean and the
// covariance that the fit has learned, so that chance does not tell pairs apart
// of which nothing is known; fewer draws can't have.
const evenDraws = 2 * (1 + smoothKnots)

// unknownPairs is how many sets are made, so that with their signs and first
// draws there are some 1,500 different ones.
func unknownPairs(draws int) int { return max(8, 768/max(1, draws)) }

func (m *Model) newUnknownPair(f *frame, i int) *unknownPair {
	draws := m.draws()
	random := rand.New(rand.NewPCG(m.Seed, uint64(i)))
	coef := make([]float64, draws*smoothKnots)
	for j := range coef {
		coef[j] = random.NormFloat64()
	}
	if draws >= evenDraws {
		standardise(coef, smoothKnots)
	}
	for j := range coef {
		coef[j] *= m.Components.Interaction
	}
	u := &unknownPair{draws: make([]float64, draws*f.drawn)}
	f.wiggle().sound(coef, u.draws)
	if draws < evenDraws {
		u.centre = make([]float64, f.drawn)
		meanRow(u.draws, u.centre)
	}
	return u
}

// standardise shifts and turns the rows of x, p numbers each, so that their mean
// is nought and their mean square the identity.
func standardise(x []float64, p int) {
	n := len(x) / p
	mean := make([]float64, p)
	meanRow(x, mean)
	second := newSquare(p)
	for i := range n {
		row := x[i*p:][:p]
		axpy(-1, mean, row)
		for a, v := range row {
			axpy(v/float64(n), row, second.row(a))
		}
	}
	if !second.cholesky() {
		return // fewer rows than p
	}
	for i := range n {
		solveLower(second, x[i*p:][:p], 1)
	}
}

// meanRow sets mean to the mean of the rows of x.
func meanRow(x, mean []float64) {
	p := len(mean)
	clear(mean)
	for i := 0; i < len(x); i += max(1, p) {
		add(x[i:][:p], mean)
	}
	for j := range mean {
		mean[j] /= float64(len(x) / p)
	}
}
