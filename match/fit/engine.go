package fit

import (
	"context"
	"math"
	"math/rand/v2"
	"runtime"
	"sync"

	"centwise/catalog/pitch"
)

// engine is a fit under way: the equations, the components, and the current
// answer with a few draws of its uncertainty.
type engine struct {
	data   *Data
	sys    *system
	comp   *Components
	smooth []float64 // J x smoothKnots, whitened wiggle basis of unit variance
	prior  priorMeans
	y      []float64 // sessions x J: cell means less their prior means
	seed   uint64

	answer state   // for the data
	draws  []state // for data made up from the model, see perturb

	spread *cellSpread // filled in while concluding, if residuals are wanted
}

// state is one solution: the unknowns, and what follows for every session.
type state struct {
	u      []float64
	own    []float64 // sessions x own terms, whitened
	pair   []float64 // pairs x smooth: interaction, cents per unit of the smooth basis
	fitted []float64 // sessions x J: everything but the reading error, cents

	// For a draw, the made-up truth; the posterior draw is answer + truth - solution.
	truth *state
	work  *workspace
}

func newEngine(d *Data, comp *Components, seed uint64, fine bool) *engine {
	e := &engine{data: d, comp: comp, seed: seed}
	e.smooth = whitenedSmooth(d.Slots)
	levels := d.buildLevels(fine)
	e.prior = newPriorMeans(d, levels)
	e.sys = &system{slots: len(d.Slots), sessions: len(d.sessions), levels: levels}
	last := levels[len(levels)-1]
	e.sys.unknowns = last.first + last.blocks*last.q()
	e.sys.terms = newAbsorbed(d.sessions, len(d.Slots), smoothKnots)
	e.sys.d = make([]float64, len(d.sessions)*len(d.Slots))
	e.y = make([]float64, len(e.sys.d))
	e.answer = e.newState()
	return e
}

// whitenedSmooth is smoothBasis times the factor of wigglePattern, scaled so
// that the mean variance over the slots is one.
func whitenedSmooth(slots []pitch.Slot) []float64 {
	k := wigglePattern()
	if !k.cholesky() {
		panic("fit: the wiggle's pattern is not positive definite")
	}
	b := smoothBasis(slots)
	out := make([]float64, len(b))
	mul(out, b, k.a, len(slots), smoothKnots, smoothKnots)
	scale := math.Sqrt(dot(out, out) / float64(len(slots)))
	for i := range out {
		out[i] /= scale
	}
	return out
}

func (e *engine) newState() state {
	n := e.sys.sessions
	return state{
		u:      make([]float64, e.sys.unknowns),
		own:    make([]float64, n*e.sys.terms.own),
		pair:   make([]float64, len(e.sys.terms.pairs)*smoothKnots),
		fitted: make([]float64, n*e.sys.slots),
		work:   e.sys.newWorkspace(),
	}
}

// refresh carries new components and cell precisions into the equations.
func (e *engine) refresh() {
	inverseLength := make([]float64, len(e.data.Slots))
	for j, s := range e.data.Slots {
		inverseLength[j] = 1 / s.Valves.Ratio()
	}
	e.sys.terms.setTerms(e.comp, inverseLength, e.smooth)
	e.sys.terms.update(e.sys.d)
	e.sys.precondition()
	e.sys.factorise()
}

// recover fills in, for the unknowns of st and cells y, the terms of sessions
// and pairs and the fitted cells.
func (e *engine) recover(st *state, y []float64) {
	t, j := e.sys.terms, e.sys.slots
	e.sys.explain(st.u, st.fitted, st.work)
	x := st.work.x
	for i := range x {
		x[i] = y[i] - st.fitted[i]
	}
	for p, pair := range t.pairs {
		kappa := st.pair[p*smoothKnots:][:smoothKnots]
		if pair.repeated() {
			e.recoverRepeated(st, p, x, kappa)
		}
		for s := int(pair.first); s < int(pair.last); s++ {
			own := st.own[s*t.own:][:t.own]
			t.ownTerms(s, x[s*j:][:j], own)
			v := t.terms(s)
			fit := st.fitted[s*j:][:j]
			for k, c := range own {
				axpy(c, v[k*j:][:j], fit)
			}
		}
		if !pair.repeated() {
			e.splitLone(st.own[int(pair.first)*t.own:][:t.own], kappa)
		}
	}
}

// recoverRepeated finds a repeated pair's interaction and takes it out of the
// residuals x of its sessions.
func (e *engine) recoverRepeated(st *state, p int, x, kappa []float64) {
	t, j := e.sys.terms, e.sys.slots
	t.pairTerms(p, x, kappa)
	for s := int(t.pairs[p].first); s < int(t.pairs[p].last); s++ {
		for k, c := range kappa {
			row := t.b[k*j:][:j]
			axpy(-c, row, x[s*j:][:j])
			axpy(c, row, st.fitted[s*j:][:j])
		}
	}
	for k := range kappa {
		kappa[k] *= e.comp.Interaction
	}
}

// splitLone gives the interaction its share of the smooth term of a pair's
// only session.
func (e *engine) splitLone(own, kappa []float64) {
	s := math.Hypot(e.comp.Wiggle, e.comp.Interaction)
	for k := range kappa {
		kappa[k] = 0
		if s > 0 {
			kappa[k] = e.comp.Interaction * e.comp.Interaction / s * own[2+k]
		}
	}
}

