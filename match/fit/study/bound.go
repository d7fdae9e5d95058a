package main

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"sync"

	"centwise/match/fit/simulate"
	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"
)

// bound predicts with everything known but the truth itself: the covariances
// that the world was drawn from, the noise and rounding of every contributor,
// which sessions are wrong and what dimensions do. Only which readings are
// gross is left to be found. What it reaches is the best that a linear
// prediction with robust weights can; a method clearly better has seen the
// truth. Its solver shares nothing with the fit's.
//
// Every effect is written as a vector v = L z with z standard normal, L L' its
// true covariance. The z of all effects solve
//
//	(I + L'Z'R^-1 Z L) z = L'Z'R^-1 y,
//
// with R the covariance of a session's readings given the effects: noise, shift,
// slide and wiggle of the day.
type bound struct {
	draws int
	seed  uint64

	w        *simulate.World
	families []*family
	cells    []cell // one per session
	day      *mat.Dense
	known    [][]float64 // per mouthpiece: what its dimensions are known to do; nil if nothing
	z        []float64
	errors   [][]float64 // draws of z minus its estimate
	rounds   int         // of reweighting
	steps    int         // of conjugate gradients in the last solve
}

// family is all effects of one kind: horns, say. Effects are 45-vectors L z.
type family struct {
	name    string
	loading *mat.Dense // slots x rank
	rank    int
	count   int
	first   int   // of its z among all
	of      []int // effect in each session, -1 if none
	visits  [][]int
	// blocks are the inverses of the diagonal blocks of the system.
	blocks []*mat.SymDense
}

// cell holds a session's readings by slot: precision and weighted mean, and the
// columns V of R^-1 = D - V V', D the precisions.
type cell struct {
	precision, mean []float64
	v               []float64 // slots x rank of the day, by rows
	gross           []float64 // per reading: chance that it is gross
}

// How far the preconditioned residual must fall: for the answer, and for draws
// and rounds of reweighting, which need less.
const (
	sharply = 1e-5
	roughly = 3e-4
)

func (*bound) Name() string { return "bound" }

// meanSD is the wide prior of each slot of the common tendency, cents.
const meanSD = 50

func (b *bound) Fit(ctx context.Context, w *simulate.World) error {
	b.w = w
	b.build()
	b.start()
	before := math.Inf(1)
	for b.rounds = 1; b.rounds <= 30; b.rounds++ {
		b.factorize()
		if err := b.improve(ctx, roughly); err != nil {
			return err
		}
		change := b.reweigh()
		if change < 3e-4 || math.Abs(before-change) < 1e-5 {
			break
		}
		before = change
	}
	b.factorize()
	if err := b.improve(ctx, sharply); err != nil {
		return err
	}
	return b.perturb(ctx)
}

// improve solves for the readings, starting from the present answer.
func (b *bound) improve(ctx context.Context, tolerance float64) (err error) {
	b.z, err = b.solve(ctx, b.rightHandSide(b.readMeans()), b.z, tolerance)
	return err
}

// build lays out the effects of the world and of its sessions.
func (b *bound) build() {
	w := b.w
	b.families, b.known = nil, make([][]float64, len(w.Mouthpieces))
	wide := mat.NewSymDense(len(simulate.Slots), nil)
	for j := range simulate.Slots {
		wide.SetSym(j, j, meanSD*meanSD)
	}
	b.add("mean", wide, 1, func(simulate.Session) int { return 0 })
	b.add("horn", w.TrueCovariance(simulate.OfHornSpecimen), len(w.Horns), func(s simulate.Session) int { return s.Horn })
	b.add("mouthpiece", w.TrueCovariance(simulate.OfMouthpieceSpecimen), len(w.Mouthpieces), func(s simulate.Session) int { return s.Mouthpiece })
	b.add("player", w.TrueCovariance(simulate.OfPlayer), len(w.Players), func(s simulate.Session) int { return s.Player })
	pairs := map[simulate.Pair]int{}
	for _, s := range w.Sessions {
		if p := (simulate.Pair{Horn: s.Horn, Mouthpiece: s.Mouthpiece}); s.Wrong == "" {
			if _, ok := pairs[p]; !ok {
				pairs[p] = len(pairs)
			}
		}
	}
	b.add("pair", w.TrueCovariance(simulate.OfPair), len(pairs), func(s simulate.Session) int {
		return pairs[simulate.Pair{Horn: s.Horn, Mouthpiece: s.Mouthpiece}]
	})
	if w.Kind == simulate.Harder {
		b.addDesigns()
	}
	b.day = loading(b.dayCovariance())
}

