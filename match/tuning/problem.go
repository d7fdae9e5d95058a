package tuning

import (
	"fmt"
	"math"

	"centwise/catalog/pitch"
)

// Problem is a slide-and-throw problem without its deviations: everything that
// is the same for all profiles of one horn. It is never changed after it is
// made, so many goroutines may use one.
type Problem struct {
	slots  []pitch.Slot
	slope  []float64 // 1/r_j
	weight []float64
	pulls  []float64 // weight * slope
	stiffs []float64 // weight * slope^2
	reach  []float64
	target []float64 // cents, taken off the deviations
	sumW   float64
	travel Travel
	asked  Options
	stiff  float64 // sum of stiffs
	plain  bool    // no note that counts has a throw
	unique bool    // some note that counts has no throw: one t is best, not a range
}

// Options are the parts of a problem that have a sensible zero value.
type Options struct {
	Weights     Weights           // nil = even
	Temperament pitch.Temperament // the zero value is equal temperament
	Throws      Throws
	// OpenLengthMM is the open tube length, needed for throws and the default
	// travel; 0 = that of a B-flat trumpet.
	OpenLengthMM float64
	Travel       *Travel // nil = DefaultTravel
}

// NewProblem sets up the problem for profiles on the given slots. It fails when
// a weight or a limit is not a number, when the travel is empty, or when no
// slot has a positive weight.
func NewProblem(slots []pitch.Slot, o Options) (*Problem, error) {
	if o.OpenLengthMM == 0 {
		o.OpenLengthMM = bbLengthMM
	}
	p := &Problem{
		slots: slots, travel: DefaultTravel(o.OpenLengthMM),
		slope: make([]float64, len(slots)), weight: make([]float64, len(slots)),
		pulls: make([]float64, len(slots)), stiffs: make([]float64, len(slots)),
		reach: make([]float64, len(slots)), target: make([]float64, len(slots)), plain: true, asked: o,
	}
	if o.Travel != nil {
		p.travel = *o.Travel
	}
	if !(p.travel.MinCents <= p.travel.MaxCents) {
		return nil, fmt.Errorf("the tuning slide can't travel from %g to %g cents: give the smaller value first", p.travel.MinCents, p.travel.MaxCents)
	}
	for j, s := range slots {
		p.slope[j] = 1 / s.Valves.Ratio()
		p.weight[j] = o.Weights.Of(s.Note())
		p.reach[j] = o.Throws.Reach(s, o.OpenLengthMM)
		p.target[j] = o.Temperament.Target(s.Note())
		if w := p.weight[j]; !(w >= 0) || math.IsInf(w, 1) {
			return nil, fmt.Errorf("the weight of %s is %g: use nought or a positive number", s.Note(), w)
		}
		if math.IsNaN(p.reach[j]) || math.IsInf(p.reach[j], 0) {
			return nil, fmt.Errorf("the reach of %s is %g cents: check the throws and the length of the horn", s.Note(), p.reach[j])
		}
		p.pulls[j] = p.weight[j] * p.slope[j]
		p.stiffs[j] = p.pulls[j] * p.slope[j]
		p.stiff += p.stiffs[j]
		p.sumW += p.weight[j]
		p.plain = p.plain && (p.weight[j] == 0 || p.reach[j] == 0)
		p.unique = p.unique || p.weight[j] > 0 && p.reach[j] == 0
	}
	if p.sumW == 0 {
		return nil, fmt.Errorf("no note in the range has a weight: widen the range or change the weights")
	}
	return p, nil
}

// Slots are the slots of the profiles that the problem takes, in their order.
func (p *Problem) Slots() []pitch.Slot { return p.slots }

// Reach is how far throws can lower slot j, in cents.
func (p *Problem) Reach(j int) float64 { return p.reach[j] }

// Weight is the weight of slot j.
func (p *Problem) Weight(j int) float64 { return p.weight[j] }

// Fingered shares out the deviation d (cents) of any slot, such as another
// fingering of a note of the problem, with the tuning slide at t.
func (p *Problem) Fingered(s pitch.Slot, d, t float64) Note {
	n := Note{
		Slot: s, Deviation: d, Target: p.asked.Temperament.Target(s.Note()), Weight: p.asked.Weights.Of(s.Note()),
		Slide: (1 / s.Valves.Ratio()) * t, Reach: p.asked.Throws.Reach(s, p.asked.OpenLengthMM),
	}
	n.share()
	return n
}
