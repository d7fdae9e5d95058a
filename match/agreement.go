package match

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// Witness is an [Engine] that knows how sessions stray from what it expects of
// them. [fit.Model] is one.
type Witness interface {
	Engine
	// ReadingNoiseOf is the standard deviation of a good reading of a contributor
	// with a method, in cents.
	ReadingNoiseOf(contributor string, method catalog.Method) float64
	SessionLaw(slots []pitch.Slot, by fit.Source) (fit.SessionLaw, error)
	// Spreads are how much gear and players that nobody measured vary.
	Spreads(slots []pitch.Slot, transposition int) (fit.Spreads, error)
}

// outlook is what is the same for the sessions of a batch.
type outlook struct {
	witness Witness
	slots   []pitch.Slot
	at      *places
	law     fit.SessionLaw
	own     []float64           // covariance of constant, slide and day, slots x slots
	spreads map[int]fit.Spreads // by transposition
}

// freeSD is the standard deviation of a session's constant and of its slide, in
// cents: much more than they ever are, as what a session has of its own says
// nothing against it.
const freeSD = 60.0

func newOutlook(w Witness, slots []pitch.Slot) (*outlook, error) {
	o := &outlook{witness: w, slots: slots, at: placesOf(slots), spreads: map[int]fit.Spreads{}}
	var err error
	if o.law, err = w.SessionLaw(slots, fit.Source{}); err != nil {
		return nil, err
	}
	n := len(slots)
	o.own = make([]float64, n*n)
	for i, s := range slots {
		for j, t := range slots {
			o.own[i*n+j] = freeSD*freeSD*(1+shorter(s)*shorter(t)) + o.law.Day[i*n+j]
		}
	}
	return o, nil
}

// shorter is what a pull of the slide does on a slot beside an open note: 1/r.
func shorter(s pitch.Slot) float64 { return 1 / s.Valves.Ratio() }

// spread gives the spreads for a transposition, worked out once.
func (o *outlook) spread(transposition int) (fit.Spreads, error) {
	if x, ok := o.spreads[transposition]; ok {
		return x, nil
	}
	x, err := o.witness.Spreads(o.slots, transposition)
	o.spreads[transposition] = x
	return x, err
}

// expectation is what the rest of the catalog expects of a session: a profile, and
// the covariance of what the session may lie off it but for the noise of reading.
type expectation struct {
	*outlook
	mean       []float64 // cents, one a slot
	covariance []float64 // slots x slots, cents squared
}

func (o *outlook) expectation() expectation {
	return expectation{o, make([]float64, len(o.slots)), append([]float64(nil), o.own...)}
}

// leaveOut is a setup without what this session alone has measured.
func leaveOut(s fit.Setup, e fit.Evidence) fit.Setup {
	if e.Horn == 1 {
		s.Horn = ""
	}
	if e.Mouthpiece == 1 {
		s.Mouthpiece = ""
	}
	if e.Player == 1 {
		s.Player, s.Bench = "", false
	}
	return s
}

// expect is what others say of a setup: the share of an item that this session
// alone has measured is what the session itself says, so it is left out, and what
// such items vary by is not known. others predicts the setup of leaveOut.
func (o *outlook) expect(p, others fit.Prediction, usual fit.Spreads) expectation {
	e := o.expectation()
	addTo(e.mean, p.Common)
	for _, x := range []struct {
		share    []float64
		known    bool
		variance []float64
	}{
		{p.Horn, others.Setup.Horn != "", usual.Horn},
		{p.Mouthpiece, others.Setup.Mouthpiece != "", usual.Mouthpiece},
		{p.Player, others.Setup.Player != "" || others.Setup.Bench, usual.Player},
	} {
		if x.known {
			addTo(e.mean, x.share)
		} else {
			addTo(e.covariance, x.variance)
		}
	}
	if p.Evidence.Pair > 1 {
		addTo(e.mean, p.Pair)
	}
	if others.Setup.Horn == "" || others.Setup.Mouthpiece == "" {
		addTo(e.covariance, usual.Pair)
	}
	e.addDraws(others)
	return e
}

// addDraws adds the covariance of a prediction's draws.
func (e expectation) addDraws(p fit.Prediction) {
	n := len(e.mean)
	off := make([]float64, n)
	for _, draw := range p.Draws {
		for j, v := range draw {
			off[j] = v - p.Mean[j]
		}
		for i, a := range off {
			a /= float64(len(p.Draws))
			for j, b := range off {
				e.covariance[i*n+j] += a * b
			}
		}
	}
}

// expectCommon is what is common to all setups. It serves where several sessions
// of one horn or player share a mistake and so have taught it to the fit.
func (o *outlook) expectCommon(p fit.Prediction, usual fit.Spreads) expectation {
	e := o.expectation()
	addTo(e.mean, p.Common)
	for _, variance := range [][]float64{usual.Horn, usual.Mouthpiece, usual.Player, usual.Pair} {
		addTo(e.covariance, variance)
	}
	return e
}

