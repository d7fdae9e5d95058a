package main

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"sync"

	"centwise/match/fit/simulate"
	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"
)

// workers is how many goroutines share the work.
var workers = runtime.GOMAXPROCS(0)

// parallel calls do for 0..n-1, each worker a stretch.
func parallel(n int, do func(i int)) {
	var group sync.WaitGroup
	for k := range workers {
		group.Go(func() {
			for i := n * k / workers; i < n*(k+1)/workers; i++ {
				do(i)
			}
		})
	}
	group.Wait()
}

// noise is the variance of a good reading of a session, rounding included.
func (b *bound) noise(session int) float64 {
	c := b.w.Contributors[b.w.Sessions[session].Contributor]
	return c.NoiseSD*c.NoiseSD + c.Step*c.Step/12
}

// start takes every reading for gross with the share that is.
func (b *bound) start() {
	b.cells = make([]cell, len(b.w.Sessions))
	b.z = nil
	for i, s := range b.w.Sessions {
		c := &b.cells[i]
		if s.Wrong == "" {
			c.gross = make([]float64, len(s.Readings))
			for k := range c.gross {
				c.gross[k] = simulate.GrossShare
			}
		}
	}
	parallel(len(b.cells), b.gather)
}

// gather merges a session's readings by slot under their present weights and
// works out V of R^-1 = D - V V'. With U the loading of the day,
// R = D^-1 + U U', so V V' = D U (I + U'D U)^-1 U'D.
func (b *bound) gather(session int) {
	c, s := &b.cells[session], b.w.Sessions[session]
	n := len(simulate.Slots)
	_, rank := b.day.Dims()
	c.precision, c.mean, c.v = make([]float64, n), make([]float64, n), make([]float64, n*rank)
	known := b.known[s.Mouthpiece]
	for k := range c.gross {
		r, cents := s.Readings[k], s.Readings[k].Cents
		if known != nil {
			cents -= known[r.Slot]
		}
		p := (1 - c.gross[k] + c.gross[k]/(simulate.GrossFactor*simulate.GrossFactor)) / b.noise(session)
		c.precision[r.Slot] += p
		c.mean[r.Slot] += p * cents
	}
	inner := mat.NewSymDense(rank, nil)
	for k := range rank {
		inner.SetSym(k, k, 1)
	}
	for j, p := range c.precision {
		if p == 0 {
			continue
		}
		c.mean[j] /= p
		inner.SymRankOne(inner, p, b.day.RowView(j))
	}
	var chol mat.Cholesky
	if !chol.Factorize(inner) {
		panic("study: the covariance of a session is not positive definite")
	}
	var lower mat.TriDense
	chol.LTo(&lower)
	for j, p := range c.precision {
		var row mat.VecDense
		if err := row.SolveVec(&lower, b.day.RowView(j)); err != nil {
			panic("study: " + err.Error())
		}
		for k := range rank {
			c.v[j*rank+k] = p * row.AtVec(k)
		}
	}
}

// weigh is R^-1 times x, a vector over the slots, into dst.
func (c *cell) weigh(dst, x []float64) {
	rank := len(c.v) / len(x)
	along := make([]float64, rank)
	for j, y := range x {
		for k := range along {
			along[k] += c.v[j*rank+k] * y
		}
	}
	for j, y := range x {
		dst[j] = c.precision[j] * y
		for k, a := range along {
			dst[j] -= c.v[j*rank+k] * a
		}
	}
}

// rows are vectors over the slots, one after the other.
type rows []float64

func newRows(n int) rows { return make(rows, n*len(simulate.Slots)) }

// row is the i-th vector.
func (r rows) row(i int) []float64 {
	n := len(simulate.Slots)
	return r[i*n : (i+1)*n]
}

// effects works out every effect L z, by family.
func (b *bound) effects(z []float64) []rows {
	out := make([]rows, len(b.families))
	for i, f := range b.families {
		out[i] = newRows(f.count)
		parallel(f.count, func(e int) { f.addTo(out[i].row(e), z, e) })
	}
	return out
}

// addEffects adds a session's effects to dst.
func (b *bound) addEffects(dst []float64, effects []rows, session int) {
	for i, f := range b.families {
		if e := f.of[session]; e >= 0 {
			for j, x := range effects[i].row(e) {
				dst[j] += x
			}
		}
	}
}

// readMeans are the sessions' readings, merged by slot.
func (b *bound) readMeans() rows {
	out := newRows(len(b.cells))
	for i := range b.cells {
		copy(out.row(i), b.cells[i].mean)
	}
	return out
}