// perturb makes up a truth from the model and cells measured from it. The
// difference between that truth and what the equations make of it has the
// distribution of the posterior error (perturb-and-MAP; G. Papandreou and
// A. Yuille, "Gaussian sampling by local perturbations", NIPS 2010).
func (e *engine) perturb(st *state, number int) (y []float64) {
	t, j := e.sys.terms, e.sys.slots
	rng := rand.New(rand.NewPCG(e.seed, uint64(number)+1))
	truth := st.truth
	for i := range truth.u {
		truth.u[i] = rng.NormFloat64()
	}
	e.sys.explain(truth.u, truth.fitted, st.work)
	for p, pair := range t.pairs {
		kappa := truth.pair[p*smoothKnots:][:smoothKnots]
		for k := range kappa {
			kappa[k] = e.comp.Interaction * rng.NormFloat64()
		}
		for s := int(pair.first); s < int(pair.last); s++ {
			own := truth.own[s*t.own:][:t.own]
			for k := range own {
				own[k] = rng.NormFloat64()
			}
			e.perturbSession(truth.fitted[s*j:][:j], own, kappa, pair.repeated())
		}
	}
	y = make([]float64, len(truth.fitted))
	for i, d := range e.sys.d {
		z := rng.NormFloat64() // drawn for empty cells too: the same numbers whatever is missing
		if d > 0 {
			y[i] = truth.fitted[i] + z/math.Sqrt(d)
		}
	}
	return y
}

// perturbSession adds a session's own terms and its pair's interaction to its
// made-up cells; own holds the session's draws, its smooth part the wiggle's.
func (e *engine) perturbSession(cells, own, kappa []float64, repeated bool) {
	j := e.sys.slots
	v := e.sys.terms.v[1] // the wiggle alone
	for k, c := range own {
		axpy(c, v[k*j:][:j], cells)
	}
	for i := range cells {
		cells[i] += dot(e.smooth[i*smoothKnots:][:smoothKnots], kappa)
	}
	if repeated {
		return
	}
	if s := math.Hypot(e.comp.Wiggle, e.comp.Interaction); s > 0 {
		for k := range kappa { // as one term, the way a lone session is solved
			own[2+k] = (e.comp.Wiggle*own[2+k] + kappa[k]) / s
		}
	}
}

// solveAll solves for the data and for every draw; each solve is the same
// whichever processor does it.
func (e *engine) solveAll(ctx context.Context, tolerance float64, limit int) error {
	return eachOnWorkers(1+len(e.draws), func() func(k int) error {
		return func(k int) error {
			st := &e.answer
			if k > 0 {
				st = &e.draws[k-1]
			}
			_, err := e.solveOne(ctx, k, tolerance, limit, st)
			return err
		}
	})
}

// eachOnWorkers runs jobs 0..n-1 on the processors at hand; newWorker makes what
// does the jobs on one of them. It returns the error of the first job, in order,
// that failed.
func eachOnWorkers(n int, newWorker func() func(k int) error) error {
	errs := make([]error, n)
	jobs := make(chan int)
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), n) {
		work := newWorker()
		wg.Go(func() {
			for k := range jobs {
				errs[k] = work(k)
			}
		})
	}
	for k := range n {
		jobs <- k
	}
	close(jobs)
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// solveOne solves for the data (number 0) or for a draw, from st.u on.
func (e *engine) solveOne(ctx context.Context, number int, tolerance float64, limit int, st *state) (SolveStatus, error) {
	y := e.y
	if number > 0 {
		y = e.perturb(st, number)
	}
	b := make([]float64, e.sys.unknowns)
	e.sys.rightHandSide(y, b, st.work)
	status, err := e.sys.solve(ctx, b, st.u, tolerance, limit, st.work)
	if err != nil {
		return status, err
	}
	e.recover(st, y)
	return status, nil
}

// takeSpare is a draw left over from learning, or a new one.
func (e *engine) takeSpare(spare *[]state) *state {
	if n := len(*spare); n > 0 {
		st := (*spare)[n-1]
		*spare = (*spare)[:n-1]
		return &st
	}
	st := e.newDraw()
	return &st
}

// newDraw makes room for one more draw.
func (e *engine) newDraw() state {
	st := e.newState()
	truth := state{
		u: make([]float64, len(st.u)), own: make([]float64, len(st.own)),
		pair: make([]float64, len(st.pair)), fitted: make([]float64, len(st.fitted)),
	}
	st.truth = &truth
	return st
}

// rewhiten changes warm starts from one factor of a level's covariance to
// another, so that they stand for the same coefficients.
func (e *engine) rewhiten(l *level, old square) {
	states := append([]state{e.answer}, e.draws...)
	for _, st := range states {
		x := st.u[l.first:][:l.blocks*l.q()]
		for at := 0; at < len(x); at += l.p {
			block := x[at : at+l.p]
			copyProduct(old, block, st.work.scratch)
			solveLower(l.chol, block, 1)
		}
	}
}

// copyProduct replaces x by L x for a lower triangular L.
func copyProduct(l square, x, scratch []float64) {
	for i := range x {
		scratch[i] = dot(l.row(i)[:i+1], x[:i+1])
	}
	copy(x, scratch[:len(x)])
}
