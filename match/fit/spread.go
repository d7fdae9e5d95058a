package fit

import "centwise/catalog/pitch"

// Spreads are how far items stray from what is common to all before anybody has
// measured them, as the fit has learned it: covariances on some slots, slots x
// slots, cents squared.
type Spreads struct {
	Horn, Mouthpiece, Player []float64
	Pair                     []float64 // of the interaction of one horn with one mouthpiece
}

// Spreads gives those on some slots of instruments of a transposition. NotFound for
// a slot that the fit does not know.
func (m *Model) Spreads(slots []pitch.Slot, transposition int) (Spreads, error) {
	f, err := m.newFrame(slots, len(slots), transposition)
	if err != nil {
		return Spreads{}, err
	}
	n := len(slots)
	out := Spreads{make([]float64, n*n), make([]float64, n*n), make([]float64, n*n), f.smoothCovariance(m.Components.Interaction)}
	mouthpiece, player := mouthpieceBasis(slots, transposition), smoothBasis(slots)
	for _, l := range m.learned {
		switch l.Name {
		case levelFamily, levelHornDesign, levelHorn:
			m.addSlotCovariance(out.Horn, slots, l)
		case levelMouthpieceDesign, levelMouthpiece:
			l.addCovariance(out.Mouthpiece, mouthpiece, 1)
		case levelDimensions: // of mouthpieces whose dimensions differ as usual
			l.addCovariance(out.Mouthpiece, mouthpiece, dimensionCount)
		case levelMouthpieceSlots:
			m.addSlotCovariance(out.Mouthpiece, slots, l)
		case levelPlayer:
			l.addCovariance(out.Player, player, 1)
		case levelPlayerSlots:
			m.addSlotCovariance(out.Player, slots, l)
		}
	}
	return out, nil
}

// addSlotCovariance adds the covariance of a level that is slot by slot.
func (m *Model) addSlotCovariance(out []float64, slots []pitch.Slot, l learnedLevel) {
	for i, s := range slots {
		for j, t := range slots {
			out[i*len(slots)+j] += l.Covariance[m.slotIndex[s]*l.P+m.slotIndex[t]]
		}
	}
}

// addCovariance adds a multiple of the covariance of a level whose coefficients
// sound by a basis (slots x coefficients).
func (l learnedLevel) addCovariance(out, basis []float64, times float64) {
	n := len(basis) / l.P
	half, sum := make([]float64, n*l.P), make([]float64, n*n)
	mul(half, basis, l.Covariance, n, l.P, l.P)
	mulTrans(sum, half, basis, n, l.P, n)
	axpy(times, sum, out)
}
