package fit

import "sync/atomic"

// partBytes is about how much of a table lies together in one part: a stored fit
// is read part by part, as it is asked for. Of one item no more than this need be
// read, and all of a table takes few reads.
const partBytes = 200_000

// itemsTogether is how many items make a part of a table; the stored format rests
// on it.
func itemsTogether(width, draws int) int {
	return max(1, partBytes/max(1, width*(8+4*draws)))
}

// table keeps vectors of one width for many items: the mean of each and its
// deviation in every draw.
type table struct {
	width, draws, items int
	together            int // items in a part
	parts               []atomic.Pointer[part]
}

// part is a stretch of a table, item by item so that one item lies together.
type part struct {
	mean       []float64 // items x width
	deviations []float32 // items x draws x width
}

// newTable makes a table with all its parts, of zeros.
func newTable(items, width, draws int) table {
	t := emptyTable(items, width, draws)
	for i := range t.parts {
		n := t.partLength(i)
		t.parts[i].Store(&part{make([]float64, n*width), make([]float32, n*draws*width)})
	}
	return t
}

// emptyTable makes a table whose parts are still to be stored.
func emptyTable(items, width, draws int) table {
	together := itemsTogether(width, draws)
	return table{width, draws, items, together, make([]atomic.Pointer[part], (items+together-1)/together)}
}

// partLength is the number of items in a part.
func (t *table) partLength(i int) int { return min(t.together, t.items-i*t.together) }

func (t *table) mean(item int) []float64 {
	return t.parts[item/t.together].Load().mean[item%t.together*t.width:][:t.width]
}

func (t *table) deviation(item, draw int) []float32 {
	at := (item%t.together*t.draws + draw) * t.width
	return t.parts[item/t.together].Load().deviations[at:][:t.width]
}

// deviations are those of an item in all draws, draws x width.
func (t *table) deviations(item int) []float32 {
	n := t.draws * t.width
	return t.parts[item/t.together].Load().deviations[item%t.together*n:][:n]
}

// newTables makes room for the effects of the model.
func (e *engine) newTables(draws int) (t [effects]table) {
	d, j := e.data, len(e.data.Slots)
	t[effectCommon] = newTable(1, j, draws)
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
	e.prior.record(&t)
	return t
}

// record adds the coefficients that whitened unknowns u and the pairs'
// interactions stand for to every item's vector.
func (e *engine) record(tables *[effects]table, u, pair []float64, addTo func(t *table, item int, coefficients []float64)) {
	scratch, out := make([]float64, len(e.data.Slots)), make([]float64, len(e.data.Slots))
	for _, l := range e.sys.levels {
		t := &tables[l.into]
		for i := range t.items {
			if l.itemCoefficients(u, i, scratch, out) {
				addTo(t, i, out[:l.p])
			}
		}
	}
	t := &tables[effectPair]
	for p := range t.items {
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
