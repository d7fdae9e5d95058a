package belief

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"

	"centwise/match/tuning"
)

// Worlds are joint draws from a belief: in each the profile of every setup.
type Worlds struct {
	n, count int
	profiles [][]float64 // by setup: count x n
	source   *rand.PCG
	rng      *rand.Rand
}

// Draw makes so many worlds. It panics when the belief has learned already: let
// worlds follow instead.
func (b *Belief) Draw(count int, seed uint64) *Worlds {
	if len(b.lessons) > 0 {
		panic("belief: worlds are drawn before anything is learned")
	}
	source := rand.NewPCG(seed, 0x776f726c6473)
	w := &Worlds{n: b.n, count: count, source: source, rng: rand.New(source)}
	for i := range b.means {
		w.profiles = append(w.profiles, make([]float64, count*b.n))
		for k := range count {
			copy(w.profiles[i][k*b.n:], b.means[i])
		}
	}
	if b.link > 0 {
		z := w.normals(b.draws, math.Sqrt(b.link/float64(b.draws)))
		for i, total := range b.total {
			w.add(i, z, total, b.draws)
		}
	}
	byItem := map[int][]float64{}
	for p := range b.parts {
		x := &b.parts[p]
		rows, matrix, scale := b.n, transposed(x.root, b.n), 1.0
		if x.deviations != nil {
			if b.link == 1 {
				continue
			}
			rows, matrix, scale = b.draws, x.deviations, math.Sqrt((1-b.link)/float64(b.draws))
		}
		if byItem[x.item] == nil {
			byItem[x.item] = w.normals(rows, scale)
		}
		for i, of := range b.of {
			for _, q := range of {
				if p == q {
					w.add(i, byItem[x.item], matrix, rows)
				}
			}
		}
	}
	return w
}

// transposed is a lower factor as the rows that normals are multiplied with.
func transposed(root []float64, n int) []float64 {
	if root == nil {
		return nil
	}
	out := make([]float64, n*n)
	for i := range n {
		for j := range n {
			out[j*n+i] = root[i*n+j]
		}
	}
	return out
}

// normals are count x columns normal numbers of a size.
func (w *Worlds) normals(columns int, sd float64) []float64 {
	z := make([]float64, w.count*columns)
	for i := range z {
		z[i] = sd * w.rng.NormFloat64()
	}
	return z
}

// add adds z (count x rows) times a matrix (rows x n) to the profiles of a setup.
func (w *Worlds) add(i int, z, matrix []float64, rows int) {
	blas64.Gemm(blas.NoTrans, blas.NoTrans, 1, general(w.count, rows, z), general(rows, w.n, matrix), 1, general(w.count, w.n, w.profiles[i]))
}

// learn lets every world follow a session with setup i: it makes up what the
// session would have read in that world, and moves the world by what the true
// readings y are off that.
func (w *Worlds) learn(i int, notes []int, y, root, scatter []float64, gains [][]float64) {
	m := len(notes)
	off := make([]float64, 0, w.count*m)
	z := make([]float64, m)
	for k := range w.count {
		for a := range z {
			z[a] = w.rng.NormFloat64()
		}
		row := make([]float64, m)
		for a, note := range notes {
			row[a] = y[a] - w.profiles[i][k*w.n+note] - dot(scatter[a*m:][:a+1], z)
		}
		solveLower(root, m, row)
		off = append(off, row...)
	}
	for s, g := range gains {
		blas64.Gemm(blas.NoTrans, blas.Trans, 1, general(w.count, m, off), general(w.n, m, g), 1, general(w.count, w.n, w.profiles[s]))
	}
}

// Profile is the profile of a setup in world k.
func (w *Worlds) Profile(i, k int) []float64 { return w.profiles[i][k*w.n:][:w.n] }

// Errors gives what setup i leaves to the lip in every world, in cents.
func (w *Worlds) Errors(p *tuning.Problem, i int) []float64 {
	rows := make([][]float64, w.count)
	for k := range rows {
		rows[k] = w.Profile(i, k)
	}
	out := make([]float64, w.count)
	p.Errors(out, rows)
	return out
}

// Clone gives worlds of their own, which go on alike.
func (w *Worlds) Clone() *Worlds {
	source := *w.source
	out := &Worlds{n: w.n, count: w.count, source: &source, rng: rand.New(&source)}
	for _, p := range w.profiles {
		out.profiles = append(out.profiles, append([]float64(nil), p...))
	}
	return out
}
