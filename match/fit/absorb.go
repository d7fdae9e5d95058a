package fit

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
)

// absorbed holds what belongs to single sessions and single pairs, eliminated
// exactly from the equations. With D the precisions of a session's cells and
// V = [1, 1/r, wiggle] its own terms, whitened,
//
//	R^-1 = (D^-1 + V V')^-1 = D - F F',  F = D V L^-T,  L L' = I + V' D V,
//
// and over the sessions of one pair, with B the interaction's basis,
//
//	(R + B B')^-1 = R^-1 - G G',  G = R^-1 B N^-T,  N N' = I + sum B' R^-1 B.
//
// (Woodbury's identity twice.) A pair measured once needs no G: its interaction
// joins the wiggle.
type absorbed struct {
	slots, own int         // J and the columns of V
	smooth     int         // columns of the wiggle and of the interaction
	v          [][]float64 // V as rows, own x J; [0] lone sessions, [1] sessions of a pair with several
	b          []float64   // B as rows, smooth x J
	f          []float64   // sessions x own x J
	l          []float64   // sessions x own x own: the lower factors
	g          []float64   // sessions of repeated pairs x smooth x J
	gAt        []int32     // per session: place in g, -1 for lone ones
	n          []float64   // pairs x smooth x smooth: lower factors, repeated pairs
	pairs      []pairRange
}

// pairRange is the sessions first..last-1 of one horn with one mouthpiece.
type pairRange struct{ first, last int32 }

func (p pairRange) repeated() bool { return p.last-p.first > 1 }

// samePair tells whether two sessions share one interaction.
func (s sessionRow) samePair(t sessionRow) bool {
	return s.horn == t.horn && s.mouthpiece == t.mouthpiece && !s.apart && !t.apart
}

// newAbsorbed lays out room for the sessions, which are sorted by pair.
func newAbsorbed(sessions []sessionRow, slots, smooth int) *absorbed {
	a := &absorbed{slots: slots, smooth: smooth, own: 2 + smooth}
	for i := range sessions {
		last := len(a.pairs) - 1
		if i > 0 && sessions[i].samePair(sessions[i-1]) {
			a.pairs[last].last++
			continue
		}
		a.pairs = append(a.pairs, pairRange{int32(i), int32(i) + 1})
	}
	a.gAt = make([]int32, len(sessions))
	repeated := int32(0)
	for _, p := range a.pairs {
		for s := p.first; s < p.last; s++ {
			a.gAt[s] = -1
			if p.repeated() {
				a.gAt[s] = repeated
				repeated++
			}
		}
	}
	a.f = make([]float64, len(sessions)*a.own*slots)
	a.l = make([]float64, len(sessions)*a.own*a.own)
	a.g = make([]float64, int(repeated)*smooth*slots)
	a.n = make([]float64, len(a.pairs)*smooth*smooth)
	return a
}

// setTerms builds V and B from the covariance factor of the session's offset
// and slide (2 x 2, lower), the smooth basis (J x k, unit variance, whitened)
// and the standard deviations of wiggle and interaction.
func (a *absorbed) setTerms(c *Components, inverseLength []float64, smooth []float64) {
	j := a.slots
	rows := func(scale float64) []float64 {
		v := make([]float64, a.own*j)
		for i := range j {
			v[i] = c.sessionChol[0] + c.sessionChol[1]*inverseLength[i]
			v[j+i] = c.sessionChol[2] * inverseLength[i]
			for k := range a.smooth {
				v[(2+k)*j+i] = scale * smooth[i*a.smooth+k]
			}
		}
		return v
	}
	a.v = [][]float64{rows(math.Hypot(c.Wiggle, c.Interaction)), rows(c.Wiggle)}
	a.b = make([]float64, a.smooth*j)
	for i := range j {
		for k := range a.smooth {
			a.b[k*j+i] = c.Interaction * smooth[i*a.smooth+k]
		}
	}
}

func (a *absorbed) terms(s int) []float64 {
	if a.gAt[s] < 0 {
		return a.v[0]
	}
	return a.v[1]
}

func (a *absorbed) fOf(s int) []float64 { return a.f[s*a.own*a.slots:][:a.own*a.slots] }

func (a *absorbed) lOf(s int) square { return square{a.own, a.l[s*a.own*a.own:][:a.own*a.own]} }

func (a *absorbed) gOf(s int) []float64 {
	return a.g[int(a.gAt[s])*a.smooth*a.slots:][:a.smooth*a.slots]
}

func (a *absorbed) nOf(pair int) square {
	return square{a.smooth, a.n[pair*a.smooth*a.smooth:][:a.smooth*a.smooth]}
}

