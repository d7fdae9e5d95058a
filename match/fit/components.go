package fit

import "math"

// Components are the variance components of the model apart from the levels'
// covariances, all learned from the catalog and all in cents.
type Components struct {
	// Offset, Slide are the standard deviations of a session's own constant
	// (tuner, temperature, where the player tuned) and of its tuning-slide
	// setting, as cents on open notes; Correlation is between the two.
	Offset, Slide, Correlation float64
	Wiggle                     float64 // smooth difference of one day
	Interaction                float64 // smooth difference of one pair
	Noise                      float64 // a good reading, common to all sources
	SourceNoise                []float64
	GrossShare                 float64 // share of readings that are gross errors
	GrossFactor                float64 // their standard deviation over a good one's

	sessionChol [3]float64
}

// DefaultComponents are where learning starts: sizes seen in simulations of
// varied geometry and in ordinary tuner sessions.
func DefaultComponents(sources int) *Components {
	c := &Components{
		Offset: 6, Slide: 6, Wiggle: 1.5, Interaction: 1.8,
		Noise: 4, GrossShare: 0.02, GrossFactor: 6,
		SourceNoise: make([]float64, sources),
	}
	for i := range c.SourceNoise {
		c.SourceNoise[i] = c.Noise
	}
	c.factorSession()
	return c
}

// factorSession prepares the lower factor of the session terms' covariance.
func (c *Components) factorSession() {
	c.sessionChol = [3]float64{c.Offset, c.Correlation * c.Slide,
		c.Slide * math.Sqrt(math.Max(0, 1-c.Correlation*c.Correlation))}
}

// learnSession takes a step on the session terms' covariance from the expected
// sums over n sessions of the squares and the product of offset and slide.
func (c *Components) learnSession(oo, os, ss, n float64) {
	const strength = 4 // sessions that the starting values are worth
	const startOffset, startSlide = 6.0, 6.0
	vo := (oo + strength*startOffset*startOffset) / (n + strength)
	vs := (ss + strength*startSlide*startSlide) / (n + strength)
	c.Offset, c.Slide = math.Sqrt(vo), math.Sqrt(vs)
	c.Correlation = math.Max(-0.98, math.Min(0.98, os/(n+strength)/(c.Offset*c.Slide)))
	c.factorSession()
}

// variancePrior is a weak scaled-inverse-chi-squared prior on a variance.
type variancePrior struct{ sd, strength float64 }

// learn gives the standard deviation after an EM step stretched beyond a plain
// one: sum is the expected sum of squares over n values of unit-scaled effects.
func (v variancePrior) learn(old, sum, n, stretch float64) float64 {
	plain := (sum + v.strength*v.sd*v.sd) / (n + v.strength)
	return old * math.Pow(math.Sqrt(plain)/old, stretch)
}

var (
	interactionPrior = variancePrior{sd: 1.6, strength: 60}
	wigglePrior      = variancePrior{sd: 1.5, strength: 60}
)