// rightHandSide is L'Z'R^-1 y for one vector y over the slots per session.
func (b *bound) rightHandSide(y rows) []float64 {
	weighed := newRows(len(b.cells))
	parallel(len(b.cells), func(i int) { b.cells[i].weigh(weighed.row(i), y.row(i)) })
	out := make([]float64, b.unknowns())
	for _, f := range b.families {
		parallel(f.count, func(e int) {
			sum := make([]float64, len(simulate.Slots))
			for _, session := range f.visits[e] {
				for j, x := range weighed.row(session) {
					sum[j] += x
				}
			}
			blas64.Gemv(blas.Trans, 1, f.loading.RawMatrix(), vector(sum), 0, vector(f.part(out, e)))
		})
	}
	return out
}

// apply is (I + L'Z'R^-1 Z L) z.
func (b *bound) apply(z []float64) []float64 {
	effects, sums := b.effects(z), newRows(len(b.cells))
	parallel(len(b.cells), func(i int) { b.addEffects(sums.row(i), effects, i) })
	out := b.rightHandSide(sums)
	for i, x := range z {
		out[i] += x
	}
	return out
}

// factorize works out the inverses of the system's diagonal blocks, one per
// effect.
func (b *bound) factorize() {
	n := len(simulate.Slots)
	_, rank := b.day.Dims()
	for _, f := range b.families {
		f.blocks = make([]*mat.SymDense, f.count)
		parallel(f.count, func(e int) {
			inner := mat.NewSymDense(n, nil)
			for _, session := range f.visits[e] {
				c := &b.cells[session]
				for j, p := range c.precision {
					inner.SetSym(j, j, inner.At(j, j)+p)
				}
				v := mat.NewDense(n, rank, c.v)
				inner.SymRankK(inner, -1, v)
			}
			var half, block mat.Dense
			half.Mul(inner, f.loading)
			block.Mul(f.loading.T(), &half)
			sym := mat.NewSymDense(f.rank, nil)
			for i := range f.rank {
				for j := i; j < f.rank; j++ {
					sym.SetSym(i, j, (block.At(i, j)+block.At(j, i))/2)
				}
				sym.SetSym(i, i, sym.At(i, i)+1)
			}
			var chol mat.Cholesky
			if !chol.Factorize(sym) {
				panic("study: a block of the " + f.name + " is not positive definite")
			}
			f.blocks[e] = mat.NewSymDense(f.rank, nil)
			if err := chol.InverseTo(f.blocks[e]); err != nil {
				panic("study: " + err.Error())
			}
		})
	}
}

// precondition solves the diagonal blocks alone.
func (b *bound) precondition(r []float64) []float64 {
	out := make([]float64, len(r))
	for _, f := range b.families {
		parallel(f.count, func(e int) {
			blas64.Symv(1, f.blocks[e].RawSymmetric(), vector(f.part(r, e)), 0, vector(f.part(out, e)))
		})
	}
	return out
}

// solve solves the system for right-hand side rhs by preconditioned conjugate
// gradients from a start (nil: zero) until the preconditioned residual has
// fallen to the tolerance.
func (b *bound) solve(ctx context.Context, rhs, start []float64, tolerance float64) ([]float64, error) {
	z := make([]float64, len(rhs))
	r := append([]float64(nil), rhs...)
	if start != nil {
		copy(z, start)
		for i, x := range b.apply(z) {
			r[i] -= x
		}
	}
	scale := dot(rhs, b.precondition(rhs))
	q := b.precondition(r)
	p := append([]float64(nil), q...)
	rq := dot(r, q)
	for step := 1; step <= 2000; step++ {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if rq <= tolerance*tolerance*scale {
			b.note(step)
			return z, nil
		}
		ap := b.apply(p)
		alpha := rq / dot(p, ap)
		for i := range z {
			z[i] += alpha * p[i]
			r[i] -= alpha * ap[i]
		}
		q = b.precondition(r)
		next := dot(r, q)
		for i := range p {
			p[i] = q[i] + next/rq*p[i]
		}
		rq = next
	}
	return nil, fmt.Errorf("the bound's equations did not converge in 2000 steps (residual %.1e of %.1e wanted)", math.Sqrt(rq/scale), tolerance)
}

var noteMutex sync.Mutex

func (b *bound) note(steps int) {
	noteMutex.Lock()
	defer noteMutex.Unlock()
	b.steps = steps
}

func vector(x []float64) blas64.Vector { return blas64.Vector{N: len(x), Data: x, Inc: 1} }

func dot(a, b []float64) float64 {
	sum := 0.0
	for i, x := range a {
		sum += x * b[i]
	}
	return sum
}
