package fit

import (
	"context"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"
)

// system is Henderson's mixed-model equations (C. R. Henderson, "Best linear
// unbiased estimation and prediction under a selection model", Biometrics 31,
// 1975) in whitened unknowns u, with the terms of sessions and pairs absorbed:
//
//	(I + W' R^-1 W) u = W' R^-1 y,   W = Z chol.
//
// Cells are sessions x J; a cell without a reading has precision 0.
type system struct {
	slots    int
	sessions int
	levels   []*level
	unknowns int
	terms    *absorbed
	d        []float64 // precisions of the cells
	coarse   *coarseLevel
	exact    *mat.Cholesky // of the whole matrix when it is small enough
}

// workspace is what one solve needs; each goroutine has its own.
type workspace struct {
	rowCents [][]float64 // per level, rows x J
	rowBack  [][]float64
	x, z     []float64 // sessions x J
	scratch  []float64
	r, p, ap []float64
	solved   []float64
}

func (s *system) newWorkspace() *workspace {
	w := &workspace{
		x: make([]float64, s.sessions*s.slots), z: make([]float64, s.sessions*s.slots),
		r: make([]float64, s.unknowns), p: make([]float64, s.unknowns),
		ap: make([]float64, s.unknowns), solved: make([]float64, s.unknowns),
	}
	longest := s.slots
	for _, l := range s.levels {
		w.rowCents = append(w.rowCents, make([]float64, l.rows()*s.slots))
		w.rowBack = append(w.rowBack, make([]float64, l.rows()*s.slots))
		longest = max(longest, l.q())
	}
	w.scratch = make([]float64, longest)
	return w
}

// explain sets cents (sessions x J) to what the levels add up to in every
// session.
func (s *system) explain(u, cents []float64, w *workspace) {
	for k, l := range s.levels {
		l.expand(u, w.rowCents[k], w.scratch)
	}
	for i := range s.sessions {
		row := cents[i*s.slots:][:s.slots]
		for k, l := range s.levels {
			from := w.rowCents[k][int(l.sessionRow[i])*s.slots:][:s.slots]
			if k == 0 {
				copy(row, from)
			} else {
				add(from, row)
			}
		}
	}
}

// project adds W' z to u for weighted cents z (sessions x J).
func (s *system) project(z, u []float64, w *workspace) {
	for k, l := range s.levels {
		back := w.rowBack[k]
		clear(back)
		for i := range s.sessions {
			add(z[i*s.slots:][:s.slots], back[int(l.sessionRow[i])*s.slots:][:s.slots])
		}
		l.gather(back, u, w.scratch)
	}
}

// weigh sets z = R^-1 x with sessions and pairs absorbed.
func (s *system) weigh(x, z []float64) {
	for p := range s.terms.pairs {
		s.terms.solvePair(p, s.d, x, z)
	}
}

// apply sets out = (I + W'R^-1 W) u.
func (s *system) apply(u, out []float64, w *workspace) {
	s.explain(u, w.x, w)
	s.weigh(w.x, w.z)
	copy(out, u)
	s.project(w.z, out, w)
}

// rightHandSide sets out = W' R^-1 y for y of sessions x J.
func (s *system) rightHandSide(y, out []float64, w *workspace) {
	s.weigh(y, w.z)
	clear(out)
	s.project(w.z, out, w)
}

// precondition builds the exact inverse of every block's own equations and the
// coarse level.
func (s *system) precondition() {
	for _, l := range s.levels {
		s.invertBlocks(l)
	}
	s.coarse = newCoarseLevel(s)
}

