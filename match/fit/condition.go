package fit

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
)

// condition takes one session into the model's tables.
func (r *region) condition(ctx context.Context, f freshSession) error {
	d, err := r.data(f)
	if err != nil {
		return err
	}
	at := slices.IndexFunc(d.sessions, func(s sessionRow) bool { return s.apart })
	if at < 0 {
		return nil
	}
	e := r.engine(d)
	c := &conditioner{r: r, e: e, f: f, row: at, slots: len(d.Slots)}
	if err := c.prepare(); err != nil {
		return err
	}
	if err := c.weigh(ctx); err != nil {
		return err
	}
	return c.update(ctx)
}

// conditioner works one new session into the model.
type conditioner struct {
	r        *region
	e        *engine
	f        freshSession
	row      int // the session among the region's
	slots    int
	expected []float64   // J: what the model says of the session
	draws    [][]float64 // per draw, deviations from it
	observed []float64   // J: the session's cells, cents
}

// prepare fetches the parts that will change and predicts the session.
func (c *conditioner) prepare() error {
	m := c.r.m
	for places, e := range map[*map[int]int32][]effect{
		&c.r.horn: {effectHorn}, &c.r.mouthpiece: {effectMouthpiece, effectMouthpieceSlots}, &c.r.player: {effectPlayer, effectPlayerSlots},
	} {
		for item := range *places {
			for _, k := range e {
				if m.tables[k].items == 0 {
					continue
				}
				if err := m.fetchItem(item, k); err != nil {
					return err
				}
			}
		}
	}
	if c.f.place.pair >= 0 {
		if err := m.fetchItem(c.f.place.pair, effectPair); err != nil {
			return err
		}
	}
	c.expected = m.wholeProfile(c.f.place, -1)
	for k := range m.Report.Draws {
		c.draws = append(c.draws, m.wholeProfile(c.f.place, k))
	}
	return nil
}

// wholeProfile is the profile of a setup on the model's slots, its level
// included: the mean for draw -1, else the deviation of a draw.
func (m *Model) wholeProfile(p setupPlace, draw int) []float64 {
	out := make([]float64, len(m.slots))
	value := func(e effect, item int) []float64 {
		t := &m.tables[e]
		if draw < 0 {
			return t.mean(item)
		}
		return widen(make([]float64, t.width), t.deviation(item, draw))
	}
	addBasis := func(basis, coefficients []float64) {
		part := make([]float64, len(out))
		times(basis, coefficients, part)
		add(part, out)
	}
	add(value(effectCommon, 0), out)
	add(value(effectHorn, p.horn), out)
	addBasis(mouthpieceBasis(m.slots, p.transposition), value(effectMouthpiece, p.mouthpiece))
	if m.tables[effectMouthpieceSlots].items > 0 {
		add(value(effectMouthpieceSlots, p.mouthpiece), out)
	}
	if p.player >= 0 {
		addBasis(m.smooth, value(effectPlayer, p.player))
		if m.tables[effectPlayerSlots].items > 0 {
			add(value(effectPlayerSlots, p.player), out)
		}
	}
	if p.pair >= 0 {
		addBasis(whitenedSmooth(m.slots), value(effectPair, p.pair))
	}
	return out
}

// weigh finds the weights of the session's readings: gross ones are told by
// what the region makes of the session.
func (c *conditioner) weigh(ctx context.Context) error {
	e, j := c.e, c.slots
	var fitted []float64
	for range 4 {
		e.refresh()
		c.observed = slices.Clone(e.y[c.row*j:][:j])
		add(e.prior.of(c.row), c.observed)
		residual := make([]float64, j)
		for i := range residual {
			if e.sys.d[c.row*j+i] > 0 {
				residual[i] = c.observed[i] - c.expected[i]
			}
		}
		if err := c.solve(ctx, &e.answer, residual); err != nil {
			return err
		}
		fitted = e.answer.fitted[c.row*j:][:j]
		c.reweigh(fitted)
	}
	e.refresh()
	return nil
}

// reweigh gives the session's readings their expected precision.
func (c *conditioner) reweigh(fitted []float64) {
	e, j := c.e, c.slots
	row := e.data.sessions[c.row]
	sd := e.comp.SourceNoise[row.source]
	k2 := e.comp.GrossFactor * e.comp.GrossFactor
	w, y := e.sys.d[c.row*j:][:j], e.y[c.row*j:][:j]
	clear(w)
	clear(y)
	for k := row.begin; k < row.end; k++ {
		cell := int(e.data.slot[k])
		off := e.data.cents[k] - c.expected[cell] - fitted[cell]
		good := e.comp.goodShare(off*off+sd*sd/4, sd)
		g := (good + (1-good)/k2) / (sd * sd)
		w[cell] += g
		y[cell] += g * (e.data.cents[k] - e.prior.of(c.row)[cell])
	}
	for i, g := range w {
		if g > 0 {
			y[i] /= g
		}
	}
}

