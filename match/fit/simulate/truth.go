package simulate

import (
	"math"

	"centwise/catalog/pitch"
	"gonum.org/v1/gonum/mat"
)

// Spreads of the simulated components: rms over the 31 usual notes after the
// best constant shift, cents.
const (
	MeanSpread       = 14.0
	HornSpread       = 6.2
	MouthpieceSpread = 3.5
	PlayerSpread     = 4.5
	PairSpread       = 1.0 // of a total sd of PairSD
	WiggleSpread     = 1.5
	PairSD           = 1.5
)

// Standard deviations of the shifts that a relative profile does not show, and
// of the session terms, cents.
const (
	hornOffsetSD       = 5.0
	mouthpieceOffsetSD = 4.0
	playerOffsetSD     = 4.0
	SessionOffsetSD    = 5.0 // a: the tuner and the temperature of the day
	SlideSD            = 6.0 // t: the tuning slide, on open notes
	TunerSD            = 3.0 // a contributor's own tuner, harder kind only
)

// Shares of variance that lie between designs; the rest is between specimens.
const (
	HornDesignShare       = 0.75
	MouthpieceDesignShare = 0.90
	// DimensionShare is how much of the variance of a mouthpiece design
	// follows from its dimensions.
	DimensionShare = 2.0 / 3
)

// Component names a random part of a simulated profile.
type Component string

// The components. In the plain kind every item is a specimen of its own and the
// design components are zero; the daily wiggle is zero too.
const (
	OfHorn               Component = "horn"                // a horn of no known design
	OfMouthpiece         Component = "mouthpiece"          // a mouthpiece of no known design
	OfPlayer             Component = "player"              // habit
	OfPair               Component = "pair"                // interaction of horn and mouthpiece
	OfWiggle             Component = "wiggle"              // of the day
	OfHornDesign         Component = "horn design"         //
	OfHornSpecimen       Component = "horn specimen"       // about its design
	OfMouthpieceDesign   Component = "mouthpiece design"   // with unknown dimensions
	OfMouthpieceRest     Component = "mouthpiece rest"     // of a design, given its dimensions
	OfMouthpieceSpecimen Component = "mouthpiece specimen" // about its design
)

// Components lists them all.
var Components = []Component{OfHorn, OfMouthpiece, OfPlayer, OfPair, OfWiggle,
	OfHornDesign, OfHornSpecimen, OfMouthpieceDesign, OfMouthpieceRest, OfMouthpieceSpecimen}

// nature is the law that the truths of one world are drawn from.
type nature struct {
	mean       []float64
	process    map[Component]process
	dimensions [dimensionCount][]float64 // effect per unit of log dimension
}

func newNature(kind Kind, seed uint64) nature {
	n := nature{mean: newMean(seed), process: map[Component]process{}}
	horn, mouthpiece := newHorn(seed), newMouthpiece(seed)
	n.process[OfPlayer], n.process[OfPair] = newPlayer(seed), newPair(seed)
	if kind == Plain {
		n.process[OfHorn], n.process[OfHornSpecimen] = horn, horn
		n.process[OfMouthpiece], n.process[OfMouthpieceSpecimen] = mouthpiece, mouthpiece
		return n
	}
	n.process[OfWiggle] = newWiggle(seed)
	n.process[OfHorn] = horn
	n.process[OfHornDesign] = horn.scaled(math.Sqrt(HornDesignShare))
	n.process[OfHornSpecimen] = horn.scaled(math.Sqrt(1 - HornDesignShare))
	n.process[OfMouthpieceSpecimen] = mouthpiece.scaled(math.Sqrt(1 - MouthpieceDesignShare))
	n.process[OfMouthpieceRest] = mouthpiece.scaled(math.Sqrt(MouthpieceDesignShare * (1 - DimensionShare)))

	var linear process
	n.dimensions = newDimensionProfiles()
	for d, profile := range n.dimensions {
		linear.add(dimensionLogSD[d], profile)
	}
	n.process[OfMouthpieceDesign] = sum(linear, n.process[OfMouthpieceRest])
	n.process[OfMouthpiece] = sum(n.process[OfMouthpieceDesign], n.process[OfMouthpieceSpecimen])
	return n
}

// sum is the process of the sum of independent draws.
func sum(p, q process) process {
	return process{
		shapes: append(append([][]float64(nil), p.shapes...), q.shapes...),
		slotSD: math.Hypot(p.slotSD, q.slotSD),
	}
}

// combinationSharpness is how sharp valve combinations come out when each
// valve alone is in tune, in cents: tubes of 148 cm lengthened by valves that
// are exactly equal-tempered alone (simple length model, derived).
var combinationSharpness = map[string]float64{"12": 10.6, "23": 15.5, "13": 30.3, "123": 53.6}

