package fit

import (
	"math"
	"testing"

	"centwise/catalog"

	"gonum.org/v1/gonum/mat"
)

// marginal is the model written out the long way: the covariance of all cells
// from the definitions of its parts, and predictions as conditional
// expectations of normal variables,
//
//	E[t | y] = Cov(t, y) V^-1 y,   Var[t | y] = Var(t) - Cov(t, y) V^-1 Cov(y, t),
//
// with no mixed-model equations, whitening, absorption or preconditioner. It
// takes from the engine the levels' covariances, the components, and the
// cells' precisions.
type marginal struct {
	e        *engine
	data     *Data
	z        [][dimensionCount]float64
	classOf  map[int]int // transposition to class
	own      *mat.SymDense
	wiggle   *mat.SymDense // of unit variance
	profiles map[[3]int]*mat.Dense
	cells    [][2]int // session, slot
	chol     mat.Cholesky
}

// expected is the prior mean of an occasion's profile.
func (m *marginal) expected(o occasion) []float64 {
	out := append([]float64(nil), m.e.prior.common...)
	for _, l := range m.e.sys.levels {
		if l.loads == nil || o.mouthpiece < 0 {
			continue
		}
		class := m.classOf[bbTransposition]
		if o.horn >= 0 {
			class = m.classOf[m.data.Horns[o.horn].Transposition]
		}
		for d, z := range m.z[o.mouthpiece] {
			for j := range out {
				out[j] += z * dot(l.coef[class][j*l.p:][:l.p], l.expected[d*l.p:][:l.p])
			}
		}
	}
	return out
}

// occasion is a session, or a setup to predict: then session is -1, and items
// may be -1 for a typical one.
type occasion struct{ horn, mouthpiece, player, session int }

func newMarginal(t testing.TB, e *engine) *marginal {
	t.Helper()
	m := &marginal{e: e, data: e.data, classOf: map[int]int{}, profiles: map[[3]int]*mat.Dense{}}
	m.z = e.data.z
	list, _ := e.data.classes()
	for class, transposition := range list {
		m.classOf[transposition] = class
	}
	m.setOwn()
	j := e.sys.slots
	for s := range e.data.sessions {
		for k := range j {
			if e.sys.d[s*j+k] > 0 {
				m.cells = append(m.cells, [2]int{s, k})
			}
		}
	}
	v := mat.NewSymDense(max(1, len(m.cells)), nil)
	for a, first := 0, 0; a < len(e.data.sessions); a++ {
		for b, other := 0, 0; b <= a; b++ {
			c := m.covariance(m.sessionOccasion(a), m.sessionOccasion(b))
			m.eachCell(a, first, func(row, i int) {
				m.eachCell(b, other, func(col, k int) {
					if col <= row {
						v.SetSym(row, col, c.At(i, k))
					}
				})
			})
			other += m.cellsOf(b)
		}
		first += m.cellsOf(a)
	}
	for i, c := range m.cells {
		v.SetSym(i, i, v.At(i, i)+1/e.sys.d[c[0]*j+c[1]])
	}
	if len(m.cells) == 0 {
		v.SetSym(0, 0, 1)
	}
	if !m.chol.Factorize(v) {
		t.Fatal("the covariance of the cells is not positive definite")
	}
	return m
}

func (m *marginal) cellsOf(session int) int {
	n := 0
	for _, d := range m.e.sys.d[session*m.e.sys.slots:][:m.e.sys.slots] {
		if d > 0 {
			n++
		}
	}
	return n
}

// eachCell visits a session's cells; the first of them is at place first.
func (m *marginal) eachCell(session, first int, visit func(at, slot int)) {
	for k, d := range m.e.sys.d[session*m.e.sys.slots:][:m.e.sys.slots] {
		if d > 0 {
			visit(first, k)
			first++
		}
	}
}