// addDesigns lays out the designs of the harder kind. What known dimensions do
// is taken as known; only the rest of such a design is random.
func (b *bound) addDesigns() {
	w := b.w
	b.add("horn design", w.TrueCovariance(simulate.OfHornDesign), designs(w.Horns), func(s simulate.Session) int { return w.Horns[s.Horn].Design })
	count := designs(w.Mouthpieces)
	pick := func(known bool) func(simulate.Session) int {
		return func(s simulate.Session) int {
			if m := w.Mouthpieces[s.Mouthpiece]; m.Known == known {
				return m.Design
			}
			return -1
		}
	}
	b.add("described design", w.TrueCovariance(simulate.OfMouthpieceRest), count, pick(true))
	b.add("undescribed design", w.TrueCovariance(simulate.OfMouthpieceDesign), count, pick(false))
	for i, m := range w.Mouthpieces {
		if m.Known {
			b.known[i] = w.DimensionEffect(*m.Dimensions)
		}
	}
}

func designs(items []simulate.Item) int {
	n := 0
	for _, i := range items {
		n = max(n, i.Design+1)
	}
	return n
}

// dayCovariance is the covariance of what a session adds to every reading:
// shift (the contributor's tuner with it), slide and wiggle.
func (b *bound) dayCovariance() *mat.SymDense {
	n := len(simulate.Slots)
	c := mat.NewSymDense(n, nil)
	shift := simulate.SessionOffsetSD * simulate.SessionOffsetSD
	if b.w.Kind == simulate.Harder {
		shift += simulate.TunerSD * simulate.TunerSD
		c.AddSym(c, b.w.TrueCovariance(simulate.OfWiggle))
	}
	slide := mat.NewVecDense(n, simulate.SlideShape())
	c.SymRankOne(c, simulate.SlideSD*simulate.SlideSD, slide)
	ones := mat.NewVecDense(n, nil)
	for j := range n {
		ones.SetVec(j, 1)
	}
	c.SymRankOne(c, shift, ones)
	return c
}

// loading is L with L L' = c, as many columns as c has rank.
func loading(c *mat.SymDense) *mat.Dense {
	var eigen mat.EigenSym
	if !eigen.Factorize(c, true) {
		panic("study: a true covariance has no eigenvalues")
	}
	values := eigen.Values(nil)
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	n, top := len(values), values[len(values)-1]
	rank := 0
	for _, v := range values {
		if v > 1e-10*top {
			rank++
		}
	}
	l := mat.NewDense(n, max(rank, 1), nil)
	for k := range rank {
		for j := range n {
			l.Set(j, k, vectors.At(j, n-1-k)*math.Sqrt(values[n-1-k]))
		}
	}
	return l
}

func (b *bound) add(name string, c *mat.SymDense, count int, of func(simulate.Session) int) {
	f := &family{name: name, loading: loading(c), count: count, visits: make([][]int, count)}
	_, f.rank = f.loading.Dims()
	if len(b.families) > 0 {
		last := b.families[len(b.families)-1]
		f.first = last.first + last.count*last.rank
	}
	f.of = make([]int, len(b.w.Sessions))
	for i, s := range b.w.Sessions {
		f.of[i] = -1
		if s.Wrong == "" {
			f.of[i] = of(s)
		}
		if f.of[i] >= 0 {
			f.visits[f.of[i]] = append(f.visits[f.of[i]], i)
		}
	}
	b.families = append(b.families, f)
}

func (b *bound) unknowns() int {
	last := b.families[len(b.families)-1]
	return last.first + last.count*last.rank
}

// part is the z of one effect within all.
func (f *family) part(z []float64, effect int) []float64 {
	at := f.first + effect*f.rank
	return z[at : at+f.rank]
}

