package fit

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// law draws truths and readings from the model's own law, from its definitions:
// every level's profiles from the level's covariance, then sessions and pairs,
// then reading noise. Nothing of the engine's whitening or perturbation is used.
// For catalogs of B-flat instruments without dimensions.
type law struct {
	e     *engine
	rng   *rand.Rand
	roots []*mat.Dense // per level, J x p: coefficients from standard normal ones
	smooth,
	own *mat.Dense // J x smoothKnots; J x 2
}

// truth is one world: per level the profile of each block, J cents; the
// interaction of each pair; and the readings.
type lawTruth struct {
	blocks [][][]float64
	pairs  map[[2]int][]float64
	law    *law
}

func newLaw(t testing.TB, e *engine, seed uint64) *law {
	t.Helper()
	w := &law{e: e, rng: seeded(seed)}
	n, c := e.sys.slots, e.comp
	for _, l := range e.sys.levels {
		if l.loads != nil {
			t.Fatal("the law knows no dimensions")
		}
		root := choleskyRoot(t, mat.NewSymDense(l.p, l.cov.a))
		if l.coef[0] != nil {
			var out mat.Dense
			out.Mul(mat.NewDense(n, l.p, l.coef[0]), root)
			root = &out
		}
		w.roots = append(w.roots, root)
	}
	long := &marginal{e: e, data: e.data}
	long.setOwn()
	var eigen mat.EigenSym
	if !eigen.Factorize(long.wiggle, true) {
		t.Fatal("no eigenvectors of the wiggle")
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	w.smooth = mat.NewDense(n, n, nil)
	for k, v := range eigen.Values(nil) {
		for i := range n {
			w.smooth.Set(i, k, vectors.At(i, k)*math.Sqrt(math.Max(0, v)))
		}
	}
	w.own = mat.NewDense(n, 2, nil)
	root := choleskyRoot(t, mat.NewSymDense(2, []float64{c.Offset * c.Offset, c.Correlation * c.Offset * c.Slide, c.Correlation * c.Offset * c.Slide, c.Slide * c.Slide}))
	for j, s := range e.data.Slots {
		w.own.Set(j, 0, root.At(0, 0)+root.At(1, 0)/s.Valves.Ratio())
		w.own.Set(j, 1, root.At(1, 1)/s.Valves.Ratio())
	}
	return w
}

func choleskyRoot(t testing.TB, c *mat.SymDense) *mat.Dense {
	t.Helper()
	n := c.SymmetricDim()
	ridged := mat.NewSymDense(n, nil)
	for i := range n {
		for j := range i + 1 {
			ridged.SetSym(i, j, c.At(i, j))
		}
		ridged.SetSym(i, i, c.At(i, i)*(1+1e-8)+1e-12)
	}
	var chol mat.Cholesky
	if !chol.Factorize(ridged) {
		t.Fatal("a covariance is not positive definite")
	}
	var l mat.TriDense
	chol.LTo(&l)
	return mat.DenseCopyOf(&l)
}

// draw is root times standard normal numbers.
func (w *law) draw(root *mat.Dense) []float64 {
	n, p := root.Dims()
	z := mat.NewVecDense(p, nil)
	for k := range p {
		z.SetVec(k, w.rng.NormFloat64())
	}
	out := mat.NewVecDense(n, nil)
	out.MulVec(root, z)
	return out.RawVector().Data
}

func scaledBy(v []float64, f float64) []float64 {
	for i := range v {
		v[i] *= f
	}
	return v
}

// world draws all effects.
func (w *law) world() *lawTruth {
	t := &lawTruth{law: w, pairs: map[[2]int][]float64{}}
	for k, l := range w.e.sys.levels {
		var blocks [][]float64
		for range l.blocks {
			blocks = append(blocks, w.draw(w.roots[k]))
		}
		t.blocks = append(t.blocks, blocks)
	}
	return t
}

// pair is the interaction of a horn with a mouthpiece.
func (t *lawTruth) pair(horn, mouthpiece int) []float64 {
	key := [2]int{horn, mouthpiece}
	if t.pairs[key] == nil {
		t.pairs[key] = scaledBy(t.law.draw(t.law.smooth), t.law.e.comp.Interaction)
	}
	return t.pairs[key]
}

// profile is a setup's deviation on every slot; -1 stands for typical items.
func (t *lawTruth) profile(o occasion) []float64 {
	e := t.law.e
	out := append([]float64(nil), e.prior.common...)
	for k, l := range e.sys.levels {
		item := map[string]int{levelCommon: 0, levelHorn: o.horn, levelHornDesign: o.horn, levelMouthpiece: o.mouthpiece, levelMouthpieceDesign: o.mouthpiece,
			levelMouthpieceSlots: o.mouthpiece, levelPlayer: o.player, levelPlayerSlots: o.player}[l.name]
		if item >= 0 {
			add(t.blocks[k][l.block(item)], out)
		}
	}
	if o.horn >= 0 && o.mouthpiece >= 0 {
		add(t.pair(o.horn, o.mouthpiece), out)
	}
	return out
}

// read draws the readings of every session into data: one a reading that is
// there, good or gross.
func (t *lawTruth) read(data *Data) {
	w, c := t.law, t.law.e.comp
	for s := range data.sessions {
		row := &data.sessions[s]
		cents := t.profile(occasion{int(row.horn), int(row.mouthpiece), int(row.player), s})
		add(w.draw(w.own), cents)
		add(scaledBy(w.draw(w.smooth), c.Wiggle), cents)
		for k := row.begin; k < row.end; k++ {
			sd := c.SourceNoise[row.source]
			if w.rng.Float64() < c.GrossShare {
				sd *= c.GrossFactor
			}
			data.cents[k] = cents[data.slot[k]] + sd*w.rng.NormFloat64()
		}
	}
}