func addTo(sum, x []float64) {
	for i, v := range x {
		sum[i] += v
	}
}

// agreement is how readings lie beside what was expected.
type agreement struct {
	law     fit.SessionLaw
	log     float64 // logarithm of how likely they are, up to what all readings have in common
	slips   []bool  // notes taken for slips
	off     []float64
	left    *mat.VecDense // S^-1 off, S the covariance of all
	factor  *mat.Cholesky
	inverse mat.SymDense
}

// values are the means of readings on some slots.
type values struct {
	places   []int // of the slots in the outlook
	cents    []float64
	variance []float64 // of their reading noise, cents squared
}

// slipAt is the number of standard deviations from which on a note is tried as a
// slip.
const slipAt = 2.5

// agree tells how well values agree with an expectation. Notes are taken for slips
// one by one, the farthest from what the others let expect first, as long as that
// makes the whole likelier.
func (e expectation) agree(v values) agreement {
	n, k := len(v.places), e.law.GrossFactor
	s := mat.NewSymDense(n, nil)
	off := make([]float64, n)
	for a, i := range v.places {
		off[a] = v.cents[a] - e.mean[i]
		for b := a; b < n; b++ {
			s.SetSym(a, b, e.covariance[i*len(e.mean)+v.places[b]])
		}
		s.SetSym(a, a, s.At(a, a)+v.variance[a])
	}
	slips := make([]bool, n)
	best := e.newAgreement(s, off, slips)
	for range n / 3 {
		at := best.farthest()
		if at < 0 {
			break
		}
		s.SetSym(at, at, s.At(at, at)+(k*k-1)*v.variance[at])
		slips[at] = true
		next := e.newAgreement(s, off, slips)
		next.log += float64(next.count()) * math.Log(e.law.GrossShare/(1-e.law.GrossShare))
		if next.log <= best.log {
			break
		}
		best = next
	}
	return best
}

func (e expectation) newAgreement(s *mat.SymDense, off []float64, slips []bool) agreement {
	x := agreement{law: e.law, off: off, slips: append([]bool(nil), slips...), left: new(mat.VecDense), factor: new(mat.Cholesky)}
	if !x.factor.Factorize(s) {
		panic("match: a session's covariance is not positive definite")
	}
	o := mat.NewVecDense(len(off), off)
	if x.factor.SolveVecTo(x.left, o) != nil || x.factor.InverseTo(&x.inverse) != nil {
		panic("match: a session's covariance is singular")
	}
	x.log = -(x.factor.LogDet() + mat.Dot(o, x.left)) / 2
	return x
}

// apart is how far note a lies from what the others let expect, in cents, and the
// variance of that, its own noise included.
func (x agreement) apart(a int) (cents, variance float64) {
	variance = 1 / x.inverse.At(a, a)
	return x.left.AtVec(a) * variance, variance
}

// slipChance is the chance that note a is a slip by how far it lies from what the
// others let expect; variance is that of its reading noise if it is none.
func (x agreement) slipChance(a int, noise float64) float64 {
	cents, all := x.apart(a)
	rest := max(0, all-noise) // of what is expected
	if k := x.law.GrossFactor; x.slips[a] {
		rest = max(0, all-k*k*noise)
	}
	density := func(variance float64) float64 { return math.Exp(-cents*cents/(2*variance)) / math.Sqrt(variance) }
	good := (1 - x.law.GrossShare) * density(rest+noise)
	slip := x.law.GrossShare * density(rest+x.law.GrossFactor*x.law.GrossFactor*noise)
	if good+slip == 0 {
		return 1
	}
	return slip / (good + slip)
}

// farthest is the note that lies farthest off and is no slip yet; -1 if all lie
// within slipAt.
func (x agreement) farthest() int {
	at, most := -1, slipAt
	for a, slip := range x.slips {
		cents, variance := x.apart(a)
		if z := math.Abs(cents) / math.Sqrt(variance); !slip && z > most {
			at, most = a, z
		}
	}
	return at
}

func (x agreement) count() (slips int) {
	for _, slip := range x.slips {
		if slip {
			slips++
		}
	}
	return slips
}

// along tells by how much likelier the readings are if shape, times something of
// standard deviation sd, is added to what was expected: the logarithm of the ratio,
// and the factor.
func (x agreement) along(shape []float64, sd float64) (gain, factor float64) {
	u := mat.NewVecDense(len(shape), shape)
	var solved mat.VecDense
	if x.factor.SolveVecTo(&solved, u) != nil {
		return 0, 0
	}
	a, b := mat.Dot(u, &solved), mat.Dot(u, x.left)
	return (b*b/(a+1/(sd*sd)) - math.Log1p(sd*sd*a)) / 2, b / (a + 1/(sd*sd))
}