// setOwn works out the covariance of a session's own terms and of the smooth
// differences from their definitions.
func (m *marginal) setOwn() {
	slots, c := m.data.Slots, m.e.comp
	n := len(slots)
	basis := mat.NewDense(n, smoothKnots, smoothBasis(slots))
	shape := wigglePattern()
	var half, smooth mat.Dense
	half.Mul(basis, mat.NewDense(smoothKnots, smoothKnots, shape.a))
	smooth.Mul(&half, basis.T())
	mean := mat.Trace(&smooth) / float64(n)
	m.own, m.wiggle = mat.NewSymDense(n, nil), mat.NewSymDense(n, nil)
	for i, a := range slots {
		for k, b := range slots[:i+1] {
			x, y := 1/a.Valves.Ratio(), 1/b.Valves.Ratio()
			m.wiggle.SetSym(i, k, smooth.At(i, k)/mean)
			m.own.SetSym(i, k, c.Offset*c.Offset+c.Correlation*c.Offset*c.Slide*(x+y)+c.Slide*c.Slide*x*y+
				c.Wiggle*c.Wiggle*smooth.At(i, k)/mean)
		}
	}
}

func (m *marginal) sessionOccasion(s int) occasion {
	row := m.data.sessions[s]
	return occasion{int(row.horn), int(row.mouthpiece), int(row.player), s}
}

// class is the place of the horn's transposition among the model's; a typical
// horn is in B flat.
func (m *marginal) class(o occasion) int {
	if o.horn < 0 {
		return m.classOf[bbTransposition]
	}
	return m.classOf[m.data.Horns[o.horn].Transposition]
}

// shared is how much of a level's effect two occasions share: 1 for the same
// horn, say, 0 for different ones; for dimensions the product of the loads.
func (m *marginal) shared(name string, a, b occasion) float64 {
	both := func(x, y int, key func(i int) string) float64 {
		return same(x >= 0 && y >= 0 && (x == y || key(x) != "" && key(x) == key(y)))
	}
	none := func(int) string { return "" }
	switch name {
	case levelCommon:
		return 1
	case levelFamily:
		return both(a.horn, b.horn, func(i int) string { return m.data.Horns[i].Family })
	case levelHornDesign:
		return both(a.horn, b.horn, func(i int) string { return m.data.Horns[i].Design })
	case levelHorn:
		return both(a.horn, b.horn, none)
	case levelMouthpieceDesign:
		return both(a.mouthpiece, b.mouthpiece, func(i int) string { return m.data.Mouthpieces[i].Design })
	case levelMouthpiece, levelMouthpieceSlots:
		return both(a.mouthpiece, b.mouthpiece, none)
	case levelUnknownDimension: // mouthpieces of which nothing is known stand apart
		for _, o := range []occasion{a, b} {
			if o.mouthpiece < 0 || m.z[o.mouthpiece] != [dimensionCount]float64{} {
				return 0
			}
		}
		return both(a.mouthpiece, b.mouthpiece, func(i int) string { return m.data.Mouthpieces[i].Design })
	case levelPlayer, levelPlayerSlots:
		return both(a.player, b.player, none)
	case levelDimensions:
		if a.mouthpiece < 0 || b.mouthpiece < 0 {
			return 0
		}
		return dot(m.z[a.mouthpiece][:], m.z[b.mouthpiece][:])
	}
	panic("fit: a level that the long way does not know: " + name)
}

// profile is the covariance of one block of level k as it sounds on two
// classes of instruments, J x J.
func (m *marginal) profile(k, class, other int) *mat.Dense {
	key := [3]int{k, class, other}
	if m.profiles[key] == nil {
		l, n := m.e.sys.levels[k], m.e.sys.slots
		cov := square{l.p, append([]float64(nil), l.cov.a...)}
		scaleRidge(cov)
		coef := func(class int) mat.Matrix {
			if l.coef[0] == nil {
				return mat.NewDense(n, n, pattern(n, func(i, j int) float64 { return same(i == j) }).a)
			}
			return mat.NewDense(n, l.p, l.coef[class])
		}
		var half, out mat.Dense
		half.Mul(coef(class), mat.NewDense(l.p, l.p, cov.a))
		out.Mul(&half, coef(other).T())
		m.profiles[key] = &out
	}
	return m.profiles[key]
}

// covariance of two occasions' cells without reading noise, J x J.
func (m *marginal) covariance(a, b occasion) *mat.Dense {
	n := m.e.sys.slots
	out := mat.NewDense(n, n, nil)
	addScaled := func(scale float64, part mat.Matrix) {
		if scale != 0 {
			var x mat.Dense
			x.Scale(scale, part)
			out.Add(out, &x)
		}
	}
	for k, l := range m.e.sys.levels {
		if f := m.shared(l.name, a, b); f != 0 {
			addScaled(f, m.profile(k, m.class(a), m.class(b)))
		}
	}
	if a.horn >= 0 && a.mouthpiece >= 0 && a.horn == b.horn && a.mouthpiece == b.mouthpiece {
		addScaled(m.e.comp.Interaction*m.e.comp.Interaction, m.wiggle)
	}
	if a.session >= 0 && a.session == b.session {
		addScaled(1, m.own)
	}
	return out
}

