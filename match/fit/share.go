package fit

// share is what one item adds to the predictions that it takes part in.
type share struct {
	mean   []float64 // n
	draws  []float64 // draws x drawn, the mean included
	centre []float64 // drawn: the mean of the draws
}

func (m *Model) newShare(f *frame) share {
	slab := make([]float64, f.n+(m.draws()+1)*f.drawn)
	return share{slab[:f.n], slab[f.n+f.drawn:], slab[f.n:][:f.drawn]}
}

// sharer works out shares, in memory that it uses again. Each goroutine has its
// own.
type sharer struct {
	m    *Model
	wide []float64 // deviations of one item, draws x width
	sum  []float64 // J
}

func (m *Model) newSharer() *sharer { return &sharer{m: m, sum: make([]float64, len(m.slots))} }

// deviations are those of an item in all draws, draws x width; good until the
// next call.
func (w *sharer) deviations(t *table, item int) []float64 {
	from := t.deviations(item)
	if len(w.wide) < len(from) {
		w.wide = make([]float64, len(from))
	}
	return widen(w.wide, from)
}

func widen(dst []float64, src []float32) []float64 {
	for i, v := range src {
		dst[i] = float64(v)
	}
	return dst[:len(src)]
}

// horn sets s to the share of a horn with what is common to all setups; -1 is a
// typical horn.
func (w *sharer) horn(f *frame, item int, s share) {
	common, horns := &w.m.tables[effectCommon], &w.m.tables[effectHorn]
	sum := w.sum
	for k := -1; k < common.draws; k++ {
		copy(sum, common.mean(0))
		if item >= 0 {
			add(horns.mean(item), sum)
		}
		if k < 0 {
			f.spread(sum, s.mean)
			continue
		}
		addNarrow(common.deviation(0, k), sum)
		if item >= 0 {
			addNarrow(horns.deviation(item, k), sum)
		}
		f.spread(sum, s.draws[k*f.drawn:][:f.drawn])
	}
	meanRow(s.draws, s.centre)
}

// addNarrow adds x to y.
func addNarrow(x []float32, y []float64) {
	y = y[:len(x)]
	for i, v := range x {
		y[i] += float64(v)
	}
}

// mouthpiece sets s to the share of a mouthpiece.
func (w *sharer) mouthpiece(f *frame, item int, s share) {
	w.smooth(f, f.mouthpiece, effectMouthpiece, item, s)
	w.addSlots(f, effectMouthpieceSlots, item, s)
	meanRow(s.draws, s.centre)
}

// player sets s to the share of a player.
func (w *sharer) player(f *frame, item int, s share) {
	w.smooth(f, f.smooth, effectPlayer, item, s)
	w.addSlots(f, effectPlayerSlots, item, s)
	meanRow(s.draws, s.centre)
}

// pair sets s to the share of a pair that was measured.
func (w *sharer) pair(f *frame, item int, s share) {
	w.smooth(f, f.wiggle(), effectPair, item, s)
	meanRow(s.draws, s.centre)
}

// smooth sets s to what an item's coefficients make of a basis.
func (w *sharer) smooth(f *frame, b basis, e effect, item int, s share) {
	t := &w.m.tables[e]
	times(b.rows, t.mean(item), s.mean)
	b.sound(w.deviations(t, item), s.draws)
	for k := range t.draws {
		add(s.mean[:f.drawn], s.draws[k*f.drawn:])
	}
}

// addSlots adds to s what the model says of an item slot by slot, if it does.
func (w *sharer) addSlots(f *frame, e effect, item int, s share) {
	t := &w.m.tables[e]
	if t.width == 0 {
		return
	}
	part := make([]float64, f.n)
	f.spread(t.mean(item), part)
	add(part, s.mean)
	for k := range t.draws {
		add(part[:f.drawn], s.draws[k*f.drawn:])
	}
	deviations := w.deviations(t, item)
	for k := range t.draws {
		f.spread(deviations[k*t.width:][:t.width], part[:f.drawn])
		add(part[:f.drawn], s.draws[k*f.drawn:][:f.drawn])
	}
}