// update recomputes the factors for cell precisions d (sessions x J).
func (a *absorbed) update(d []float64) {
	parallel(len(a.pairs), func(lo, hi int) {
		dv := make([]float64, a.own*a.slots)
		for p := lo; p < hi; p++ {
			pair := a.pairs[p]
			for s := pair.first; s < pair.last; s++ {
				a.updateSession(int(s), d[int(s)*a.slots:][:a.slots], dv)
			}
			if pair.repeated() {
				a.updatePair(p, d)
			}
		}
	})
}

func (a *absorbed) updateSession(s int, d, dv []float64) {
	v := a.terms(s)
	for k := range a.own {
		for i, w := range d {
			dv[k*a.slots+i] = w * v[k*a.slots+i]
		}
	}
	l := a.lOf(s)
	mulTrans(l.a, v, dv, a.own, a.slots, a.own)
	l.addDiagonal(1)
	if !l.cholesky() {
		panic("fit: a session's own terms are not positive definite")
	}
	f := a.fOf(s)
	copy(f, dv)
	solveLower(l, f, a.slots)
}

// solveLower replaces the rows of x (n x m) by L^-1 x.
func solveLower(l square, x []float64, m int) {
	blas64.Trsm(blas.Left, blas.NoTrans, 1,
		blas64.Triangular{N: l.n, Stride: l.n, Data: l.a, Uplo: blas.Lower, Diag: blas.NonUnit},
		general(l.n, m, x))
}

// updatePair builds G over the sessions of a pair measured more than once.
func (a *absorbed) updatePair(p int, d []float64) {
	pair := a.pairs[p]
	n := a.nOf(p)
	clear(n.a)
	n.addDiagonal(1)
	part := newSquare(a.smooth)
	for s := pair.first; s < pair.last; s++ {
		g := a.gOf(int(s)) // R^-1 B, rows
		for k := range a.smooth {
			row := g[k*a.slots:][:a.slots]
			a.solveSession(int(s), d[int(s)*a.slots:][:a.slots], a.b[k*a.slots:][:a.slots], row)
		}
		mulTrans(part.a, a.b, g, a.smooth, a.slots, a.smooth)
		add(part.a, n.a)
	}
	if !n.cholesky() {
		panic("fit: a pair's interaction is not positive definite")
	}
	for s := pair.first; s < pair.last; s++ {
		solveLower(n, a.gOf(int(s)), a.slots)
	}
}

// solveSession sets z = R^-1 x for one session.
func (a *absorbed) solveSession(s int, d, x, z []float64) {
	for i, w := range d {
		z[i] = w * x[i]
	}
	f := a.fOf(s)
	for k := range a.own {
		row := f[k*a.slots:][:a.slots]
		axpy(-dot(row, x), row, z)
	}
}

// solvePair sets z = (blockdiag R + B B')^-1 x over the sessions of pair p;
// x and z are sessions x J, of the whole catalog.
func (a *absorbed) solvePair(p int, d, x, z []float64) {
	pair := a.pairs[p]
	for s := int(pair.first); s < int(pair.last); s++ {
		at := s * a.slots
		a.solveSession(s, d[at:at+a.slots], x[at:at+a.slots], z[at:at+a.slots])
	}
	if !pair.repeated() {
		return
	}
	for k := range a.smooth {
		c := 0.0
		for s := int(pair.first); s < int(pair.last); s++ {
			c += dot(a.gOf(s)[k*a.slots:][:a.slots], x[s*a.slots:][:a.slots])
		}
		for s := int(pair.first); s < int(pair.last); s++ {
			axpy(-c, a.gOf(s)[k*a.slots:][:a.slots], z[s*a.slots:][:a.slots])
		}
	}
}

// ownTerms recovers, from the residuals x of a session (J, what the levels do
// not explain), the whitened values of its own terms: (I + V'DV)^-1 V'D x.
func (a *absorbed) ownTerms(s int, x, out []float64) {
	f := a.fOf(s)
	for k := range a.own {
		out[k] = dot(f[k*a.slots:][:a.slots], x)
	}
	solveLowerTrans(a.lOf(s), out)
}

// pairTerms recovers the whitened interaction of a repeated pair.
func (a *absorbed) pairTerms(p int, x, out []float64) {
	pair := a.pairs[p]
	for k := range a.smooth {
		out[k] = 0
		for s := int(pair.first); s < int(pair.last); s++ {
			out[k] += dot(a.gOf(s)[k*a.slots:][:a.slots], x[s*a.slots:][:a.slots])
		}
	}
	solveLowerTrans(a.nOf(p), out)
}

// solveLowerTrans replaces x by L^-T x.
func solveLowerTrans(l square, x []float64) {
	blas64.Trsv(blas.Trans, blas64.Triangular{N: l.n, Stride: l.n, Data: l.a, Uplo: blas.Lower, Diag: blas.NonUnit}, vector(x))
}
