package fit

import (
	"fmt"
	"math"
	"math/rand/v2"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// frame is how the tables' coefficients sound on the slots asked for, on
// instruments of one transposition, with the mean over the usual notes removed.
type frame struct {
	n          int
	index      []int     // of each slot in the model's
	mouthpiece []float64 // n x 1+smoothKnots, centred
	smooth     []float64 // n x smoothKnots, centred
	wiggle     []float64 // n x smoothKnots, centred: the whitened basis of an unmeasured pair's interaction
}

func (m *Model) newFrame(slots []pitch.Slot, transposition int) (*frame, error) {
	f := &frame{n: len(slots)}
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
	f.mouthpiece = m.centred(mouthpieceBasis(m.slots, transposition), f.index)
	f.smooth = m.centred(m.smooth, f.index)
	f.wiggle = m.centred(whitenedSmooth(m.slots), f.index)
	return f, nil
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
	for i, s := range setups {
		p, err := m.place(s)
		if err != nil {
			return nil, err
		}
		if frames[p.transposition] == nil {
			if frames[p.transposition], err = m.newFrame(slots, p.transposition); err != nil {
				return nil, err
			}
		}
		if err := m.fetch(p); err != nil {
			return nil, err
		}
		places[i] = p
	}
	out := make([]Prediction, len(setups))
	parallel(len(setups), func(lo, hi int) {
		c := newCaster(m)
		for i := lo; i < hi; i++ {
			p := places[i]
			out[i] = c.cast(p, frames[p.transposition])
			out[i].Setup, out[i].Slots = setups[i], slots
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
	find := func(kind string, id catalog.ID, at map[catalog.ID]int, into *int) error {
		if id == "" {
			return nil
		}
		i, ok := at[id]
		if !ok {
			return catalog.Errorf(catalog.NotFound, "run centwise fit", "the fit does not know %s %s", kind, id)
		}
		*into = i
		return nil
	}
	if err := find("horn", s.Horn, m.hornAt, &p.horn); err != nil {
		return p, err
	}
	if err := find("mouthpiece", s.Mouthpiece, m.mouthpieceAt, &p.mouthpiece); err != nil {
		return p, err
	}
	if err := find("player", s.Player, m.playerAt, &p.player); err != nil {
		return p, err
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

// caster turns places into predictions; it keeps what consecutive setups with
// one horn share. Each goroutine has its own.
type caster struct {
	m          *Model
	horn       int
	frame      *frame
	hornMean   []float64 // n
	commonMean []float64
	base       []float64 // draws x n: common and horn
	scratch    []float64
	coef       []float64
}

func newCaster(m *Model) *caster {
	return &caster{m: m, horn: -2, scratch: make([]float64, len(m.slots)), coef: make([]float64, 1+2*smoothKnots)}
}

// spread writes a J-vector's entries at the frame's slots, centred.
func (c *caster) spread(f *frame, v []float64, out []float64) {
	mean := 0.0
	for _, i := range c.m.usual {
		mean += v[i]
	}
	mean /= float64(len(c.m.usual))
	for k, i := range f.index {
		out[k] = v[i] - mean
	}
}

func widen(dst []float64, src []float32) []float64 {
	for i, v := range src {
		dst[i] = float64(v)
	}
	return dst[:len(src)]
}

// prepare computes what every setup with this horn has in common.
func (c *caster) prepare(p setupPlace, f *frame) {
	if c.frame == f && c.horn == p.horn {
		return
	}
	c.frame, c.horn = f, p.horn
	m, n := c.m, f.n
	c.commonMean, c.hornMean = make([]float64, n), make([]float64, n)
	c.spread(f, m.tables[effectCommon].mean(0), c.commonMean)
	if p.horn >= 0 {
		c.spread(f, m.tables[effectHorn].mean(p.horn), c.hornMean)
	}
	c.base = make([]float64, m.tables[effectCommon].draws*n)
	sum := make([]float64, len(m.slots))
	for k := range m.tables[effectCommon].draws {
		copy(sum, widen(c.scratch, m.tables[effectCommon].deviation(0, k)))
		if p.horn >= 0 {
			add(widen(c.scratch, m.tables[effectHorn].deviation(p.horn, k)), sum)
		}
		row := c.base[k*n:][:n]
		c.spread(f, sum, row)
		add(c.commonMean, row)
		add(c.hornMean, row)
	}
}

// times sets out = basis coef for a basis of len(out) rows.
func times(basis, coef, out []float64) {
	p := len(coef)
	for i := range out {
		out[i] = dot(basis[i*p:][:p], coef)
	}
}

func (c *caster) cast(p setupPlace, f *frame) Prediction {
	c.prepare(p, f)
	m, n := c.m, f.n
	draws := m.tables[effectCommon].draws
	slab := make([]float64, (6+draws)*n)
	next := func() []float64 {
		v := slab[:n:n]
		slab = slab[n:]
		return v
	}
	out := Prediction{Common: next(), Horn: next(), Mouthpiece: next(), Player: next(), Pair: next(), Mean: next()}
	copy(out.Common, c.commonMean)
	copy(out.Horn, c.hornMean)
	c.means(p, f, &out)
	for i := range n {
		out.Mean[i] = out.Common[i] + out.Horn[i] + out.Mouthpiece[i] + out.Player[i] + out.Pair[i]
	}
	out.Draws = make([][]float64, draws)
	variance := make([]float64, n)
	pairRandom := c.pairRandom(p)
	for k := range out.Draws {
		d := next()
		copy(d, c.base[k*n:][:n])
		for i := range n {
			d[i] += out.Mouthpiece[i] + out.Player[i] + out.Pair[i]
		}
		c.deviate(p, f, k, d, pairRandom)
		for i, v := range d {
			variance[i] += (v - out.Mean[i]) * (v - out.Mean[i])
		}
		out.Draws[k] = d
	}
	out.SD = variance
	for i, v := range variance {
		out.SD[i] = math.Sqrt(v / float64(draws))
	}
	out.Evidence = m.evidence(p)
	out.Linked = p.horn < 0 || p.mouthpiece < 0 || m.horns[p.horn].Record.Part == m.mouthpieces[p.mouthpiece].Part
	return out
}

// means fills in the shares of mouthpiece, player and pair.
func (c *caster) means(p setupPlace, f *frame, out *Prediction) {
	m := c.m
	free := func(t *table, item int, into []float64) {
		if t.width == 0 {
			return
		}
		part := make([]float64, f.n)
		c.spread(f, t.mean(item), part)
		add(part, into)
	}
	if p.mouthpiece >= 0 {
		times(f.mouthpiece, m.tables[effectMouthpiece].mean(p.mouthpiece), out.Mouthpiece)
		free(&m.tables[effectMouthpieceSlots], p.mouthpiece, out.Mouthpiece)
	}
	if p.player >= 0 {
		times(f.smooth, m.tables[effectPlayer].mean(p.player), out.Player)
		free(&m.tables[effectPlayerSlots], p.player, out.Player)
	}
	if p.pair >= 0 {
		times(f.wiggle, m.tables[effectPair].mean(p.pair), out.Pair)
	}
}

// pairRandom is the source of an unmeasured pair's unknown interaction: its
// own for every pair, the same whenever the pair is asked for.
func (c *caster) pairRandom(p setupPlace) *rand.Rand {
	if p.pair >= 0 || p.horn < 0 || p.mouthpiece < 0 {
		return nil
	}
	return rand.New(rand.NewPCG(c.m.Seed, uint64(p.horn)<<32|uint64(p.mouthpiece)))
}

// deviate adds draw k's deviations of mouthpiece, player and pair to d.
func (c *caster) deviate(p setupPlace, f *frame, k int, d []float64, random *rand.Rand) {
	m := c.m
	apply := func(basis []float64, coef []float64) {
		q := len(coef)
		for i := range d {
			d[i] += dot(basis[i*q:][:q], coef)
		}
	}
	free := func(t *table, item int) {
		if t.width == 0 {
			return
		}
		part := make([]float64, f.n)
		c.spread(f, widen(c.scratch, t.deviation(item, k)), part)
		add(part, d)
	}
	if p.mouthpiece >= 0 {
		apply(f.mouthpiece, widen(c.coef, m.tables[effectMouthpiece].deviation(p.mouthpiece, k)))
		free(&m.tables[effectMouthpieceSlots], p.mouthpiece)
	}
	if p.player >= 0 {
		apply(f.smooth, widen(c.coef, m.tables[effectPlayer].deviation(p.player, k)))
		free(&m.tables[effectPlayerSlots], p.player)
	}
	switch {
	case p.pair >= 0:
		apply(f.wiggle, widen(c.coef, m.tables[effectPair].deviation(p.pair, k)))
	case random != nil:
		coef := c.coef[:smoothKnots]
		for i := range coef {
			coef[i] = m.Components.Interaction * random.NormFloat64()
		}
		apply(f.wiggle, coef)
	}
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
