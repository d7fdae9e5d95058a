package fit

import (
	"context"
	"math"
	"slices"
)

// nearSession is a session whose influence is wanted.
type nearSession struct {
	row        int
	cells      []int     // slots that were read, as indices of the model's
	precision  []float64 // of the cells
	off        []float64 // what the cells are off the setup's profile, cents
	covariance square    // R: of the cells, given the setup's profile
	parts      []sessionPart
}

// sessionPart is how a node enters the cells of a session: cells x width,
// whitened.
type sessionPart struct {
	node, width int
	rows        []float64
}

// solve sets the equations up from every session that touches the neighbourhood
// and solves them; near are the sessions to judge.
func (h *hood) solve(ctx context.Context, near []int) error {
	h.newTerms()
	keys, groups := h.layOut()
	width, dense := make([]int, len(keys)), 0
	for i, key := range keys {
		width[i] = h.widthOf(key)
		if h.eliminated(key) {
			dense = i + 1
		}
	}
	h.system = newBlockSystem(width, dense, groups)
	judged := make([]bool, len(h.d.sessions))
	for _, i := range near {
		judged[i] = true
	}
	at := map[int]*nearSession{}
	for i := range h.d.sessions {
		if !h.touches(i) {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		s := h.session(i)
		if len(s.cells) == 0 {
			continue
		}
		h.enter(s)
		if judged[i] {
			at[i] = s
		}
	}
	if !h.system.solve() {
		panic("fit: the equations around a setup are not positive definite")
	}
	for _, i := range near {
		if s := at[i]; s != nil {
			h.near = append(h.near, s)
		}
	}
	return nil
}

// newTerms prepares what is a session's own: constant, slide and the day.
func (h *hood) newTerms() {
	slots := h.m.slots
	h.terms = &absorbed{slots: len(slots), smooth: smoothKnots, own: 2 + smoothKnots}
	inverseLength := make([]float64, len(slots))
	for j, s := range slots {
		inverseLength[j] = 1 / s.Valves.Ratio()
	}
	h.smooth = whitenedSmooth(slots)
	h.terms.setTerms(&h.m.Components, inverseLength, h.smooth)
	h.pairBasis = scaled(h.smooth, h.m.Components.Interaction)
}

// eliminated tells whether a node goes before the others: pairs, then horns, then
// their designs touch few others.
func (h *hood) eliminated(key nodeKey) bool { return h.turn(key) < 3 }

// turn is when a node is eliminated.
func (h *hood) turn(key nodeKey) int {
	if key.level == len(h.levels) {
		return 0
	}
	switch h.levels[key.level].name {
	case levelHorn:
		return 1
	case levelHornDesign:
		return 2
	}
	return 3
}

func (h *hood) widthOf(key nodeKey) int {
	if key.level == len(h.levels) {
		return smoothKnots
	}
	return h.levels[key.level].q()
}

// layOut numbers the nodes in the order of their elimination and lists those that
// meet in a session.
func (h *hood) layOut() (keys []nodeKey, groups [][]int) {
	seen := map[nodeKey]bool{}
	var inSession [][]nodeKey
	collect := func(list []nodeKey) {
		for _, k := range list {
			if !seen[k] {
				seen[k] = true
				keys = append(keys, k)
			}
		}
	}
	for i := range h.d.sessions {
		if h.touches(i) {
			list := h.keysOf(i)
			collect(list)
			inSession = append(inSession, list)
		}
	}
	collect(h.keysOfSetup())
	slices.SortStableFunc(keys, func(a, b nodeKey) int { return h.turn(a) - h.turn(b) })
	for i, k := range keys {
		h.nodes[k] = i
	}
	for _, list := range inSession {
		var group []int
		for _, k := range list {
			group = append(group, h.nodes[k])
		}
		slices.Sort(group)
		groups = append(groups, group)
	}
	return keys, groups
}

// keysOf names the blocks of unknowns that a session has.
func (h *hood) keysOf(i int) []nodeKey {
	var out []nodeKey
	s := h.d.sessions[i]
	for k, l := range h.levels {
		item, in := h.itemIn(s, l)
		if farReaching(l) {
			in = h.whole
		}
		if b := l.block(max(0, item)); in && b >= 0 && !h.coarse(l, item) {
			out = append(out, nodeKey{k, b})
		}
	}
	if h.pairHasUnknowns(h.pairOf[i]) {
		out = append(out, nodeKey{len(h.levels), h.pairOf[i]})
	}
	return out
}

// itemIn is the item of a session that a level speaks of, and whether it has
// unknowns.
func (h *hood) itemIn(s sessionRow, l *level) (item int, in bool) {
	switch l.into {
	case effectHorn:
		return int(s.horn), h.horns[s.horn]
	case effectMouthpiece, effectMouthpieceSlots:
		return int(s.mouthpiece), h.mouthpieces[s.mouthpiece]
	case effectPlayer, effectPlayerSlots:
		return int(s.player), h.players[s.player]
	}
	return -1, true
}

// pairHasUnknowns tells whether a pair's interaction is among the unknowns: what
// one session alone has is part of its own terms.
func (h *hood) pairHasUnknowns(pair int) bool { return h.inPair[pair] > 1 || pair == h.pair }

// keysOfSetup names the blocks of the setup itself, some of which may have no
// session.
func (h *hood) keysOfSetup() []nodeKey {
	var out []nodeKey
	for k, l := range h.levels {
		if item := h.place.item(l.into); item >= 0 && (h.whole || !farReaching(l)) {
			if b := l.block(item); b >= 0 {
				out = append(out, nodeKey{k, b})
			}
		}
	}
	return out
}

// session works out a session's cells and their covariance.
func (h *hood) session(i int) *nearSession {
	s := &nearSession{row: i}
	place := h.placeOf(i)
	profile := h.profile(place)
	pair := make([]float64, len(profile))
	times(h.smooth, h.m.tables[effectPair].mean(place.pair), pair)
	add(pair, profile)
	y, d := h.weigh(i, profile)
	for j, w := range d {
		if w > 0 {
			s.cells = append(s.cells, j)
			s.precision = append(s.precision, w)
			s.off = append(s.off, y[j]-profile[j])
		}
	}
	s.parts = h.partsOf(i, s.cells)
	n := len(s.cells)
	s.covariance = newSquare(n)
	v := h.terms.v[1]
	if !h.pairHasUnknowns(h.pairOf[i]) {
		v = h.terms.v[0]
		for k, j := range s.cells {
			s.off[k] += pair[j] // the pair's part is one of the session's own then
		}
	}
	rows := make([]float64, 0, h.terms.own*n)
	for k := range h.terms.own {
		for _, j := range s.cells {
			rows = append(rows, v[k*h.terms.slots+j])
		}
	}
	rows = append(rows, h.outside(i, s.cells)...)
	transMul(s.covariance.a, rows, rows, n, len(rows)/n, n)
	for k, w := range s.precision {
		s.covariance.a[k*n+k] += 1/w + h.coarseVariance(i, s.cells[k])
	}
	return s
}

// coarseVariance is that of the differences slot by slot of a session's items that
// are not among the unknowns.
func (h *hood) coarseVariance(i, cell int) (sum float64) {
	for _, l := range h.levels {
		if item, in := h.itemIn(h.d.sessions[i], l); in && h.coarse(l, item) {
			sum += l.cov.a[cell*l.cov.n+cell]
		}
	}
	return sum
}

// weigh gives a session's cells and their precisions: like the fit, it tells
// gross readings by what is expected of the session.
func (h *hood) weigh(i int, profile []float64) (y, d []float64) {
	row, c, n := h.d.sessions[i], h.m.Components, len(profile)
	sd := c.SourceNoise[row.source]
	y, d = make([]float64, n), make([]float64, n)
	own, fitted, x := make([]float64, h.terms.own), make([]float64, n), make([]float64, n)
	one := &absorbed{slots: n, smooth: smoothKnots, own: h.terms.own, v: h.terms.v, gAt: []int32{0}, // own terms without the pair's
		f: make([]float64, h.terms.own*n), l: make([]float64, h.terms.own*h.terms.own)}
	for round := range weighRounds {
		clear(y)
		clear(d)
		for k := row.begin; k < row.end; k++ {
			cell := int(h.d.slot[k])
			g := 1 / (sd * sd)
			if round > 0 {
				off := h.d.cents[k] - profile[cell] - fitted[cell]
				good := c.goodShare(off*off+sd*sd/4, sd)
				g *= good + (1-good)/(c.GrossFactor*c.GrossFactor)
			}
			d[cell] += g
			y[cell] += g * h.d.cents[k]
		}
		for j, w := range d {
			x[j] = 0
			if w > 0 {
				y[j] /= w
				x[j] = y[j] - profile[j]
			}
		}
		one.updateSession(0, d, make([]float64, len(one.f)))
		one.ownTerms(0, x, own)
		clear(fitted)
		for k, v := range own {
			axpy(v, h.terms.v[1][k*n:][:n], fitted)
		}
	}
	return y, d
}

// weighRounds is how often the weights of a session's readings are found anew.
const weighRounds = 5

// partsOf gives the bases of a session's blocks at its cells.
func (h *hood) partsOf(i int, cells []int) []sessionPart {
	var out []sessionPart
	for _, key := range h.keysOf(i) {
		p := sessionPart{node: h.nodes[key], width: h.widthOf(key)}
		basis := h.pairBasis
		if key.level < len(h.levels) {
			l := h.levels[key.level]
			r := l.sessionRow[i]
			basis = l.basis[l.rowClass[r]]
			if l.loads != nil {
				basis = loaded(basis, l.p, [dimensionCount]float64(l.loads[int(r)*dimensionCount:][:dimensionCount]))
			}
		}
		for _, j := range cells {
			p.rows = append(p.rows, basis[j*p.width:][:p.width]...)
		}
		out = append(out, p)
	}
	slices.SortFunc(out, func(a, b sessionPart) int { return a.node - b.node })
	return out
}

// outside gives, as rows over the cells whose squares add up to its covariance,
// what the draws say of the session's items that have no unknowns.
func (h *hood) outside(i int, cells []int) []float64 {
	s, place := h.d.sessions[i], h.placeOf(i)
	place.pair = -1
	if h.horns[s.horn] {
		place.horn = -1
	}
	if h.mouthpieces[s.mouthpiece] {
		place.mouthpiece = -1
	}
	if h.players[s.player] {
		place.player = -1
	}
	if place.horn < 0 && place.mouthpiece < 0 && place.player < 0 {
		return nil
	}
	draws := h.m.draws()
	rows := make([]float64, 0, draws*len(cells))
	scale := 1 / math.Sqrt(float64(draws))
	sum := make([]float64, len(h.m.slots))
	for k := range draws {
		clear(sum)
		h.addItems(place, func(t *table, item int) []float64 {
			return widen(make([]float64, t.width), t.deviation(item, k))
		}, sum)
		for _, j := range cells {
			rows = append(rows, scale*sum[j])
		}
	}
	return rows
}

// profile is what the fit expects of a setup, the pair's interaction apart: J
// cents, the level included.
func (h *hood) profile(p setupPlace) []float64 {
	out := slices.Clone(h.m.tables[effectCommon].mean(0))
	h.addItems(p, (*table).mean, out)
	return out
}

// addItems adds to out (J cents) what value says of horn, mouthpiece and player;
// -1 is none.
func (h *hood) addItems(p setupPlace, value func(t *table, item int) []float64, out []float64) {
	tables, part := &h.m.tables, make([]float64, len(out))
	for _, x := range []struct {
		effect effect
		item   int
		basis  []float64 // nil: slot by slot
	}{
		{effectHorn, p.horn, nil}, {effectMouthpiece, p.mouthpiece, h.mouthpieceBasis(p.transposition)}, {effectMouthpieceSlots, p.mouthpiece, nil},
		{effectPlayer, p.player, h.m.smooth}, {effectPlayerSlots, p.player, nil},
	} {
		t := &tables[x.effect]
		switch {
		case x.item < 0 || t.items == 0:
		case x.basis == nil:
			add(value(t, x.item), out)
		default:
			times(x.basis, value(t, x.item), part)
			add(part, out)
		}
	}
}

// mouthpieceBasis is that of a class of instruments.
func (h *hood) mouthpieceBasis(transposition int) []float64 {
	b, ok := h.bases[transposition]
	if !ok {
		b = mouthpieceBasis(h.m.slots, transposition)
		h.bases[transposition] = b
	}
	return b
}

// enter adds a session to the equations.
func (h *hood) enter(s *nearSession) {
	n := len(s.cells)
	precision := square{n, slices.Clone(s.covariance.a)}
	if !precision.invertSPD() {
		panic("fit: the covariance of a session is not positive definite")
	}
	half := make([]float64, n*h.system.widest)
	block := make([]float64, h.system.widest*h.system.widest)
	for k, a := range s.parts {
		mul(half[:n*a.width], precision.a, a.rows, n, n, a.width)
		for _, b := range s.parts[k:] {
			transMul(block[:a.width*b.width], half[:n*a.width], b.rows, a.width, n, b.width)
			h.system.add(a.node, b.node, block[:a.width*b.width])
		}
	}
}
