package fit

import (
	"math"

	"centwise/catalog/pitch"
)

// Residual is what a whole fit leaves of one reading; see Options.Residuals.
type Residual struct {
	Session *SessionFit // shared by the readings of one session
	Slot    pitch.Slot
	Cents   float64 // as read
	Fitted  float64 // what the fit makes of it, cents: everything but the reading error
	// FittedSD is the posterior standard deviation of Fitted, cents, from the
	// fit's draws, as the session's own size times the slot's.
	FittedSD float64
	Good     float64 // probability that it is a good reading and no gross error
}

// SessionFit is what a whole fit makes of a session as such.
type SessionFit struct {
	Name     string
	Sequence int64 // order of recording in the catalog
	Source   Source
	Noise    float64 // standard deviation of a good reading of the source, cents
	// Offset and Slide are the session's own constant and its setting of the
	// tuning slide, as cents on open notes.
	Offset, Slide float64
	// Near is of the catalog as a whole, the same for all sessions: [k] is the
	// mean covariance that residuals k+1 semitones apart have in one session
	// because both follow one curve, in squared noises. It is below zero: what
	// draws one note's fitted value up draws its neighbour's up too.
	Near []float64
}

// NearSemitones is how far apart the notes are that SessionFit.Near speaks of,
// at most.
const NearSemitones = 12

// leastFree is the least share of a good reading's variance that Variance takes
// to be left in its residual: below it the draws cannot tell.
const leastFree = 0.05

// Variance is that of the residual, cents^2, were the reading a good one. The
// fit follows a reading part of the way, so residuals scatter by less than the
// noise, with variance noise^2 - FittedSD^2: given all readings, a reading's
// error e and its fitted value are equally uncertain, and the variance of the
// expectation E[e | y], which the residual is, is that of e less what stays
// uncertain of it.
func (r Residual) Variance() float64 {
	noise := r.Session.Noise * r.Session.Noise
	return max(noise-r.FittedSD*r.FittedSD, leastFree*noise)
}

// Standardised is the residual in units of its own standard deviation, were the
// reading a good one.
func (r Residual) Standardised() float64 {
	return (r.Cents - r.Fitted) / math.Sqrt(r.Variance())
}

// Weight is what the reading counts for in the fit, as a share of a good
// reading of its source, for gross errors of the given size (see Components).
func (r Residual) Weight(grossFactor float64) float64 {
	return r.Good + (1-r.Good)/(grossFactor*grossFactor)
}

// cellSpread collects how far the fitted values of readings lie from the truth
// in the draws: sums of squares and of products, draw by draw so that the order
// in which draws end does not matter.
type cellSpread struct {
	bySession [][]float64 // draws x sessions
	bySlot    [][]float64 // draws x J
	near      [][]float64 // draws x NearSemitones, in squared noises

	apart [NearSemitones][][2]int // the pairs of slots so many semitones apart
	pairs [NearSemitones]float64  // of read cells, over all sessions
}

func newCellSpread(draws int, d *Data) *cellSpread {
	c := &cellSpread{}
	for range draws {
		c.bySession = append(c.bySession, make([]float64, len(d.sessions)))
		c.bySlot = append(c.bySlot, make([]float64, len(d.Slots)))
		c.near = append(c.near, make([]float64, NearSemitones))
	}
	for i, a := range d.Slots {
		for k, b := range d.Slots {
			if off := int(b.Note() - a.Note()); off >= 1 && off <= NearSemitones {
				c.apart[off-1] = append(c.apart[off-1], [2]int{i, k})
			}
		}
	}
	read := make([]bool, len(d.Slots))
	for _, row := range d.sessions {
		clear(read)
		for _, cell := range d.slot[row.begin:row.end] {
			read[cell] = true
		}
		for lag, list := range c.apart {
			for _, p := range list {
				c.pairs[lag] += same(read[p[0]] && read[p[1]])
			}
		}
	}
	return c
}

// record takes in draw k.
func (c *cellSpread) record(e *engine, st *state, k int) {
	d, j := e.data, e.sys.slots
	whole := make([]float64, j)
	for s, row := range d.sessions {
		for _, cell := range d.slot[row.begin:row.end] {
			dev := st.fitted[s*j+int(cell)] - st.truth.fitted[s*j+int(cell)]
			c.bySession[k][s] += dev * dev
			c.bySlot[k][cell] += dev * dev
		}
		c.recordNear(e, st, s, k, whole)
	}
}

// recordNear takes in how fitted values of session s move together in draw k;
// dev has room for J.
func (c *cellSpread) recordNear(e *engine, st *state, s, k int, dev []float64) {
	j := e.sys.slots
	noise := e.comp.SourceNoise[e.data.sessions[s].source]
	for i := range dev {
		dev[i] = 0 // where nothing was read
		if e.sys.d[s*j+i] > 0 {
			dev[i] = (st.fitted[s*j+i] - st.truth.fitted[s*j+i]) / noise
		}
	}
	for lag, list := range c.apart {
		for _, p := range list {
			c.near[k][lag] += dev[p[0]] * dev[p[1]]
		}
	}
}

// covariance gives SessionFit.Near. Given all readings, the errors of two
// readings are as uncertain as their fitted values, and in the same direction
// once turned round: Cov(E[e | y], E[e' | y]) = -Cov(f, f' | y).
func (c *cellSpread) covariance() []float64 {
	out := make([]float64, NearSemitones)
	for _, sums := range c.near {
		axpy(-1/float64(len(c.near)), sums, out)
	}
	for lag, n := range c.pairs {
		out[lag] /= max(1, n)
	}
	return out
}

// sizes gives the mean posterior variance of a session's fitted readings and,
// by slot, the factor between that and the variance there.
func (c *cellSpread) sizes(d *Data) (session, slot []float64) {
	session, slot = make([]float64, len(d.sessions)), make([]float64, len(d.Slots))
	expected := make([]float64, len(slot)) // of the sums by slot, were all slots alike
	draws := float64(len(c.bySession))
	for k := range c.bySession {
		add(c.bySession[k], session)
		add(c.bySlot[k], slot)
	}
	for s, row := range d.sessions {
		session[s] /= draws * float64(max(1, row.end-row.begin))
		for _, cell := range d.slot[row.begin:row.end] {
			expected[cell] += draws * session[s]
		}
	}
	for i, sum := range expected {
		if sum > 0 {
			slot[i] /= sum
		}
	}
	return session, slot
}

// residuals hands out what is left of every reading, session by session in the
// order of the fit.
func (e *engine) residuals(take func(Residual)) {
	d, t, j, c := e.data, e.sys.terms, e.sys.slots, e.comp.sessionChol
	bySession, bySlot := e.spread.sizes(d)
	near := e.spread.covariance()
	for s, row := range d.sessions {
		own, expected := e.answer.own[s*t.own:], e.prior.of(s)
		session := &SessionFit{
			Name: row.name, Sequence: row.sequence, Source: d.Sources[row.source], Noise: e.comp.SourceNoise[row.source], Near: near,
			Offset: c[0] * own[0], Slide: c[1]*own[0] + c[2]*own[1],
		}
		for k := row.begin; k < row.end; k++ {
			cell := int(d.slot[k])
			r := Residual{Session: session, Slot: d.Slots[cell], Cents: d.cents[k], Fitted: expected[cell] + e.answer.fitted[s*j+cell]}
			variance := bySession[s] * bySlot[cell]
			off := r.Cents - r.Fitted
			r.FittedSD, r.Good = math.Sqrt(variance), e.comp.goodShare(off*off+variance, session.Noise)
			take(r)
		}
	}
}
