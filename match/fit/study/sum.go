package main

import (
	"context"

	"centwise/match/fit/simulate"
)

// profiles are plain averages of readings, per item and slot.
type profiles struct {
	sum, count [][]float64
}

func newProfiles(items int) profiles {
	p := profiles{make([][]float64, items), make([][]float64, items)}
	for i := range p.sum {
		p.sum[i], p.count[i] = make([]float64, len(simulate.Slots)), make([]float64, len(simulate.Slots))
	}
	return p
}

func (p profiles) add(item, slot int, cents float64) {
	p.sum[item][slot] += cents
	p.count[item][slot]++
}

// at is the average on a slot, or what stands in where nothing was read, and
// the number of readings behind it.
func (p profiles) at(item, slot int, otherwise float64) (mean, count float64) {
	if n := p.count[item][slot]; n > 0 {
		return p.sum[item][slot] / n, n
	}
	return otherwise, 0
}

// offsets finds each session's own shift and the mean per slot, by turns: a
// session's shift is its mean distance from the slot means. It is what somebody
// does in a spreadsheet before averaging.
func offsets(w *simulate.World) (shift, slotMean []float64) {
	shift = make([]float64, len(w.Sessions))
	slotMean = make([]float64, len(simulate.Slots))
	for range 20 {
		all := newProfiles(1)
		for i, s := range w.Sessions {
			for _, r := range s.Readings {
				all.add(0, r.Slot, r.Cents-shift[i])
			}
		}
		for j := range slotMean {
			slotMean[j], _ = all.at(0, j, 0)
		}
		for i, s := range w.Sessions {
			if len(s.Readings) == 0 {
				continue
			}
			sum := 0.0
			for _, r := range s.Readings {
				sum += r.Cents - slotMean[r.Slot]
			}
			shift[i] = sum / float64(len(s.Readings))
		}
	}
	return shift, slotMean
}

// plainSum adds the horn's average profile and the mouthpiece's average
// departure from the grand mean, session shifts removed, nothing shrunk.
type plainSum struct {
	mean               []float64
	horns, mouthpieces profiles
	variance           float64 // of one reading about its horn's profile
}

func (*plainSum) Name() string { return "plain sum" }

func (m *plainSum) Fit(_ context.Context, w *simulate.World) error {
	shift, mean := offsets(w)
	m.mean, m.horns, m.mouthpieces = mean, newProfiles(len(w.Horns)), newProfiles(len(w.Mouthpieces))
	for i, s := range w.Sessions {
		for _, r := range s.Readings {
			m.horns.add(s.Horn, r.Slot, r.Cents-shift[i])
			m.mouthpieces.add(s.Mouthpiece, r.Slot, r.Cents-shift[i])
		}
	}
	squares, free := 0.0, 0.0
	for i, s := range w.Sessions {
		for _, r := range s.Readings {
			own, n := m.horns.at(s.Horn, r.Slot, 0)
			if n > 1 {
				squares += (r.Cents - shift[i] - own) * (r.Cents - shift[i] - own)
				free += 1 - 1/n
			}
		}
	}
	m.variance = squares / max(free, 1)
	return nil
}

func (m *plainSum) Predict(_ context.Context, pairs []simulate.Pair) ([]Profile, error) {
	out := make([]Profile, len(pairs))
	for i, p := range pairs {
		mean, variance := make([]float64, len(m.mean)), make([]float64, len(m.mean))
		for j, grand := range m.mean {
			h, hn := m.horns.at(p.Horn, j, grand)
			t, tn := m.mouthpieces.at(p.Mouthpiece, j, grand)
			mean[j] = h + t - grand
			variance[j] = m.variance/max(hn, 1) + m.variance/max(tn, 1)
		}
		out[i] = Profile{simulate.Centred(mean), roots(centredVariance(variance))}
	}
	return out, nil
}

// meanOnly predicts the grand mean for every pair.
type meanOnly struct{ mean []float64 }

func (*meanOnly) Name() string { return "mean only" }

func (m *meanOnly) Fit(_ context.Context, w *simulate.World) error {
	_, mean := offsets(w)
	m.mean = simulate.Centred(mean)
	return nil
}

func (m *meanOnly) Predict(_ context.Context, pairs []simulate.Pair) ([]Profile, error) {
	out := make([]Profile, len(pairs))
	for i := range out {
		out[i] = Profile{Mean: m.mean}
	}
	return out, nil
}
