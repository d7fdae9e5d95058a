package match

import (
	"math"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// sessionEngine answers for the setup of one session with what was read in it,
// and for nothing else: mean readings as the profile, no draws.
type sessionEngine struct {
	Engine // knows the noise of readings, perhaps
	slots  []pitch.Slot
	cents  map[pitch.Slot]float64 // means
	counts map[pitch.Slot]int
}

// asMeasured makes an engine of a session's readings. It fails when none counts.
func asMeasured(e Engine, s catalog.Session) (sessionEngine, error) {
	m := sessionEngine{e, nil, map[pitch.Slot]float64{}, map[pitch.Slot]int{}}
	for _, r := range s.Readings {
		if r.Odd {
			continue
		}
		if m.counts[r.Slot]++; m.counts[r.Slot] == 1 {
			m.slots = append(m.slots, r.Slot)
		}
		m.cents[r.Slot] += (r.Cents - m.cents[r.Slot]) / float64(m.counts[r.Slot])
	}
	if len(m.slots) == 0 {
		return m, catalog.Errorf(catalog.Invalid, "choose another session", "session %q has no reading that counts", s.Name)
	}
	sortSlots(m.slots)
	return m, nil
}

// Slots are those that were read.
func (m sessionEngine) Slots() []pitch.Slot { return m.slots }

// ReadingNoise is that of the engine; 0 when it does not know.
func (m sessionEngine) ReadingNoise() float64 {
	if n, ok := m.Engine.(noiseTeller); ok {
		return n.ReadingNoise()
	}
	return 0
}

// Predict gives the readings, whatever the setup.
func (m sessionEngine) Predict(s fit.Setup, slots []pitch.Slot) (fit.Prediction, error) {
	p := fit.Prediction{Setup: s, Slots: slots, Linked: true, Evidence: fit.Evidence{Pair: 1, Horn: 1, Mouthpiece: 1, Basis: fit.BasisMeasured}}
	for _, slot := range slots {
		p.Mean = append(p.Mean, m.cents[slot])
		p.SD = append(p.SD, m.ReadingNoise()/math.Sqrt(float64(max(1, m.counts[slot]))))
	}
	return p, nil
}

// PredictMany gives the readings for every setup.
func (m sessionEngine) PredictMany(setups []fit.Setup, slots []pitch.Slot) ([]fit.Prediction, error) {
	out := make([]fit.Prediction, len(setups))
	for i, s := range setups {
		out[i], _ = m.Predict(s, slots) // never fails
	}
	return out, nil
}
