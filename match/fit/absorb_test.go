package fit

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// absorbCase is an engine over pairs measured once, twice and four times, with
// missing cells, a session of a single cell, and one cell that counts for very
// much.
func absorbCase(t *testing.T, c *Components) *engine {
	t.Helper()
	rng := seeded(4)
	s := newShelf([]string{"Alder", "Rowan"}, []string{"Plover 16.2", "Dunlin 16.6"}, []string{"reed-otter", "blue-kite"})
	slots := StandardSlots()
	play := func(horn, mouthpiece, player string, share float64) {
		var played = slots[:0:0]
		for _, slot := range slots {
			if rng.Float64() < share {
				played = append(played, slot)
			}
		}
		if len(played) == 0 {
			played = slots[7:8]
		}
		s.measure(horn, mouthpiece, player, played, func(int) float64 { return 8 * rng.NormFloat64() })
	}
	play("Alder", "Plover 16.2", "reed-otter", 0.8)
	play("Alder", "Dunlin 16.6", "reed-otter", 0.5)
	play("Alder", "Dunlin 16.6", "blue-kite", 1)
	for range 3 {
		play("Rowan", "Dunlin 16.6", "blue-kite", 0.6)
	}
	play("Rowan", "Dunlin 16.6", "reed-otter", 0)
	play("Rowan", "Plover 16.2", "reed-otter", 0)
	e := newEngine(s.load(t), c, 3, false)
	e.startCells()
	for i := range e.sys.d {
		e.sys.d[i] *= 0.3 + rng.Float64()
	}
	e.sys.d[7] *= 1e4
	e.refresh()
	return e
}

// naive holds, for the sessions of one pair, the covariance of the cells apart
// from the levels, R, and its parts, over the cells that were read.
type naive struct {
	session, slot   []int
	own, pair, r    *mat.SymDense // own: offset and slide; pair: interaction
	wiggle, inverse *mat.SymDense
}

func naivePair(t *testing.T, e *engine, p pairRange) naive {
	t.Helper()
	long := &marginal{e: e, data: e.data}
	long.setOwn()
	var n naive
	for s := int(p.first); s < int(p.last); s++ {
		for k := range e.sys.slots {
			if e.sys.d[s*e.sys.slots+k] > 0 {
				n.session, n.slot = append(n.session, s), append(n.slot, k)
			}
		}
	}
	size := len(n.slot)
	n.own, n.pair, n.r = mat.NewSymDense(size, nil), mat.NewSymDense(size, nil), mat.NewSymDense(size, nil)
	n.wiggle, n.inverse = mat.NewSymDense(size, nil), mat.NewSymDense(size, nil)
	c := e.comp
	for i := range size {
		for k := range i + 1 {
			smooth := long.wiggle.At(n.slot[i], n.slot[k])
			n.pair.SetSym(i, k, c.Interaction*c.Interaction*smooth)
			if n.session[i] == n.session[k] {
				n.wiggle.SetSym(i, k, c.Wiggle*c.Wiggle*smooth)
				n.own.SetSym(i, k, long.own.At(n.slot[i], n.slot[k])-c.Wiggle*c.Wiggle*smooth)
			}
			n.r.SetSym(i, k, n.own.At(i, k)+n.wiggle.At(i, k)+n.pair.At(i, k))
		}
		n.r.SetSym(i, i, n.r.At(i, i)+1/e.sys.d[n.session[i]*e.sys.slots+n.slot[i]])
	}
	var chol mat.Cholesky
	if !chol.Factorize(n.r) {
		t.Fatal("R is not positive definite")
	}
	if err := chol.InverseTo(n.inverse); err != nil {
		t.Fatal(err)
	}
	return n
}

func variousComponents() map[string]*Components {
	off := testComponents(1)
	off.Interaction = 0
	still := testComponents(1)
	still.Wiggle = 0
	bare := testComponents(1)
	bare.Offset, bare.Slide, bare.Correlation, bare.Wiggle, bare.Interaction = 0, 0, 0, 0, 0
	bare.factorSession()
	tied := testComponents(1)
	tied.Correlation = 0.98
	tied.factorSession()
	return map[string]*Components{"all": testComponents(1), "no interaction": off, "no wiggle": still, "nothing": bare, "offset tied to slide": tied}
}

