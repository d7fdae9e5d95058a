package fit

import (
	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
)

// level is one kind of effect - horns, mouthpieces, players, their designs,
// the common tendency - as it enters the mixed-model equations. Each of its
// blocks is a vector of coefficients with the covariance cov; the solver works
// with whitened coefficients u, coefficients = chol u, so that every block's
// prior is standard normal.
//
// A row is a block as it sounds on one class of instruments (a transposition):
// J cents that a session adds up with the rows of the other levels.
type level struct {
	name   string
	slots  int         // J
	p      int         // coefficients of one profile
	coef   [][]float64 // per class, J x p: coefficients to cents; nil = identity
	cov    square      // p x p
	chol   square      // lower factor of cov
	basis  [][]float64 // per class, J x p: coef times chol
	shape  *structure  // how cov is learned; nil = fixed
	blocks int
	into   effect // the table its coefficients add up in
	// blockOf gives the block of each item of that table: nil = its own, -1 = none.
	blockOf   []int32
	itemLoads [][dimensionCount]float64 // of a level with loads, per item
	expected  []float64                 // of a level with loads, dimensions x p: the prior mean of its coefficients; nil = 0
	first     int                       // where the level's blocks begin in the vector of unknowns

	rowBlock   []int32
	rowClass   []uint8
	sessionRow []int32   // per session
	rowStart   []int32   // per row, into rowOrder; length rows+1
	rowOrder   []int32   // sessions by row
	loads      []float64 // rows x dimensionCount: see dimensions; nil otherwise

	plain   bool      // rows are the blocks themselves, in one class
	seen    []bool    // per block: some session has it
	inverse []float64 // blocks x q x q: the preconditioner
}

// q is the number of unknowns of one block: p, or p for each dimension.
func (l *level) q() int {
	if l.loads != nil {
		return l.p * dimensionCount
	}
	return l.p
}

func (l *level) rows() int { return len(l.rowBlock) }

// setCovariance installs a covariance and what follows from it.
func (l *level) setCovariance(cov square) {
	l.cov = cov
	l.chol = square{cov.n, append([]float64(nil), cov.a...)}
	scaleRidge(l.chol)
	if !l.chol.cholesky() {
		panic("fit: covariance of " + l.name + " is not positive definite")
	}
	l.basis = make([][]float64, len(l.coef))
	for c, coef := range l.coef {
		l.basis[c] = make([]float64, l.slots*l.p)
		if coef == nil {
			copy(l.basis[c], l.chol.a)
			continue
		}
		mul(l.basis[c], coef, l.chol.a, l.slots, l.p, l.p)
	}
}

// index fixes the order of rows and which sessions have each.
func (l *level) index() {
	l.rowStart = make([]int32, l.rows()+1)
	for _, r := range l.sessionRow {
		l.rowStart[r+1]++
	}
	for r := range l.rows() {
		l.rowStart[r+1] += l.rowStart[r]
	}
	l.rowOrder = make([]int32, len(l.sessionRow))
	fill := append([]int32(nil), l.rowStart...)
	for s, r := range l.sessionRow {
		l.rowOrder[fill[r]] = int32(s)
		fill[r]++
	}
	l.plain = l.loads == nil && l.rows() == l.blocks
	for r, b := range l.rowBlock {
		l.plain = l.plain && int(b) == r && l.rowClass[r] == l.rowClass[0]
	}
	l.seen = make([]bool, l.blocks)
	for r, b := range l.rowBlock {
		l.seen[b] = l.seen[b] || l.rowStart[r+1] > l.rowStart[r]
	}
}

// sessionsOf are the sessions that have row r.
func (l *level) sessionsOf(r int) []int32 { return l.rowOrder[l.rowStart[r]:l.rowStart[r+1]] }

// block is the block of an item, -1 if the level leaves it out.
func (l *level) block(item int) int {
	if l.blockOf == nil {
		return item
	}
	return int(l.blockOf[item])
}

// itemCoefficients writes what the level adds to an item's coefficients (p) for
// whitened unknowns u; false if nothing.
func (l *level) itemCoefficients(u []float64, item int, scratch, out []float64) bool {
	block := l.block(item)
	if block < 0 {
		return false
	}
	white := u[l.first+block*l.q():][:l.q()]
	if l.loads != nil {
		clear(scratch[:l.p])
		for d, z := range l.itemLoads[item] {
			axpy(z, white[d*l.p:(d+1)*l.p], scratch[:l.p])
		}
		white = scratch[:l.p]
	}
	for i := range l.p {
		out[i] = dot(l.chol.row(i)[:i+1], white[:i+1])
	}
	return true
}

// seenCount is how many blocks some session has.
func (l *level) seenCount() int {
	n := 0
	for _, s := range l.seen {
		if s {
			n++
		}
	}
	return n
}

// profile gives the p whitened coefficients that row r sounds with: the block's
// own, or the loaded sum over dimensions. scratch has room for p.
func (l *level) profile(u []float64, r int, scratch []float64) []float64 {
	q := l.q()
	own := u[l.first+int(l.rowBlock[r])*q:][:q]
	if l.loads == nil {
		return own
	}
	clear(scratch)
	for d, z := range l.loads[r*dimensionCount : (r+1)*dimensionCount] {
		if z != 0 {
			axpy(z, own[d*l.p:(d+1)*l.p], scratch)
		}
	}
	return scratch
}

// expand writes each row's cents, rows x J, for the unknowns u.
func (l *level) expand(u, cents, scratch []float64) {
	if l.plain && l.blocks > 0 {
		mulTrans(cents, u[l.first:][:l.blocks*l.p], l.basis[l.rowClass[0]], l.blocks, l.p, l.slots)
		return
	}
	for r := range l.rows() {
		l.rowCents(u, r, cents[r*l.slots:(r+1)*l.slots], scratch)
	}
}

// rowCents writes the J cents of one row.
func (l *level) rowCents(u []float64, r int, cents, scratch []float64) {
	b := l.basis[l.rowClass[r]]
	x := l.profile(u, r, scratch[:l.p])
	blas64.Gemv(blas.NoTrans, 1, general(l.slots, l.p, b), vector(x), 0, vector(cents))
}

// gather adds the transpose: unknowns += basis' of each row's cents.
func (l *level) gather(cents, u, scratch []float64) {
	if l.plain && l.blocks > 0 {
		blas64.Gemm(blas.NoTrans, blas.NoTrans, 1, general(l.blocks, l.slots, cents),
			general(l.slots, l.p, l.basis[l.rowClass[0]]), 1, general(l.blocks, l.p, u[l.first:][:l.blocks*l.p]))
		return
	}
	q := l.q()
	back := scratch[:l.p]
	for r := range l.rows() {
		b := l.basis[l.rowClass[r]]
		into := u[l.first+int(l.rowBlock[r])*q:][:q]
		c := vector(cents[r*l.slots : (r+1)*l.slots])
		if l.loads == nil {
			blas64.Gemv(blas.Trans, 1, general(l.slots, l.p, b), c, 1, vector(into))
			continue
		}
		blas64.Gemv(blas.Trans, 1, general(l.slots, l.p, b), c, 0, vector(back))
		for d, z := range l.loads[r*dimensionCount : (r+1)*dimensionCount] {
			if z != 0 {
				axpy(z, back, into[d*l.p:(d+1)*l.p])
			}
		}
	}
}

func vector(x []float64) blas64.Vector { return blas64.Vector{N: len(x), Inc: 1, Data: x} }