// newMean is the common tendency: harmonics, valve combinations, and something
// smooth of this world.
func newMean(seed uint64) []float64 {
	rng := stream(seed, "mean")
	v := make([]float64, len(Slots))
	for j, s := range Slots {
		v[j] = 0.8*pitch.HarmonicCents(s.Partial) + 0.85*combinationSharpness[s.Valves.String()]
	}
	var smooth process
	smooth.addAll(2, cosines(rng, height, 4, 1))
	smooth.addAll(1.5, cosines(rng, series, 4, 1))
	smooth.draw(rng, v)
	factor := MeanSpread / Spread(v, Usual)
	for j := range v {
		v[j] *= factor
	}
	return v
}

// newHorn: slide lengths per valve, waves over the partials and over the
// height, a product of both with the valves, and slots of their own.
func newHorn(seed uint64) process {
	rng := stream(seed, "horn")
	var p process
	var valves [][]float64
	for valve, sd := range []float64{3.2, 2.0, 3.6} {
		shape := make([]float64, len(Slots))
		for j, s := range Slots {
			if s.Valves.Uses(valve + 1) {
				shape[j] = sd * 1.2 * shorter[j]
			}
		}
		valves = append(valves, shape)
	}
	bent := make([]float64, len(Slots))
	for j, s := range Slots {
		bent[j] = math.Pow(float64(s.Valves.Semitones())/6, 2)
	}
	p.addAll(2.4, append(valves, bent))
	p.addAll(4.0, cosines(rng, series, 7, 0.6))
	p.addAll(2.2, cosines(rng, height, 9, 0.8))
	p.addAll(1.2, times(cosines(rng, series, 3, 0.5), bent))
	p.slotSD = 2.8
	p = p.scaled(HornSpread / p.spread())
	p.add(hornOffsetSD, constant())
	return p
}

// newMouthpiece: three components, each a smooth function of the sounding
// frequency over the tube length, of decreasing size; a tail; a little noise.
func newMouthpiece(seed uint64) process {
	rng := stream(seed, "mouthpiece")
	var components [][]float64
	for k := range 3 {
		shape := make([]float64, len(Slots))
		a, b, c := 0.2*rng.NormFloat64(), 0.3*rng.NormFloat64(), 0.1*rng.Float64()
		for j, x := range height {
			wave := math.Cos(math.Pi * ((float64(k)+1)*x + c))
			shape[j] = (wave + a*x*x + b*x*x*x) * shorter[j]
		}
		components = append(components, shape)
	}
	components = orthogonal([][]float64{shorter}, components)
	var p process
	for k, sd := range []float64{3.3, 0.93, 0.30} {
		p.add(sd, components[k])
	}
	p.addAll(0.15, times(cosines(rng, height, 7, 0)[3:], shorter))
	p.slotSD = 0.4
	p.add(mouthpieceOffsetSD, shorter)
	return p.scaled(MouthpieceSpread / p.spread())
}

// newPlayer: the habit of drifting up or down with height, and waves.
func newPlayer(seed uint64) process {
	rng := stream(seed, "player")
	slope := make([]float64, len(Slots))
	for j, x := range height {
		slope[j] = x - 0.45
	}
	var p process
	p.addAll(3.0, [][]float64{slope})
	p.addAll(3.2, cosines(rng, height, 5, 1.3))
	p.slotSD = 0.8
	p = p.scaled(PlayerSpread / p.spread())
	p.add(playerOffsetSD, constant())
	return p
}

// newPair: a smooth interaction, most of it in a few waves.
func newPair(seed uint64) process {
	var p process
	p.addAll(PairSpread, times(cosines(stream(seed, "pair"), height, 4, 1), shorter))
	rest := PairSD*PairSD - meanVariance(p)
	p.add(math.Sqrt(max(rest, 0)), constant())
	return p
}

func newWiggle(seed uint64) process {
	var p process
	p.addAll(WiggleSpread, cosines(stream(seed, "wiggle"), height, 4, 1))
	return p
}

// meanVariance is the variance of p averaged over the usual notes.
func meanVariance(p process) float64 {
	total := p.slotSD * p.slotSD
	for _, s := range p.shapes {
		for _, j := range Usual {
			total += s[j] * s[j] / float64(len(Usual))
		}
	}
	return total
}

// TrueCovariance is the covariance of a component over [Slots], cents squared,
// as the world was drawn from it.
func (w *World) TrueCovariance(c Component) *mat.SymDense {
	return w.nature.process[c].covariance()
}