// solve finds in st what the residual of the session changes everywhere in
// the region, and the session's own terms.
func (c *conditioner) solve(ctx context.Context, st *state, residual []float64) error {
	e := c.e
	y := make([]float64, len(e.y))
	copy(y[c.row*c.slots:], residual)
	b := make([]float64, e.sys.unknowns)
	e.sys.rightHandSide(y, b, st.work)
	clear(st.u)
	if _, err := e.sys.solve(ctx, b, st.u, 3e-3, 200, st.work); err != nil {
		return err
	}
	e.recover(st, y)
	return nil
}

// update conditions the mean and every draw and adds the changes to the tables.
func (c *conditioner) update(ctx context.Context) error {
	e, m, j := c.e, c.r.m, c.slots
	draws := len(c.draws)
	newPair, pair := c.f.place.pair < 0, c.f.place.pair
	if newPair {
		var err error
		if pair, err = m.addPair(c.f.place); err != nil {
			return err
		}
	}
	changes := make([]map[effect]map[int][]float64, draws+1)
	err := eachOnWorkers(draws+1, func() func(k int) error {
		st := e.newState()
		return func(k int) error {
			residual := make([]float64, j)
			kappa := c.simulate(k-1, residual)
			for i := range residual {
				if e.sys.d[c.row*j+i] == 0 {
					residual[i] = 0
				}
			}
			if err := c.solve(ctx, &st, residual); err != nil {
				return err
			}
			changes[k] = c.changesOf(st.u)
			if newPair {
				p := slices.IndexFunc(e.sys.terms.pairs, func(p pairRange) bool { return int(p.first) == c.row })
				add(st.pair[p*smoothKnots:][:smoothKnots], kappa)
				changes[k][effectPair] = map[int][]float64{pair: kappa}
			}
			return nil
		}
	})
	if err != nil {
		return err
	}
	c.apply(changes)
	return nil
}

// simulate sets residual to what the session's cells are off the mean (draw -1)
// or off a made-up measurement in the world of a draw, and gives the
// interaction of an unmeasured pair in that world.
func (c *conditioner) simulate(draw int, residual []float64) (kappa []float64) {
	e, j := c.e, c.slots
	kappa = make([]float64, smoothKnots)
	for i := range residual {
		residual[i] = c.observed[i] - c.expected[i]
	}
	if draw < 0 {
		return kappa
	}
	rng := rand.New(rand.NewPCG(e.seed, uint64(c.f.sequence)<<16|uint64(draw)))
	made := slices.Clone(c.draws[draw])
	for k := range kappa {
		kappa[k] = e.comp.Interaction * rng.NormFloat64()
	}
	own := make([]float64, e.sys.terms.own)
	for k := range own {
		own[k] = rng.NormFloat64()
	}
	e.perturbSession(made, own, kappa, true)
	for i := range j {
		if d := e.sys.d[c.row*j+i]; d > 0 {
			made[i] += rng.NormFloat64() / math.Sqrt(d)
		}
		residual[i] -= made[i]
	}
	return kappa
}

// changesOf gives, by effect and item of the model, the coefficients that u
// stands for; changes too small to matter are left out.
func (c *conditioner) changesOf(u []float64) map[effect]map[int][]float64 {
	const matters = 0.02 // cents
	out := map[effect]map[int][]float64{}
	scratch, coefficients := make([]float64, c.slots), make([]float64, c.slots)
	for _, l := range c.e.sys.levels {
		places := c.r.horn
		switch l.into {
		case effectMouthpiece, effectMouthpieceSlots:
			places = c.r.mouthpiece
		case effectPlayer, effectPlayerSlots:
			places = c.r.player
		}
		if out[l.into] == nil {
			out[l.into] = map[int][]float64{}
		}
		for item, at := range places {
			if !l.itemCoefficients(u, int(at), scratch, coefficients) {
				continue
			}
			if v := out[l.into][item]; v != nil {
				add(coefficients[:l.p], v)
			} else if largest(coefficients[:l.p]) > matters {
				out[l.into][item] = slices.Clone(coefficients[:l.p])
			}
		}
	}
	return out
}

func largest(x []float64) float64 {
	most := 0.0
	for _, v := range x {
		most = math.Max(most, math.Abs(v))
	}
	return most
}

// apply adds the changes to the tables: number 0 is the mean's, k+1 what the
// world of draw k changes by, of which the deviation is the difference.
func (c *conditioner) apply(changes []map[effect]map[int][]float64) {
	m := c.r.m
	for k, byEffect := range changes {
		for e, items := range byEffect {
			t := &m.tables[e]
			for item, v := range items {
				c.r.touch(e, item)
				if k == 0 {
					add(v, t.mean(item))
					for draw := range t.draws {
						into := t.deviation(item, draw)
						for i, x := range v {
							into[i] -= float32(x)
						}
					}
					continue
				}
				into := t.deviation(item, k-1)
				for i, x := range v {
					into[i] += float32(x)
				}
			}
		}
	}
}

// touch remembers that a part of a table has changed.
func (r *region) touch(e effect, item int) {
	if r.changed[e] == nil {
		r.changed[e] = map[int]bool{}
	}
	r.changed[e][item/r.m.tables[e].together] = true
}
