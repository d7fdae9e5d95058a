package aircolumn

import (
	"math"
	"math/cmplx"

	"centwise/catalog/pitch"
)

// Harmonic is where the k-th harmonic of a note falls on the curve of |Zin|.
type Harmonic struct {
	Number      int     `json:"harmonic"`
	FrequencyHz float64 `json:"frequency_hz"`
	Magnitude   float64 `json:"magnitude"` // |Zin| there, Pa s/m^3
	// Of the resonance that is to carry it, partial Number times the note's own;
	// 0 where that has no peak.
	Partial int     `json:"partial"`
	PeakHz  float64 `json:"peak_hz,omitempty"`
	Cents   float64 `json:"cents,omitempty"` // of the harmonic above the peak
	Share   float64 `json:"share,omitempty"` // of the peak's height that is left at the harmonic
}

// Harmonics follows the harmonics of a note that is sounded on a resonance, up
// to a frequency, Hz; peaks are the resonances of the same valves.
func (m *Model) Harmonics(note Resonance, peaks []Resonance, upToHz float64) []Harmonic {
	byPartial := map[int]Resonance{}
	for _, r := range peaks {
		byPartial[r.Slot.Partial] = r
	}
	var out []Harmonic
	for k := 1; float64(k)*note.FrequencyHz <= upToHz; k++ {
		hz := float64(k) * note.FrequencyHz
		h := Harmonic{Number: k, FrequencyHz: hz, Magnitude: cmplx.Abs(m.Impedance(note.Slot.Valves, hz)), Partial: k * note.Slot.Partial}
		if peak, ok := byPartial[h.Partial]; ok {
			// A peak that was found to 0.01 cent may lie a trace under what is beside it.
			h.PeakHz, h.Cents, h.Share = peak.FrequencyHz, 1200*math.Log2(hz/peak.FrequencyHz), min(1, h.Magnitude/peak.Magnitude)
		}
		out = append(out, h)
	}
	return out
}

// Point is one point of a curve.
type Point struct {
	FrequencyHz float64 `json:"frequency_hz"`
	Magnitude   float64 `json:"magnitude"` // |Zin|, Pa s/m^3
	Real        float64 `json:"real"`
	Imaginary   float64 `json:"imaginary"`
}

// Curve is Zin at the frequencies from, from + step, ... up to to, in Hz.
func (m *Model) Curve(v pitch.Valves, fromHz, toHz, stepHz float64) ([]Point, error) {
	if err := m.checkValves(v); err != nil {
		return nil, err
	}
	var out []Point
	for i := 0; fromHz+float64(i)*stepHz <= toHz*(1+1e-12); i++ {
		hz := fromHz + float64(i)*stepHz
		z := m.Impedance(v, hz)
		out = append(out, Point{hz, cmplx.Abs(z), real(z), imag(z)})
	}
	return out, nil
}
