package fit

import "slices"

// priorMeans is what the model expects before any reading: the common tendency of
// B-flat trumpets, what the known dimensions of a mouthpiece do to the generic air
// column, and what the described bore of a horn does.
type priorMeans struct {
	common     []float64   // J cents
	horns      [][]float64 // J cents each; nil if nothing is expected of the horn
	dimensions *level      // nil if nothing is known of dimensions

	rows  [][]float64 // J cents: what is expected of sessions
	rowOf []int32     // per session, into rows
}

func newPriorMeans(d *Data, levels []*level) priorMeans {
	m := priorMeans{common: commonMean(d.Slots), horns: make([][]float64, len(d.Horns)), rowOf: make([]int32, len(d.sessions))}
	for i, h := range d.Horns {
		if h.Bore != nil {
			m.horns[i] = expectedOfBore(*h.Bore, d.Slots)
		}
	}
	if i := slices.IndexFunc(levels, func(l *level) bool { return l.loads != nil }); i >= 0 {
		m.dimensions = levels[i]
	}
	m.addRows(d.sessions)
	return m
}

// addRows sums up what is expected of each session; sessions of which the same is
// expected share a row.
func (m *priorMeans) addRows(sessions []sessionRow) {
	type parts struct{ horn, dimensions int32 } // -1: nothing is expected
	known := map[parts]int32{}
	for i, s := range sessions {
		p := parts{-1, -1}
		if m.horns[s.horn] != nil {
			p.horn = s.horn
		}
		if m.dimensions != nil {
			p.dimensions = m.dimensions.sessionRow[i]
		}
		row, ok := known[p]
		if !ok {
			row = int32(len(m.rows))
			known[p] = row
			m.rows = append(m.rows, m.sum(p.horn, p.dimensions))
		}
		m.rowOf[i] = row
	}
}

// sum is what is expected of a horn with a row of the level of dimensions.
func (m *priorMeans) sum(horn, row int32) []float64 {
	out := slices.Clone(m.common)
	if horn >= 0 {
		add(m.horns[horn], out)
	}
	if row >= 0 {
		l := m.dimensions
		coefficients := loadedSum(l.expected, l.loads[row*dimensionCount:][:dimensionCount], make([]float64, l.p))
		cents := make([]float64, len(out))
		times(l.coef[l.rowClass[row]], coefficients, cents)
		add(cents, out)
	}
	return out
}

// of is what is expected of a session, J cents.
func (m *priorMeans) of(session int) []float64 { return m.rows[m.rowOf[session]] }

// record puts the prior means into the tables.
func (m *priorMeans) record(tables *[effects]table) {
	copy(tables[effectCommon].mean(0), m.common)
	for i, cents := range m.horns {
		copy(tables[effectHorn].mean(i), cents)
	}
	if l := m.dimensions; l != nil {
		t := &tables[effectMouthpiece]
		for i, z := range l.itemLoads {
			loadedSum(l.expected, z[:], t.mean(i))
		}
	}
}

// loadedSum adds the coefficients of each dimension (dimensions x p) times its
// load to out (p), and gives that.
func loadedSum(coefficients, loads, out []float64) []float64 {
	p := len(out)
	for d, z := range loads {
		axpy(z, coefficients[d*p:(d+1)*p], out)
	}
	return out
}