// towardsCells is Cov(o, y), J x cells, centred over the usual notes.
func (m *marginal) towardsCells(o occasion) *mat.Dense {
	out := mat.NewDense(m.e.sys.slots, max(1, len(m.cells)), nil)
	at := 0
	for s := range m.data.sessions {
		c := m.covariance(o, m.sessionOccasion(s))
		m.eachCell(s, at, func(col, slot int) {
			for i := range m.e.sys.slots {
				out.Set(i, col, c.At(i, slot))
			}
		})
		at += m.cellsOf(s)
	}
	centreRows(m.data, out)
	return out
}

// centreRows subtracts the mean of the usual notes' rows from every row.
func centreRows(d *Data, x *mat.Dense) {
	rows, cols := x.Dims()
	usual := usualSlots()
	for c := range cols {
		mean := 0.0
		for _, s := range usual {
			mean += x.At(d.slotIndex[s], c) / float64(len(usual))
		}
		for r := range rows {
			x.Set(r, c, x.At(r, c)-mean)
		}
	}
}

// means predicts setups from the engine's cells: relative profiles over all
// slots of the model.
func (m *marginal) means(t testing.TB, targets []occasion) [][]float64 {
	t.Helper()
	j := m.e.sys.slots
	y := mat.NewVecDense(max(1, len(m.cells)), nil)
	for i, c := range m.cells {
		y.SetVec(i, m.e.y[c[0]*j+c[1]])
	}
	var x mat.VecDense
	if err := m.chol.SolveVecTo(&x, y); err != nil {
		t.Fatal(err)
	}
	out := make([][]float64, len(targets))
	for k, o := range targets {
		var v mat.VecDense
		v.MulVec(m.towardsCells(o), &x)
		base := mat.NewDense(j, 1, m.expected(o))
		centreRows(m.data, base)
		out[k] = make([]float64, j)
		for i := range out[k] {
			out[k][i] = v.AtVec(i) + base.At(i, 0)
		}
	}
	return out
}

// posterior is the covariance of two setups' relative profiles given the cells.
func (m *marginal) posterior(t testing.TB, a, b occasion) *mat.Dense {
	t.Helper()
	prior := m.covariance(a, b)
	centreRows(m.data, prior)
	var turned mat.Dense
	turned.CloneFrom(prior.T())
	centreRows(m.data, &turned)
	var solved, explained, out mat.Dense
	if err := m.chol.SolveTo(&solved, m.towardsCells(b).T()); err != nil {
		t.Fatal(err)
	}
	explained.Mul(m.towardsCells(a), &solved)
	out.Sub(turned.T(), &explained)
	return &out
}

// sdOf is the root of a covariance's diagonal.
func sdOf(c *mat.Dense) []float64 {
	n, _ := c.Dims()
	out := make([]float64, n)
	for i := range out {
		out[i] = math.Sqrt(math.Max(0, c.At(i, i)))
	}
	return out
}

// occasionOf finds a setup's places.
func (m *marginal) occasionOf(s Setup) occasion {
	o := occasion{-1, -1, -1, -1}
	for i, h := range m.data.Horns {
		if h.ID == s.Horn {
			o.horn = i
		}
	}
	for i, x := range m.data.Mouthpieces {
		if x.ID == s.Mouthpiece {
			o.mouthpiece = i
		}
	}
	for i, p := range m.data.Players {
		if p.ID == s.Player {
			o.player = i
		}
	}
	return o
}

// solved runs an engine without learning: the components as given, and the
// model with the given number of draws. exact false forces the iterative
// solver whatever the size.
func solved(t testing.TB, e *engine, p plan, exact bool) *Model {
	t.Helper()
	e.startCells()
	e.refresh()
	if !exact {
		e.sys.exact = nil
	}
	var report Report
	tables, err := e.conclude(t.Context(), p, &report, catalog.NoCounter{})
	if err != nil {
		t.Fatal(err)
	}
	return e.finish(tables, report)
}