func (s *system) invertBlocks(l *level) {
	q := l.q()
	if l.inverse == nil {
		l.inverse = make([]float64, l.blocks*q*q)
	}
	rowsOf := make([][]int32, l.blocks)
	for r, b := range l.rowBlock {
		rowsOf[b] = append(rowsOf[b], int32(r))
	}
	parallel(l.blocks, func(lo, hi int) {
		acc, half := newSquare(s.slots), make([]float64, s.slots*l.p)
		small := newSquare(l.p)
		for b := lo; b < hi; b++ {
			m := square{q, l.inverse[b*q*q:][:q*q]}
			clear(m.a)
			m.addDiagonal(1)
			if l.seen[b] {
				for _, r := range rowsOf[b] {
					s.sumPrecision(l.sessionsOf(int(r)), acc)
					mul(half, acc.a, l.basis[l.rowClass[r]], s.slots, s.slots, l.p)
					transMul(small.a, l.basis[l.rowClass[r]], half, l.p, s.slots, l.p)
					l.addOwn(m, small, int(r))
				}
			}
			if !m.invertSPD() {
				panic("fit: a block of " + l.name + " is not positive definite")
			}
		}
	})
}

// addOwn adds a row's p x p information to its block's q x q matrix.
func (l *level) addOwn(m, small square, r int) {
	if l.loads == nil {
		add(small.a, m.a)
		return
	}
	z := l.loads[r*dimensionCount : (r+1)*dimensionCount]
	for d, zd := range z {
		for e, ze := range z {
			if zd*ze == 0 {
				continue
			}
			for i := range l.p {
				axpy(zd*ze, small.row(i), m.row(d*l.p + i)[e*l.p:(e+1)*l.p])
			}
		}
	}
}

// sumPrecision sets acc to the sum of R^-1 over some sessions, J x J.
func (s *system) sumPrecision(sessions []int32, acc square) {
	clear(acc.a)
	for _, i := range sessions {
		for k, d := range s.d[int(i)*s.slots:][:s.slots] {
			acc.a[k*s.slots+k] += d
		}
		f := s.terms.fOf(int(i))
		blas64.Syrk(blas.Trans, -1, general(s.terms.own, s.slots, f), 1,
			blas64.Symmetric{N: s.slots, Stride: s.slots, Data: acc.a, Uplo: blas.Lower})
	}
	acc.mirror()
}

// applyPreconditioner sets z to the blocks' inverses times r plus the coarse
// correction.
func (s *system) applyPreconditioner(r, z []float64, w *workspace) {
	for _, l := range s.levels {
		q := l.q()
		for b := range l.blocks {
			at := l.first + b*q
			blas64.Gemv(blas.NoTrans, 1, general(q, q, l.inverse[b*q*q:][:q*q]),
				vector(r[at:at+q]), 0, vector(z[at:at+q]))
		}
	}
	if s.coarse != nil {
		s.coarse.correct(r, z, w)
	}
}

// coarseLevel solves for shifts of whole levels at once ("all horns up, the
// common tendency down"), which the blocks alone find only slowly.
type coarseLevel struct {
	levels []*level
	at     []int
	size   int
	chol   mat.Cholesky
}

func newCoarseLevel(s *system) *coarseLevel {
	c := &coarseLevel{}
	for _, l := range s.levels {
		if l.loads == nil {
			c.levels = append(c.levels, l)
			c.at = append(c.at, c.size)
			c.size += l.p
		}
	}
	sums := s.classPrecisions(c.levels)
	m := mat.NewSymDense(c.size, nil)
	j := s.slots
	inOrder := func(a, b [maxLevels]uint8) int { return slices.Compare(a[:], b[:]) }
	for _, key := range slices.SortedFunc(maps.Keys(sums), inOrder) { // rounding depends on the order
		sum := sums[key]
		for a, la := range c.levels {
			left := make([]float64, la.p*j)
			transMul(left, la.basis[key[a]], sum.a, la.p, j, j)
			for b, lb := range c.levels[:a+1] {
				part := make([]float64, la.p*lb.p)
				mul(part, left, lb.basis[key[b]], la.p, j, lb.p)
				addBlock(m, c.at[a], c.at[b], part, la.p, lb.p)
			}
		}
	}
	for k, l := range c.levels {
		for i := range l.p {
			m.SetSym(c.at[k]+i, c.at[k]+i, m.At(c.at[k]+i, c.at[k]+i)+float64(max(1, l.seenCount())))
		}
	}
	if !c.chol.Factorize(m) {
		return nil
	}
	return c
}

