package match

import (
	"cmp"
	"context"
	"math"
	"slices"

	"centwise/catalog"
	"centwise/match/fit"
)

// ContributorView is how somebody measures with a method, beside the others who
// use it.
type ContributorView struct {
	Contributor string         `json:"contributor"` // empty: nobody was named
	Method      catalog.Method `json:"method"`
	Sessions    int            `json:"sessions"`
	Readings    int            `json:"readings"`
	// Offset is by how much their sessions lie higher than those of others, in
	// cents: the tuner's, and that of habits such as where the slide stands. Nil
	// where fewer than three contributors have five sessions to compare. It costs
	// nothing: every session's level is free.
	Offset *Range `json:"offset_cents"`
	// Spread is the standard deviation of their good readings about what the fit
	// makes of the session, in cents: a cent or two of it is nobody's carelessness,
	// but what no effect of the model explains.
	Spread Range `json:"spread_cents"`
	// Weight of a reading in the fit, where one of the common spread has 1. With
	// few readings it is near 1, whatever Spread seems to be.
	Weight float64 `json:"weight"`
}

// Range is an estimate with its 80 % interval.
type Range struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// Observers is an [Engine] that knows how far readings stray. fit.Model is one.
type Observers interface {
	Witness
	// ReadingNoise is the standard deviation of a good reading, common to all, in
	// cents.
	ReadingNoise() float64
}

// Contributors tells how everybody measures, in order of contributor and method.
func Contributors(ctx context.Context, e Observers, in Measurements) ([]ContributorView, error) {
	c := newChecker(e, in)
	type source struct {
		contributor string
		method      catalog.Method
	}
	views := map[source]*ContributorView{}
	counted := func(yield func(catalog.Measured, error) bool) {
		for m, err := range in.Sessions {
			if err == nil {
				at := source{m.Contributor, m.Method}
				if views[at] == nil {
					views[at] = &ContributorView{Contributor: m.Contributor, Method: m.Method}
				}
				views[at].Sessions++
				views[at].Readings += len(m.Readings)
			}
			if !yield(m, err) {
				return
			}
		}
	}
	if err := c.sessions(ctx, counted); err != nil {
		return nil, err
	}
	levels := c.levelsByMethod()
	var out []ContributorView
	for _, v := range views {
		v.spread(e)
		if scale, ok := scaleOf(levels[v.Method]); ok && len(levels[v.Method][v.Contributor]) > 0 {
			cents, se := scale.offset(levels[v.Method][v.Contributor])
			v.Offset = &Range{cents, cents - z80*se, cents + z80*se}
		}
		out = append(out, *v)
	}
	slices.SortFunc(out, func(a, b ContributorView) int {
		return cmp.Or(cmp.Compare(a.Contributor, b.Contributor), cmp.Compare(a.Method, b.Method))
	})
	return out, nil
}

// freePerSession is about how many readings of a session go into what is free in
// it: its level, its slide and its day.
const freePerSession = 4

// spread is what the readings themselves say: the engine's is pulled towards the
// common one, as if that were so many readings more, which is taken off here. The
// interval is that of a standard deviation learned from readings, and of what the
// model leaves unexplained of some more than of others.
func (v *ContributorView) spread(e Observers) {
	pulled, common, n := e.ReadingNoiseOf(v.Contributor, v.Method), e.ReadingNoise(), float64(v.Readings)
	own := (pulled*pulled*(n+fit.SourceNoiseReadings) - common*common*fit.SourceNoiseReadings) / n
	sd := math.Sqrt(max(own, minSpread*minSpread))
	degrees := max(2, n-freePerSession*float64(v.Sessions))
	relative := math.Hypot(math.Sqrt(1/(2*degrees)), unmodelledSpread)
	v.Spread = Range{sd, sd * math.Exp(-z80*relative), sd * math.Exp(z80*relative)}
	v.Weight = math.Pow(common/pulled, 2)
}

// unmodelledSpread is about how far spreads err beside chance, as a share of them:
// what makes 80 % intervals hold four of five simulated contributors.
const unmodelledSpread = 0.08

// minSpread bounds what few readings may seem to say, in cents.
const minSpread = 0.3
