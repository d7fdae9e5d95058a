package fit

// priorMeans is what the model expects of a session before any reading: the
// common tendency of B-flat trumpets, and what the known dimensions of the
// mouthpiece do to the generic air column.
type priorMeans struct {
	common []float64 // J cents
	// byRow are J cents for each row of the level of dimensions, rowOf the rows
	// of sessions; nil if nothing is known of dimensions.
	byRow [][]float64
	rowOf []int32
}

func newPriorMeans(d *Data, levels []*level) priorMeans {
	m := priorMeans{common: commonMean(d.Slots)}
	for _, l := range levels {
		if l.loads == nil || l.expected == nil {
			continue
		}
		m.rowOf = l.sessionRow
		for r := range l.rows() {
			coefficients := loadedSum(l.expected, l.loads[r*dimensionCount:][:dimensionCount], make([]float64, l.p))
			cents := make([]float64, len(d.Slots))
			times(l.coef[l.rowClass[r]], coefficients, cents)
			add(m.common, cents)
			m.byRow = append(m.byRow, cents)
		}
	}
	return m
}

// of is what is expected of a session, J cents.
func (m *priorMeans) of(session int) []float64 {
	if m.byRow == nil {
		return m.common
	}
	return m.byRow[m.rowOf[session]]
}

// record puts the prior means into the tables.
func (m *priorMeans) record(tables *[effects]table, levels []*level) {
	copy(tables[effectCommon].mean(0), m.common)
	for _, l := range levels {
		if l.loads == nil || l.expected == nil {
			continue
		}
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