// addBlock adds part (rows x cols) to the lower triangle of m at (i, j).
func addBlock(m *mat.SymDense, i, j int, part []float64, rows, cols int) {
	for a := range rows {
		for b := range cols {
			if j+b <= i+a {
				m.SetSym(i+a, j+b, m.At(i+a, j+b)+part[a*cols+b])
			}
		}
	}
}

const maxLevels = 12

// classPrecisions sums R^-1 over the sessions that have the same class in
// every level.
func (s *system) classPrecisions(levels []*level) map[[maxLevels]uint8]square {
	members := map[[maxLevels]uint8][]int32{}
	for i := range s.sessions {
		var key [maxLevels]uint8
		for k, l := range levels {
			key[k] = l.rowClass[l.sessionRow[i]]
		}
		members[key] = append(members[key], int32(i))
	}
	out := make(map[[maxLevels]uint8]square, len(members))
	for key, sessions := range members {
		acc := newSquare(s.slots)
		s.sumPrecision(sessions, acc)
		out[key] = acc
	}
	return out
}

// correct adds the coarse solution for the residual r to z.
func (c *coarseLevel) correct(r, z []float64, w *workspace) {
	if c.chol.Cond() > mat.ConditionTolerance {
		return
	}
	x := make([]float64, c.size)
	for k, l := range c.levels {
		sum := x[c.at[k]:][:l.p]
		for b := range l.blocks {
			if l.seen[b] {
				add(r[l.first+b*l.p:][:l.p], sum)
			}
		}
	}
	solveBy(&c.chol, x)
	for k, l := range c.levels {
		shift := x[c.at[k]:][:l.p]
		for b := range l.blocks {
			if l.seen[b] {
				add(shift, z[l.first+b*l.p:][:l.p])
			}
		}
	}
}

// SolveStatus says how a solve ended.
type SolveStatus struct {
	Iterations int
	Residual   float64 // preconditioned residual relative to the right-hand side's
	Converged  bool
}

// solve improves u by preconditioned conjugate gradients until the
// preconditioned residual is below tolerance times that of the right-hand
// side b.
func (s *system) solve(ctx context.Context, b, u []float64, tolerance float64, limit int, w *workspace) (SolveStatus, error) {
	if s.exact != nil {
		return s.solveExact(b, u, w), ctx.Err()
	}
	s.applyPreconditioner(b, w.solved, w)
	scale := dot(b, w.solved)
	if scale <= 0 {
		clear(u)
		return SolveStatus{Converged: true}, nil
	}
	s.apply(u, w.ap, w)
	for i := range w.r {
		w.r[i] = b[i] - w.ap[i]
	}
	s.applyPreconditioner(w.r, w.solved, w)
	copy(w.p, w.solved)
	rz := dot(w.r, w.solved)
	st := SolveStatus{}
	for ; st.Iterations < limit && rz > tolerance*tolerance*scale; st.Iterations++ {
		if err := ctx.Err(); err != nil {
			return st, err
		}
		s.apply(w.p, w.ap, w)
		alpha := rz / dot(w.p, w.ap)
		axpy(alpha, w.p, u)
		axpy(-alpha, w.ap, w.r)
		s.applyPreconditioner(w.r, w.solved, w)
		next := dot(w.r, w.solved)
		beta := next / rz
		rz = next
		for i, z := range w.solved {
			w.p[i] = z + beta*w.p[i]
		}
	}
	st.Residual = math.Sqrt(rz / scale)
	st.Converged = rz <= tolerance*tolerance*scale
	return st, nil
}
