package fit

// table keeps vectors of one width for many items: the mean of each and its
// deviation in every draw, item by item so that one item lies together.
type table struct {
	Width, Draws int
	Mean         []float64 // items x width
	Deviations   []float32 // items x draws x width
}

func newTable(items, width, draws int) table {
	return table{width, draws, make([]float64, items*width), make([]float32, items*draws*width)}
}

func (t *table) items() int {
	if t.Width == 0 {
		return 0
	}
	return len(t.Mean) / t.Width
}

func (t *table) mean(item int) []float64 { return t.Mean[item*t.Width:][:t.Width] }

func (t *table) deviation(item, draw int) []float32 {
	return t.Deviations[(item*t.Draws+draw)*t.Width:][:t.Width]
}

// newTables makes room for the effects of the model.
func (e *engine) newTables(draws int) (t [effects]table) {
	d, j := e.data, len(e.data.Slots)
	t[effectCommon] = newTable(1, j, draws)
	copy(t[effectCommon].mean(0), e.base)
	t[effectHorn] = newTable(len(d.Horns), j, draws)
	t[effectMouthpiece] = newTable(len(d.Mouthpieces), 1+smoothKnots, draws)
	t[effectPlayer] = newTable(len(d.Players), smoothKnots, draws)
	t[effectPair] = newTable(len(e.sys.terms.pairs), smoothKnots, draws)
	for _, l := range e.sys.levels {
		switch l.into {
		case effectMouthpieceSlots:
			t[l.into] = newTable(len(d.Mouthpieces), j, draws)
		case effectPlayerSlots:
			t[l.into] = newTable(len(d.Players), j, draws)
		}
	}
	return t
}

// record adds the coefficients that whitened unknowns u and the pairs'
// interactions stand for to every item's vector.
func (e *engine) record(tables *[effects]table, u, pair []float64, addTo func(t *table, item int, coefficients []float64)) {
	scratch, out := make([]float64, len(e.data.Slots)), make([]float64, len(e.data.Slots))
	for _, l := range e.sys.levels {
		t := &tables[l.into]
		for i := range t.items() {
			if l.itemCoefficients(u, i, scratch, out) {
				addTo(t, i, out[:l.p])
			}
		}
	}
	t := &tables[effectPair]
	for p := range t.items() {
		addTo(t, p, pair[p*smoothKnots:][:smoothKnots])
	}
}

// recordMean records the answer.
func (e *engine) recordMean(tables *[effects]table) {
	e.record(tables, e.answer.u, e.answer.pair, func(t *table, item int, c []float64) { add(c, t.mean(item)) })
}

// recordDraw records the deviation of draw k, truth less solution; it changes
// the truth.
func (e *engine) recordDraw(tables *[effects]table, st *state, k int) {
	axpy(-1, st.u, st.truth.u)
	axpy(-1, st.pair, st.truth.pair)
	e.record(tables, st.truth.u, st.truth.pair, func(t *table, item int, c []float64) {
		into := t.deviation(item, k)
		for i, v := range c {
			into[i] += float32(v)
		}
	})
}
