package recording

import (
	"math"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// A reference tone: steadier than anybody plays, and where it should be but for
// the recorder's clock. A rate that is written wrongly (44.1 for 48 kHz) moves
// everything by 147 cents.
const (
	referenceSpread  = 1.0 // cents
	referenceVibrato = 1.0
	referenceReach   = 200.0
	referenceSeconds = 0.5
)

// Calibrate finds the reference tone of hz Hz, which is the first steady tone near
// it, takes it out of the tones, and corrects all others by as much as it is off.
// It gives that in cents: + when the recorder made everything too high. The error
// is NotFound.
func (r *Recording) Calibrate(hz float64) (float64, error) {
	for i, t := range r.Tones {
		off := pitch.Cents(t.Hz, hz)
		if t.Grade == Rejected || t.SteadyEnd-t.SteadyStart < referenceSeconds || math.Abs(off) > referenceReach ||
			t.SpreadCents > referenceSpread || t.VibratoCents > referenceVibrato || math.Abs(t.DriftCents) > referenceSpread {
			continue
		}
		r.Tones = append(r.Tones[:i:i], r.Tones[i+1:]...)
		for j := range r.Tones {
			r.Tones[j] = r.Tones[j].shifted(-off)
		}
		return off, nil
	}
	return 0, catalog.Errorf(catalog.NotFound, "record a generated tone for two seconds before the first note, or leave --reference out",
		"%s holds no steady tone near %g Hz to compare with", r.Name, hz)
}

// shifted is the tone moved by cents.
func (t Tone) shifted(cents float64) Tone {
	if t.Hz > 0 {
		t.Hz = pitch.Shift(t.Hz, cents)
	}
	moved := make([]Contour, len(t.Contour))
	for i, c := range t.Contour {
		moved[i] = Contour{c.Second, pitch.Shift(c.Hz, cents)}
	}
	t.Contour = moved
	return t
}
