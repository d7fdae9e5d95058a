package pitch

import "math"

// LengthModel is the simplest model of valve slides: the instrument sounds as
// one tube, so a combination of valves lowers it by the ratio of tube lengths.
// It explains why combinations are sharp; a real bore departs from it by
// several cents from partial to partial. Lengths are in millimetres along the
// tube: a slide pulled out by p adds 2p.
type LengthModel struct {
	OpenMM   float64            // whole tube with no valve pressed, > 0
	ValvesMM [allValves]float64 // what each valve adds, >= 0
}

// ExactSlides is the model of an instrument whose single valves are each exactly
// in tune, in equal temperament.
func ExactSlides(openMM float64) LengthModel {
	m := LengthModel{OpenMM: openMM}
	for i := range m.ValvesMM {
		m.ValvesMM[i] = openMM * ((Valves(1) << i).Ratio() - 1)
	}
	return m
}

// LengthMM is the tube length with the valves v pressed.
func (m LengthModel) LengthMM(v Valves) float64 {
	sum := m.OpenMM
	for i, add := range m.ValvesMM {
		if v.Uses(i + 1) {
			sum += add
		}
	}
	return sum
}

// LoweredCents is how far the valves v lower the open instrument:
// 1200 log2((L + sum of added tubes) / L).
func (m LengthModel) LoweredCents(v Valves) float64 {
	return Cents(m.LengthMM(v), m.OpenMM)
}

// SharpCents is how far v falls short of lowering by its equal-tempered
// interval; negative when it lowers too far.
func (m LengthModel) SharpCents(v Valves) float64 {
	return 100*float64(v.Semitones()) - m.LoweredCents(v)
}

// PullMM is how far one slide of the combination v has to be pulled to bring it
// down to its equal-tempered interval: half of the missing tube. Negative when
// the combination is flat already.
func (m LengthModel) PullMM(v Valves) float64 {
	return (m.OpenMM*v.Ratio() - m.LengthMM(v)) / 2
}

// PulledCents is the change of pitch, in cents and negative for a pull, of the
// combination v when a slide in its path is pulled by pullMM. NaN if that would
// leave no tube.
func (m LengthModel) PulledCents(v Valves, pullMM float64) float64 {
	return -1200 * math.Log2(1+2*pullMM/m.LengthMM(v))
}
