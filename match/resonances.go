package match

import (
	"context"
	"fmt"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/tuning"
)

// Resonances is what impedance sessions say of one setup: where its resonances
// lie against each other on the same valves.
//
// A session's own constant and the tuning slide move all resonances of the same
// valves alike. So differences are taken within each session and averaged over
// sessions, and sessions need not have the same slots.
type Resonances struct {
	Sessions    int
	differences map[[2]pitch.Slot]average
}

type average struct {
	sum float64
	n   int
}

// NewResonances takes in what was read in sessions of method impedance with one
// setup; odd readings do not count. Nil when there is no session.
func NewResonances(sessions []catalog.Session) *Resonances {
	if len(sessions) == 0 {
		return nil
	}
	r := &Resonances{Sessions: len(sessions), differences: map[[2]pitch.Slot]average{}}
	for _, s := range sessions {
		r.take(s.Readings)
	}
	return r
}

// take adds the differences of one session.
func (r *Resonances) take(readings []catalog.Reading) {
	means := map[pitch.Slot]average{}
	for _, x := range readings {
		if x.Odd {
			continue
		}
		m := means[x.Slot]
		means[x.Slot] = average{m.sum + x.Cents, m.n + 1}
	}
	for note, own := range means {
		for k := 2; k <= 4; k++ {
			harmonic, ok := tuning.Harmonic(note, k)
			if !ok {
				continue
			}
			if there, ok := means[harmonic]; ok {
				pair := [2]pitch.Slot{note, harmonic}
				d := r.differences[pair]
				r.differences[pair] = average{d.sum + there.mean() - own.mean(), d.n + 1}
			}
		}
	}
}

func (a average) mean() float64 { return a.sum / float64(a.n) }

// Support is the harmonic support of a slot by the measured resonances; false
// when no two that it takes were measured together. Nil knows nothing.
func (r *Resonances) Support(s pitch.Slot) (float64, bool) {
	if r == nil {
		return 0, false
	}
	return tuning.SupportOf(s, func(note, harmonic pitch.Slot) (float64, bool) {
		d, ok := r.differences[[2]pitch.Slot{note, harmonic}]
		return d.mean(), ok
	})
}

// MeanSupport is the mean of Support over the slots for which it is known.
func (r *Resonances) MeanSupport(slots []pitch.Slot) (float64, bool) {
	return tuning.MeanKnown(slots, r.Support)
}

// known is MeanSupport, nil where it is not known.
func (r *Resonances) known(slots []pitch.Slot) *float64 {
	if r == nil {
		return nil
	}
	if mean, ok := r.MeanSupport(slots); ok {
		return &mean
	}
	return nil
}

// PairOf names a horn and a mouthpiece by their ids.
type PairOf struct{ Horn, Mouthpiece catalog.ID }

// LoadResonances reads the impedance sessions that are not retracted, setup by
// setup: those with a horn, with a mouthpiece, with both together or, with both
// empty, all. Errors are the store's.
func LoadResonances(ctx context.Context, store catalog.Store, horn, mouthpiece catalog.ID) (map[PairOf]*Resonances, error) {
	f := catalog.SessionFilter{Horn: horn, Mouthpiece: mouthpiece, Method: catalog.MethodImpedance}
	summaries, err := store.Sessions(ctx, f)
	if err != nil {
		return nil, err
	}
	sessions := map[PairOf][]catalog.Session{}
	for _, s := range summaries {
		whole, err := store.Session(ctx, string(s.ID))
		if err != nil {
			return nil, fmt.Errorf("reading the impedance session %q: %w", s.Name, err)
		}
		at := PairOf{s.Horn, s.Mouthpiece}
		sessions[at] = append(sessions[at], whole)
	}
	out := make(map[PairOf]*Resonances, len(sessions))
	for at, list := range sessions {
		out[at] = NewResonances(list)
	}
	return out, nil
}