func randomCells(e *engine, seed uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 2))
	x := make([]float64, len(e.sys.d))
	for i := range x {
		x[i] = 10 * rng.NormFloat64() // in cells that were not read too
	}
	return x
}

// R^-1 with the terms of sessions and pairs absorbed is the inverse of R, pair
// by pair; cells that were not read neither give nor take anything.
func TestAbsorbedInverse(t *testing.T) {
	for name, c := range variousComponents() {
		e := absorbCase(t, c)
		x := randomCells(e, 1)
		z := make([]float64, len(x))
		e.sys.weigh(x, z)
		repeated, lone := 0, 0
		for _, p := range e.sys.terms.pairs {
			if p.repeated() {
				repeated++
			} else {
				lone++
			}
			n := naivePair(t, e, p)
			want := make([]float64, len(x))
			for i, s := range n.session {
				for k, o := range n.session {
					want[s*e.sys.slots+n.slot[i]] += n.inverse.At(i, k) * x[o*e.sys.slots+n.slot[k]]
				}
			}
			for i := int(p.first) * e.sys.slots; i < int(p.last)*e.sys.slots; i++ {
				if !(math.Abs(z[i]-want[i]) <= 1e-9*(1+math.Abs(want[i]))) {
					t.Fatalf("%s: cell %d of session %d: R^-1 x is %.12g, want %.12g", name, i%e.sys.slots, i/e.sys.slots, z[i], want[i])
				}
			}
		}
		if repeated != 2 || lone != 2 {
			t.Fatalf("%d repeated and %d lone pairs, want two of each", repeated, lone)
		}
	}
}

// What is recovered of sessions and pairs is their conditional expectation,
// Cov(part, cells) R^-1 x, here with nothing for the levels to explain.
func TestRecoveredTermsAreConditionalExpectations(t *testing.T) {
	for name, c := range variousComponents() {
		e := absorbCase(t, c)
		y := randomCells(e, 2)
		for i, d := range e.sys.d {
			if d == 0 {
				y[i] = 0
			}
		}
		st := e.newState()
		e.recover(&st, y)
		j, terms := e.sys.slots, e.sys.terms
		for p, pair := range terms.pairs {
			n := naivePair(t, e, pair)
			cells := mat.NewVecDense(len(n.slot), nil)
			for i := range n.slot {
				cells.SetVec(i, y[n.session[i]*j+n.slot[i]])
			}
			var weighed, own, wiggle, interaction mat.VecDense
			weighed.MulVec(n.inverse, cells)
			own.MulVec(n.own, &weighed)
			wiggle.MulVec(n.wiggle, &weighed)
			interaction.MulVec(n.pair, &weighed)
			near := func(what string, i int, got, want float64) {
				if !(math.Abs(got-want) <= 1e-8) {
					t.Fatalf("%s, pair %d, session %d, slot %d: %s is %.10f, want %.10f", name, p, n.session[i], n.slot[i], what, got, want)
				}
			}
			kappa := st.pair[p*smoothKnots:][:smoothKnots]
			for i, s := range n.session {
				slot := n.slot[i]
				near("all together", i, st.fitted[s*j+slot], own.AtVec(i)+wiggle.AtVec(i)+interaction.AtVec(i))
				shared := dot(e.smooth[slot*smoothKnots:][:smoothKnots], kappa)
				near("the interaction", i, shared, interaction.AtVec(i))
				w, v := st.own[s*terms.own:][:terms.own], terms.v[1]
				near("offset and slide", i, w[0]*v[slot]+w[1]*v[j+slot], own.AtVec(i))
			}
		}
	}
}

// With fewer readings the fitted cells of empty slots are still filled in: a
// session of one note tells something of all, and never a NaN.
func TestFittedCellsAreFinite(t *testing.T) {
	for name, c := range variousComponents() {
		e := absorbCase(t, c)
		st := e.newState()
		e.recover(&st, e.y)
		for i, v := range st.fitted {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("%s: fitted cell %d is %v", name, i, v)
			}
		}
	}
}