// addTo adds the effect L z to a vector over the slots.
func (f *family) addTo(dst, z []float64, effect int) {
	blas64.Gemv(blas.NoTrans, 1, f.loading.RawMatrix(), vector(f.part(z, effect)), 1, vector(dst))
}

// perturb draws from the posterior: a truth from the prior with readings of its
// own, minus what the solver makes of those readings.
func (b *bound) perturb(ctx context.Context) error {
	b.errors = make([][]float64, b.draws)
	failures := make([]error, b.draws)
	var group sync.WaitGroup
	turn := make(chan int)
	for range workers {
		group.Go(func() {
			for k := range turn {
				b.errors[k], failures[k] = b.draw(ctx, rand.New(rand.NewPCG(b.seed, uint64(k)+1)))
			}
		})
	}
	for k := range b.draws {
		turn <- k
	}
	close(turn)
	group.Wait()
	for _, err := range failures {
		if err != nil {
			return err
		}
	}
	return nil
}

func (b *bound) draw(ctx context.Context, rng *rand.Rand) ([]float64, error) {
	truth := make([]float64, b.unknowns())
	for i := range truth {
		truth[i] = rng.NormFloat64()
	}
	effects := b.effects(truth)
	readings := newRows(len(b.cells))
	_, rank := b.day.Dims()
	for i := range b.cells {
		y := readings.row(i)
		b.addEffects(y, effects, i)
		for k := range rank {
			x := rng.NormFloat64()
			for j := range y {
				y[j] += x * b.day.At(j, k)
			}
		}
		for j, p := range b.cells[i].precision {
			if p > 0 {
				y[j] += rng.NormFloat64() / math.Sqrt(p)
			}
		}
	}
	z, err := b.solve(ctx, b.rightHandSide(readings), nil, roughly)
	if err != nil {
		return nil, fmt.Errorf("drawing from the posterior: %w", err)
	}
	for i := range z {
		z[i] = truth[i] - z[i]
	}
	return z, nil
}

// Predict gives the posterior mean and standard deviation; the interaction of a
// pair that was never measured has its prior variance.
func (b *bound) Predict(_ context.Context, pairs []simulate.Pair) ([]Profile, error) {
	prior := centredCovariance(b.w.TrueCovariance(simulate.OfPair))
	out := make([]Profile, len(pairs))
	for i, p := range pairs {
		mean := b.profile(b.z, p)
		for j, x := range b.known[p.Mouthpiece] {
			mean[j] += x
		}
		variance := append([]float64(nil), prior...)
		for _, e := range b.errors {
			for j, x := range simulate.Centred(b.profile(e, p)) {
				variance[j] += x * x / float64(len(b.errors))
			}
		}
		out[i] = Profile{simulate.Centred(mean), roots(variance)}
	}
	return out, nil
}

// profile is mean plus horn plus mouthpiece, with their designs, under z.
func (b *bound) profile(z []float64, p simulate.Pair) []float64 {
	out := make([]float64, len(simulate.Slots))
	horn, mouthpiece := b.w.Horns[p.Horn], b.w.Mouthpieces[p.Mouthpiece]
	for _, f := range b.families {
		switch {
		case f.name == "mean":
			f.addTo(out, z, 0)
		case f.name == "horn":
			f.addTo(out, z, p.Horn)
		case f.name == "mouthpiece":
			f.addTo(out, z, p.Mouthpiece)
		case f.name == "horn design":
			f.addTo(out, z, horn.Design)
		case f.name == "described design" && mouthpiece.Known, f.name == "undescribed design" && !mouthpiece.Known:
			f.addTo(out, z, mouthpiece.Design)
		}
	}
	return out
}

// centredCovariance is the variance of each entry of a vector of covariance c
// minus its mean over the usual notes.
func centredCovariance(c *mat.SymDense) []float64 {
	n, all := float64(len(simulate.Usual)), 0.0
	for _, i := range simulate.Usual {
		for _, j := range simulate.Usual {
			all += c.At(i, j) / (n * n)
		}
	}
	out := make([]float64, len(simulate.Slots))
	for j := range out {
		with := 0.0
		for _, i := range simulate.Usual {
			with += c.At(i, j) / n
		}
		out[j] = c.At(j, j) - 2*with + all
	}
	return out
}
