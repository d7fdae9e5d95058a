package fit

import (
	"context"
	"hash/fnv"
	"time"

	"centwise/catalog"
)

// Options steer a fit.
type Options struct {
	// Seed of the draws; 0 takes it from the digest of the data, so that the
	// same catalog gives the same answer.
	Seed     uint64
	Progress catalog.Counter // nil shows nothing
	Refit    bool            // even if the stored fit is up to date
	Draws    int             // 0 = by the size of the catalog
}

// Current gives the fit of a catalog as it stands: the stored one if the data
// have not changed since, else a new one, which it stores. A catalog that
// cannot be written still gets its answer. Errors are the store's and the
// context's.
func Current(ctx context.Context, store catalog.Store, o Options) (*Model, error) {
	if o.Progress == nil {
		o.Progress = catalog.NoCounter{}
	}
	digest, err := store.Digest(ctx)
	if err != nil {
		return nil, err
	}
	if !o.Refit {
		if m, err := loadModel(ctx, store, digest.String()); err == nil && (o.Seed == 0 || o.Seed == m.Seed) {
			return m, nil
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
	if err := saveModel(ctx, store, m); err != nil && catalog.KindOf(err) != catalog.Unavailable {
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
	o.Progress.Start("solving", 0)
	defer o.Progress.Done()
	if err := e.conclude(ctx, p, &report); err != nil {
		return nil, err
	}
	report.Duration = time.Since(started)
	return e.finish(report), nil
}

// seedOf makes a seed of a digest.
func seedOf(digest string) uint64 {
	h := fnv.New64a()
	h.Write([]byte(digest))
	return h.Sum64() | 1
}

// planFor chooses the work by the number of readings.
func planFor(d *Data) plan {
	p := plan{steps: 30, drawsWhileLearning: 4, draws: 48, learnTolerance: 1e-3,
		tolerance: 1e-6, drawTolerance: 1e-4, limit: 400, stretch: 1.6, settled: 0.004}
	switch n := d.Readings(); {
	case n < 3000:
		p.fine, p.draws, p.drawsWhileLearning = true, 200, 8
	case n < 30_000:
	case n < 300_000:
		p.steps, p.drawsWhileLearning, p.draws = 18, 1, 32
	default:
		p.steps, p.drawsWhileLearning, p.draws = 10, 1, 24
	}
	return p
}

// conclude solves with the learned components for the answer and its draws.
func (e *engine) conclude(ctx context.Context, p plan, report *Report) error {
	for len(e.draws) < p.draws {
		e.draws = append(e.draws, e.newDraw())
	}
	e.draws = e.draws[:p.draws]
	status, err := e.solveAll(ctx, p.tolerance, p.drawTolerance, p.limit)
	report.Iterations, report.Residual, report.Converged = status.Iterations, status.Residual, status.Converged
	report.Draws, report.Exact = len(e.draws), e.sys.exact != nil
	return err
}
