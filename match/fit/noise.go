package fit

import (
	"math"
	"slices"

	"centwise/catalog"
)

// Reading noise is a mixture of two normals: a good reading with its source's
// standard deviation, a gross one with grossFactor times that
// (J. W. Tukey's contaminated normal, "A survey of sampling from contaminated
// distributions", 1960). Given the residuals, each reading gets the expected
// precision under the mixture as its weight.

// startCells gives every reading its source's plain precision.
func (e *engine) startCells() {
	e.weighReadings(func(session, source int, cents float64, cell int) float64 {
		sd := e.comp.SourceNoise[source]
		return 1 / (sd * sd)
	})
}

// weighReadings recomputes the cells from the readings: precision the sum of
// the weights, value the weighted mean.
func (e *engine) weighReadings(weight func(session, source int, cents float64, cell int) float64) {
	d, j := e.data, e.sys.slots
	parallel(len(d.sessions), func(lo, hi int) {
		for s := lo; s < hi; s++ {
			row := &d.sessions[s]
			expected := e.prior.of(s)
			w, y := e.sys.d[s*j:][:j], e.y[s*j:][:j]
			clear(w)
			clear(y)
			for k := row.begin; k < row.end; k++ {
				cell := int(d.slot[k])
				v := d.cents[k] - expected[cell]
				g := weight(s, int(row.source), v, cell)
				w[cell] += g
				y[cell] += g * v
			}
			for i, g := range w {
				if g > 0 {
					y[i] /= g
				}
			}
		}
	})
}

// goodShare is the probability that a reading with squared residual e2 is good.
func (c *Components) goodShare(e2, sd float64) float64 {
	good := (1 - c.GrossShare) * math.Exp(-e2/(2*sd*sd))
	k := c.GrossFactor
	gross := c.GrossShare / k * math.Exp(-e2/(2*sd*sd*k*k))
	if good+gross == 0 {
		return 0
	}
	return good / (good + gross)
}

// reweigh takes the noise part of an EM step: new components, new weights.
func (e *engine) reweigh(learn bool) {
	fitVariance := e.cellVariance()
	if learn {
		e.learnNoise(fitVariance)
	}
	j := e.sys.slots
	k2 := e.comp.GrossFactor * e.comp.GrossFactor
	e.weighReadings(func(s, source int, v float64, cell int) float64 {
		r := v - e.answer.fitted[s*j+cell]
		sd := e.comp.SourceNoise[source]
		good := e.comp.goodShare(r*r+fitVariance[source], sd)
		return (good + (1-good)/k2) / (sd * sd)
	})
}

// cellVariance is the mean posterior variance of a fitted cell, per source,
// from the draws.
func (e *engine) cellVariance() []float64 {
	n := len(e.data.Sources)
	sum, count := make([]float64, n), make([]float64, n)
	j := e.sys.slots
	for s := range e.data.sessions {
		src := e.data.sessions[s].source
		for i := s * j; i < (s+1)*j; i++ {
			if e.sys.d[i] == 0 {
				continue
			}
			for k := range e.draws {
				dev := e.draws[k].fitted[i] - e.draws[k].truth.fitted[i]
				sum[src] += dev * dev
			}
			count[src] += float64(len(e.draws))
		}
	}
	for k := range sum {
		if count[k] > 0 {
			sum[k] /= count[k]
		}
	}
	return sum
}

// learnNoise updates the sources' noise, the common noise and the share of
// gross readings from the expected squared residuals.
func (e *engine) learnNoise(fitVariance []float64) {
	n := len(e.data.Sources)
	squares, count := make([]float64, n), make([]float64, n)
	gross, all := 0.0, 0.0
	k2 := e.comp.GrossFactor * e.comp.GrossFactor
	j := e.sys.slots
	for s := range e.data.sessions {
		row := &e.data.sessions[s]
		src := row.source
		sd := e.comp.SourceNoise[src]
		expected := e.prior.of(s)
		for k := row.begin; k < row.end; k++ {
			cell := int(e.data.slot[k])
			r := e.data.cents[k] - expected[cell] - e.answer.fitted[s*j+cell]
			e2 := r*r + fitVariance[src]
			good := e.comp.goodShare(e2, sd)
			squares[src] += good*e2 + (1-good)*e2/k2
			count[src]++
			gross += 1 - good
			all++
		}
	}
	e.comp.setNoise(squares, count, gross, all)
}

// ReadingNoise is the standard deviation of a good reading, in cents, common to
// all who measured.
func (m *Model) ReadingNoise() float64 { return m.Components.Noise }

// SourceNoiseReadings is how many readings of its own the common noise counts as,
// when that of a contributor with a method is learned.
const SourceNoiseReadings = 40.0

// setNoise shrinks each source's variance to the common one.
func (c *Components) setNoise(squares, count []float64, gross, all float64) {
	const commonStrength = 10.0 // readings the prior is worth
	const startNoise = 3.5
	const grossPrior, grossStrength = 0.02, 200.0
	total := 0.0
	for _, s := range squares {
		total += s
	}
	common := (total + commonStrength*startNoise*startNoise) / (all + commonStrength)
	c.Noise = math.Max(0.3, math.Sqrt(common))
	for k := range c.SourceNoise {
		v := (squares[k] + SourceNoiseReadings*c.Noise*c.Noise) / (count[k] + SourceNoiseReadings)
		c.SourceNoise[k] = math.Max(0.3, math.Sqrt(v))
	}
	c.GrossShare = (gross + grossPrior*grossStrength) / (all + grossStrength)
}

// ReadingNoiseOf is the standard deviation of a good reading by a contributor
// with a method, in cents; that common to all where they have none of their own.
func (m *Model) ReadingNoiseOf(contributor string, method catalog.Method) float64 {
	i := slices.Index(m.sources, Source{contributor, method})
	if i < 0 || i >= len(m.Components.SourceNoise) {
		return m.Components.Noise
	}
	return m.Components.SourceNoise[i]
}
