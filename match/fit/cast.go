package fit

import "math"

// shares are what the items of a setup add up to. Nil is a typical item, whose
// share is nought.
type shares struct {
	horn                     *share // with what is common to all setups
	mouthpiece, player, pair *share
	unknown                  *unknownPair // for a pair that nobody measured
	first                    int          // draw of unknown that begins
	sign                     float64      // of unknown
}

// draw sets flat (draws x drawn) to the draws of a setup.
func (s shares) draw(flat []float64, drawn int) {
	copy(flat, s.horn.draws)
	for _, part := range []*share{s.mouthpiece, s.player, s.pair} {
		if part != nil {
			add(part.draws, flat)
		}
	}
	if s.unknown != nil {
		at := s.first * drawn
		axpy(s.sign, s.unknown.draws[at:], flat)
		axpy(s.sign, s.unknown.draws[:at], flat[len(flat)-at:])
	}
}

// centre sets out to the mean of the draws of a setup.
func (s shares) centre(out []float64) {
	copy(out, s.horn.centre)
	for _, part := range []*share{s.mouthpiece, s.player, s.pair} {
		if part != nil {
			add(part.centre, out)
		}
	}
	if s.unknown != nil && s.unknown.centre != nil {
		axpy(s.sign, s.unknown.centre, out)
	}
}

// canvas is a prediction with room for a frame.
type canvas struct {
	Prediction
	flat []float64 // the memory of the draws, draws x drawn
}

func (m *Model) newCanvas(f *frame) canvas {
	draws := m.draws()
	slab := make([]float64, 6*f.n+(1+draws)*f.drawn)
	next := func(n int) []float64 {
		v := slab[:n:n]
		slab = slab[n:]
		return v
	}
	out := canvas{Prediction: Prediction{Common: next(f.n), Horn: next(f.n), Mouthpiece: next(f.n), Player: next(f.n), Pair: next(f.n),
		Mean: next(f.n), SD: next(f.drawn)}, flat: slab}
	out.Draws = make([][]float64, draws)
	for k := range out.Draws {
		out.Draws[k] = next(f.drawn)
	}
	return out
}

// paint sets the profiles of a prediction.
func (s shares) paint(f *frame, out *canvas) {
	copy(out.Common, f.common)
	for j, v := range s.horn.mean {
		out.Horn[j] = v - f.common[j]
	}
	copy(out.Mean, s.horn.mean)
	for _, x := range []struct {
		from *share
		to   []float64
	}{{s.mouthpiece, out.Mouthpiece}, {s.player, out.Player}, {s.pair, out.Pair}} {
		if x.from == nil {
			clear(x.to)
			continue
		}
		copy(x.to, x.from.mean)
		add(x.to, out.Mean)
	}
	s.draw(out.flat, f.drawn)
	clear(out.SD)
	for _, row := range out.Draws {
		for j, v := range row {
			out.SD[j] += (v - out.Mean[j]) * (v - out.Mean[j])
		}
	}
	for j, v := range out.SD {
		out.SD[j] = math.Sqrt(v / float64(len(out.Draws)))
	}
}

// caster turns places into predictions. It keeps the share of every item that
// the next setup has too. Each goroutine has its own.
type caster struct {
	m                              *Model
	sharer                         *sharer
	frame                          *frame
	place                          setupPlace // whose shares are kept
	horn, mouthpiece, player, pair share
}

func (m *Model) newCaster() *caster { return &caster{m: m, sharer: m.newSharer()} }

// use makes room for shares on a frame.
func (c *caster) use(f *frame) {
	if c.frame == f {
		return
	}
	c.frame = f
	c.place = setupPlace{horn: -2, mouthpiece: -2, player: -2, pair: -2}
	for _, s := range []*share{&c.horn, &c.mouthpiece, &c.player, &c.pair} {
		*s = share{}
	}
}

// shares gives those of a setup: what is had already, and what it works out.
// They are good until the next call.
func (c *caster) shares(p setupPlace, f *frame, have shares) shares {
	c.use(f)
	find := func(have **share, item int, kept *share, keptItem *int, work func(f *frame, item int, s share)) {
		if *have != nil {
			return
		}
		if *keptItem != item {
			if kept.mean == nil {
				*kept = c.m.newShare(f)
			}
			work(f, item, *kept)
			*keptItem = item
		}
		*have = kept
	}
	find(&have.horn, p.horn, &c.horn, &c.place.horn, c.sharer.horn)
	if p.mouthpiece >= 0 {
		find(&have.mouthpiece, p.mouthpiece, &c.mouthpiece, &c.place.mouthpiece, c.sharer.mouthpiece)
	}
	if p.player >= 0 {
		find(&have.player, p.player, &c.player, &c.place.player, c.sharer.player)
	}
	if p.pair >= 0 {
		find(&have.pair, p.pair, &c.pair, &c.place.pair, c.sharer.pair)
	} else if p.horn >= 0 && p.mouthpiece >= 0 {
		have.drawUnknown(f, c.m.Seed, p)
	}
	return have
}

// drawUnknown chooses the draws of the interaction of a pair that nobody
// measured: by its own number, so the same whenever it is asked for.
func (s *shares) drawUnknown(f *frame, seed uint64, p setupPlace) {
	h := mix(mix(seed^uint64(p.horn)) ^ uint64(p.mouthpiece))
	s.unknown = f.unknown[h%uint64(len(f.unknown))]()
	s.sign = 1 - 2*float64(h>>32&1)
	draws := uint64(len(s.unknown.draws) / max(1, f.drawn))
	s.first = int((h >> 33) % max(1, draws))
}

// mix scrambles 64 bits (the finaliser of SplitMix64: Steele, Lea & Flood 2014,
// from memory).
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}
