package belief

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"

	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// Law is how readings of a session scatter around the profile of its setup.
type Law struct {
	fit.SessionLaw
	shorter []float64 // 1/r of the slots
}

// NewLaw takes what a fit has learned of sessions on some slots.
func NewLaw(l fit.SessionLaw, slots []pitch.Slot) Law {
	out := Law{SessionLaw: l}
	for _, s := range slots {
		out.shorter = append(out.shorter, 1/s.Valves.Ratio())
	}
	return out
}

// freeSD is the standard deviation of a session's constant and of its slide, in
// cents, of which nothing is taken to be known: much more than either ever is,
// and little enough to calculate with.
const freeSD = 60.0

// Readings are those of one session, by place of the slot.
type Readings map[int][]float64

// covariance of the readings' means at some notes, given the precision of each:
// constant, slide, day and noise.
func (l Law) covariance(notes []int, precision []float64) []float64 {
	m := len(notes)
	n := len(l.shorter)
	r := make([]float64, m*m)
	for a, i := range notes {
		for b, k := range notes {
			r[a*m+b] = freeSD*freeSD*(1+l.shorter[i]*l.shorter[k]) + l.Day[i*n+k]
		}
		r[a*m+a] += 1 / precision[a]
	}
	return r
}

// plan is the covariance of readings to come: so many of each note.
func (l Law) plan(notes []int, times int) []float64 {
	precision := make([]float64, len(notes))
	for i := range precision {
		precision[i] = float64(times) / (l.ReadingSD * l.ReadingSD)
	}
	return l.covariance(notes, precision)
}

// reader weighs the readings of a session: slips count for little, told by how
// far they lie from what is made of the session.
type reader struct {
	law       Law
	notes     []int
	readings  Readings
	precision []float64
	y         []float64
}

func newReader(l Law, readings Readings) *reader {
	r := &reader{law: l, readings: readings}
	for note, list := range readings {
		if len(list) > 0 {
			r.notes = append(r.notes, note)
		}
	}
	slices.Sort(r.notes)
	r.precision, r.y = make([]float64, len(r.notes)), make([]float64, len(r.notes))
	r.weigh(func(int, float64) float64 { return 1 })
	return r
}

// weigh takes the weighted means of the readings of each note.
func (r *reader) weigh(weight func(at int, cents float64) float64) {
	for a, note := range r.notes {
		sum, value := 0.0, 0.0
		for _, cents := range r.readings[note] {
			w := weight(a, cents) / (r.law.ReadingSD * r.law.ReadingSD)
			sum, value = sum+w, value+w*cents
		}
		r.precision[a], r.y[a] = sum, value/sum
	}
}

// reweigh gives readings their expected precision under the mixture of good ones
// and slips, given the values that are made of the session.
func (r *reader) reweigh(fitted []float64) {
	sd, k := r.law.ReadingSD, r.law.GrossFactor
	r.weigh(func(a int, cents float64) float64 {
		off := (cents - fitted[a]) * (cents - fitted[a]) / (sd * sd)
		off += 0.25 // the fitted value is uncertain
		// The odds of a slip, written so that a reading far away from everything is one.
		odds := r.law.GrossShare / ((1 - r.law.GrossShare) * k) * math.Exp(math.Min(500, off/2*(1-1/(k*k))))
		share := 1 / (1 + odds)
		return share + (1-share)/(k*k)
	})
}

// weighings is how often readings are weighed anew; their weights have settled
// then to some per cent.
const weighings = 4

// Learn takes in a session with setup i, and lets worlds that were drawn from
// the belief follow; nil lets none. It does nothing without readings.
func (b *Belief) Learn(i int, l Law, readings Readings, worlds *Worlds) {
	r := newReader(l, readings)
	m := len(r.notes)
	if m == 0 {
		return
	}
	c := make([]float64, b.n*b.n)
	b.Covariance(c, i, i)
	var root, scatter, off []float64
	for step := range weighings {
		scatter = l.covariance(r.notes, r.precision)
		root = factor(plus(pick(c, b.n, r.notes), scatter), m)
		off = make([]float64, m)
		for a, note := range r.notes {
			off[a] = r.y[a] - b.means[i][note]
		}
		if step == weighings-1 {
			break
		}
		// What is left of y is its noise's part in S^-1 (y - mean).
		left := slices.Clone(off)
		solveLower(root, m, left)
		solveUpper(root, m, left)
		fitted := make([]float64, m)
		for a := range fitted {
			fitted[a] = r.y[a] - left[a]/r.precision[a]
		}
		r.reweigh(fitted)
	}
	gains := b.gains(i, r.notes, root)
	solveLower(root, m, off)
	for k, g := range gains {
		blas64.Gemv(blas.NoTrans, 1, general(b.n, m, g), blas64.Vector{N: m, Inc: 1, Data: off}, 1, blas64.Vector{N: b.n, Inc: 1, Data: b.means[k]})
	}
	if worlds != nil {
		worlds.learn(i, r.notes, r.y, root, factor(scatter, m), gains)
	}
	b.lessons = append(b.lessons, lesson{gains, m})
}

// gains gives what a session with setup i teaches of all setups: C_ki L'^-1 with
// L L' = S the covariance of its readings (n x m each).
func (b *Belief) gains(i int, notes []int, root []float64) [][]float64 {
	m := len(notes)
	c := make([]float64, b.n*b.n)
	out := make([][]float64, len(b.means))
	for k := range out {
		b.Covariance(c, k, i)
		out[k] = columns(c, b.n, notes)
		blas64.Trsm(blas.Right, blas.Trans, 1, blas64.Triangular{Uplo: blas.Lower, Diag: blas.NonUnit, N: m, Stride: m, Data: root}, general(b.n, m, out[k]))
	}
	return out
}

// columns takes some columns of an n x n matrix.
func columns(c []float64, n int, notes []int) []float64 {
	out := make([]float64, 0, n*len(notes))
	for j := range n {
		for _, note := range notes {
			out = append(out, c[j*n+note])
		}
	}
	return out
}

// pick takes some rows and columns of an n x n matrix.
func pick(c []float64, n int, notes []int) []float64 {
	out := make([]float64, 0, len(notes)*len(notes))
	for _, i := range notes {
		for _, k := range notes {
			out = append(out, c[i*n+k])
		}
	}
	return out
}

func plus(a, b []float64) []float64 {
	axpy(1, b, a)
	return a
}

// Coming is the covariance of readings to come of all slots, each read so many
// times, around the profile (n x n, cents squared).
func (l Law) Coming(times int) []float64 {
	all := make([]int, len(l.shorter))
	for i := range all {
		all[i] = i
	}
	return l.plan(all, times)
}

// Shorter is 1/r of a slot: how far the tuning slide moves it for one cent on open
// notes.
func (l Law) Shorter(slot int) float64 { return l.shorter[slot] }
