package match

import (
	"math"

	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// Residuals takes in what a whole fit leaves of every reading, one after the
// other (see [fit.Options].Residuals), and sums up what that says of the fit's
// assumptions (see [Residuals.Report]). It keeps counts and sums, no readings:
// its size grows with the sessions.
//
// A reading counts for as much as it is likely to be good, so sums speak of
// good readings: under the mixture of good and gross ones the mean of g z^2 is
// exactly the share of good ones times their mean z^2.
type Residuals struct {
	all      tally
	beyond   float64   // readings more than beyondSpreads out
	law      []float64 // counts of standardised residuals, lawStep wide from -lawReach on
	widening float64   // sum of noise^2 over what is left of it

	slots    map[pitch.Slot]*tally
	sources  map[fit.Source]*sourceTally
	fitted   map[int]*tally // by fitted value, fittedStep wide
	moments  fittedMoments
	near     [fit.NearSemitones]nearTally
	expected []float64 // of near, as SessionFit.Near
	sessions []sessionTally

	session *fit.SessionFit
	cells   []residualCell // of the session, one a slot
}

// Widths of what residuals are sorted into.
const (
	lawReach      = 60.0 // standardised residuals farther out count as this far
	lawStep       = 0.02
	fittedStep    = 5 // cents
	beyondSpreads = 3.0
)

// tally sums up the residuals of some readings, each weighted by its chance g of
// being good.
type tally struct {
	n        int
	good     float64 // sum of g
	cents    float64 // sum of g e, cents
	variance float64 // sum of g^2 Var e, cents^2
	square   float64 // sum of g z^2
}

func (t *tally) add(r fit.Residual) {
	z := r.Standardised()
	t.n++
	t.good += r.Good
	t.cents += r.Good * (r.Cents - r.Fitted)
	t.variance += r.Good * r.Good * r.Variance()
	t.square += r.Good * z * z
}

func (t *tally) merge(o tally) {
	t.n += o.n
	t.good += o.good
	t.cents += o.cents
	t.variance += o.variance
	t.square += o.square
}

// repeatTally sums up differences of readings of one slot in one session, the
// second less the first and so on, weighted by the chance that both are good.
type repeatTally struct {
	n            int
	good, square float64 // square in noises^2: half the squared difference
}

type sourceTally struct {
	tally
	noise   float64
	repeats repeatTally
}

// sessionTally is what of a session is kept to the end.
type sessionTally struct {
	tally
	name     string
	sequence int64
}

// nearTally sums up products of residuals a number of semitones apart, in
// noises^2.
type nearTally struct {
	pairs         int
	good, product float64
}

// fittedMoments relate residuals to fitted values, all weighted by g.
type fittedMoments struct {
	good, f, ff, e, ef float64
	given              float64 // posterior variance of fitted values, cents^2
}

// residualCell is one slot of the session at hand: its residuals together.
type residualCell struct {
	slot          pitch.Slot
	good, product float64 // sums of g and of g e
	n             int
	lastCents     float64
	lastGood      float64
}

// NewResiduals makes an empty one.
func NewResiduals() *Residuals {
	return &Residuals{
		law:   make([]float64, int(math.Round(2*lawReach/lawStep))),
		slots: map[pitch.Slot]*tally{}, sources: map[fit.Source]*sourceTally{}, fitted: map[int]*tally{},
	}
}

// Take takes in one residual; those of one session must follow each other.
func (s *Residuals) Take(r fit.Residual) {
	if r.Session != s.session {
		s.endSession()
		s.session = r.Session
		s.expected = r.Session.Near
		s.sessions = append(s.sessions, sessionTally{name: r.Session.Name, sequence: r.Session.Sequence})
	}
	z := r.Standardised()
	s.all.add(r)
	s.sessions[len(s.sessions)-1].add(r)
	at(s.slots, r.Slot).add(r)
	at(s.fitted, int(math.Floor(r.Fitted/fittedStep))).add(r)
	source := at(s.sources, r.Session.Source)
	source.noise = r.Session.Noise
	source.add(r)
	s.law[min(len(s.law)-1, max(0, int((z+lawReach)/lawStep)))]++
	if math.Abs(z) > beyondSpreads {
		s.beyond++
	}
	s.widening += r.Session.Noise * r.Session.Noise / r.Variance()
	s.moments.add(r)
	s.takeCell(r, source)
}

// at finds a key's value, made if missing.
func at[K comparable, V any](m map[K]*V, key K) *V {
	v, ok := m[key]
	if !ok {
		v = new(V)
		m[key] = v
	}
	return v
}

func (m *fittedMoments) add(r fit.Residual) {
	g, e := r.Good, r.Cents-r.Fitted
	m.good += g
	m.f += g * r.Fitted
	m.ff += g * r.Fitted * r.Fitted
	m.e += g * e
	m.ef += g * e * r.Fitted
	m.given += g * r.FittedSD * r.FittedSD
}

// takeCell files the residual with those of its slot in the session.
func (s *Residuals) takeCell(r fit.Residual, source *sourceTally) {
	var cell *residualCell
	for i := range s.cells {
		if s.cells[i].slot == r.Slot {
			cell = &s.cells[i]
		}
	}
	if cell == nil {
		s.cells = append(s.cells, residualCell{slot: r.Slot})
		cell = &s.cells[len(s.cells)-1]
	}
	if cell.n > 0 {
		d, g := (r.Cents-cell.lastCents)/r.Session.Noise, r.Good*cell.lastGood
		source.repeats.n++
		source.repeats.good += g
		source.repeats.square += g * d * d / 2
	}
	cell.n++
	cell.good += r.Good
	cell.product += r.Good * (r.Cents - r.Fitted)
	cell.lastCents, cell.lastGood = r.Cents, r.Good
}

// endSession compares the notes of the session at hand with each other.
func (s *Residuals) endSession() {
	if s.session == nil {
		return
	}
	noise := s.session.Noise
	for i, a := range s.cells {
		for _, b := range s.cells[i+1:] {
			apart := int(b.slot.Note() - a.slot.Note())
			if apart < 0 {
				apart = -apart
			}
			if apart == 0 || apart > fit.NearSemitones || a.good == 0 || b.good == 0 {
				continue
			}
			g := a.good / float64(a.n) * b.good / float64(b.n)
			n := &s.near[apart-1]
			n.pairs++
			n.good += g
			n.product += g * (a.product / a.good) * (b.product / b.good) / (noise * noise)
		}
	}
	s.cells = s.cells[:0]
}
