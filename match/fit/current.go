package fit

import (
	"context"
	"errors"
	"hash/fnv"
	"time"

	"centwise/catalog"
)

// errNotConverged is a draw whose solve ran out of iterations.
var errNotConverged = errors.New("fit: a solve did not converge")

// Options steer a fit.
type Options struct {
	// Seed of the draws; 0 takes it from the digest of the data, so that the
	// same catalog gives the same answer.
	Seed     uint64
	Progress catalog.Counter // nil shows nothing
	Refit    bool            // even if the stored fit is up to date
	Draws    int             // 0 = by the size of the catalog
	// Residuals, if set, is given what is left of every reading, session by
	// session; since no fit is stored with it, a whole fit is made.
	Residuals func(Residual)
}

// Current gives the fit of a catalog as it stands: the stored one if the data
// have not changed since, else a new one, which it stores. A catalog that
// cannot be written, or that others write all the while, still gets its answer.
// Errors are the store's and the context's.
func Current(ctx context.Context, store catalog.Store, o Options) (*Model, error) {
	if o.Progress == nil {
		o.Progress = catalog.NoCounter{}
	}
	digest, err := store.Digest(ctx)
	if err != nil {
		return nil, err
	}
	if !o.Refit && o.Residuals == nil {
		m, err := loadModel(ctx, store)
		if err == nil && (o.Seed == 0 || o.Seed == m.Seed) {
			if m.Digest == digest.String() {
				return m, nil
			}
			if ok, err := m.refresh(ctx, store, digest, refreshFrom); ok || err != nil {
				return m, err
			}
		}
	}
	data, err := Load(ctx, store, o.Progress)
	if err != nil {
		return nil, err
	}
	m, err := Run(ctx, data, o)
	if err != nil {
		return nil, err
	}
	if err := saveModel(ctx, store, m); err != nil && catalog.KindOf(err) != catalog.Unavailable && catalog.KindOf(err) != catalog.Busy {
		return nil, err
	}
	return m, nil
}

// Run fits the model to data: it learns the components, solves the equations
// and draws from the posterior.
func Run(ctx context.Context, data *Data, o Options) (*Model, error) {
	if o.Progress == nil {
		o.Progress = catalog.NoCounter{}
	}
	if o.Seed == 0 {
		o.Seed = seedOf(data.Digest)
	}
	started := time.Now()
	p := planFor(data)
	if o.Draws > 0 {
		p.draws = o.Draws
	}
	e := newEngine(data, DefaultComponents(len(data.Sources)), o.Seed, p.fine)
	report := Report{Sessions: data.Sessions(), Readings: data.Readings(), Unknowns: e.sys.unknowns}
	var err error
	o.Progress.Start("learning how gear and players vary", int64(p.steps))
	report.Steps, report.Change, err = e.learn(ctx, p, func(int) { o.Progress.Add(1) })
	o.Progress.Done()
	if err != nil {
		return nil, err
	}
	if o.Residuals != nil {
		e.spread = newCellSpread(p.draws, data)
	}
	o.Progress.Start("solving, with draws", int64(1+p.draws))
	defer o.Progress.Done()
	tables, err := e.conclude(ctx, p, &report, o.Progress)
	if err != nil {
		return nil, err
	}
	report.Duration = time.Since(started)
	if o.Residuals != nil {
		e.residuals(o.Residuals)
	}
	return e.finish(tables, report), nil
}

// seedOf makes a seed of a digest.
func seedOf(digest string) uint64 {
	h := fnv.New64a()
	h.Write([]byte(digest))
	return h.Sum64() | 1
}

// planFor chooses the work by the number of readings. Tolerances are of the
// preconditioned residual; predictions move by about 0.01 cents at these.
func planFor(d *Data) plan {
	p := plan{steps: 14, drawsWhileLearning: 4, draws: 48, learnTolerance: 1e-3,
		tolerance: 1e-4, drawTolerance: 1e-3, limit: 400, stretch: 1.6, settled: 0.01}
	switch n := d.Readings(); {
	case n < 3000:
		p.fine, p.draws, p.drawsWhileLearning, p.steps = true, 200, 8, 20
		p.tolerance, p.drawTolerance = 1e-8, 1e-6
	case n < 30_000:
	case n < 300_000:
		p.steps, p.drawsWhileLearning, p.draws = 10, 1, 32
	default:
		p.steps, p.drawsWhileLearning, p.draws = 7, 1, 24
	}
	return p
}

// conclude solves with the learned components for the answer, then draw by
// draw for its uncertainty, and records both.
func (e *engine) conclude(ctx context.Context, p plan, report *Report, progress catalog.Counter) ([effects]table, error) {
	spare := e.draws
	e.draws = nil
	tables := e.newTables(p.draws)
	status, err := e.solveOne(ctx, 0, p.tolerance, p.limit, &e.answer)
	if err != nil {
		return tables, err
	}
	progress.Add(1)
	e.recordMean(&tables)
	report.Iterations, report.Residual, report.Converged = status.Iterations, status.Residual, status.Converged
	report.Draws, report.Exact = p.draws, e.sys.exact != nil
	err = eachOnWorkers(p.draws, func() func(k int) error {
		st := e.takeSpare(&spare)
		return func(k int) error {
			clear(st.u)
			s, err := e.solveOne(ctx, k+1, p.drawTolerance, p.limit, st)
			if err != nil {
				return err
			}
			if e.spread != nil {
				e.spread.record(e, st, k)
			}
			e.recordDraw(&tables, st, k)
			progress.Add(1)
			if !s.Converged {
				return errNotConverged
			}
			return nil
		}
	})
	if err == errNotConverged {
		report.Converged, err = false, nil
	}
	return tables, err
}
