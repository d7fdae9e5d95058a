package aircolumn

import (
	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Subject says what an answer is about, as programs print it.
type Subject struct {
	Bore            string             `json:"bore"` // file, or the invented instrument in words
	Generic         bool               `json:"generic"`
	Instrument      catalog.Instrument `json:"instrument"`
	Key             pitch.Key          `json:"key"`
	TemperatureC    float64            `json:"temperature_c"`
	HumidityPercent float64            `json:"humidity_percent"`
	SpeedMS         float64            `json:"sound_speed_m_s"`
	A4Hz            float64            `json:"a4_hz"`
	Transposition   int                `json:"-"`
}

// PeakLine is a resonance as programs print it.
type PeakLine struct {
	Valves      string  `json:"valves"`
	Partial     int     `json:"partial"`
	Note        string  `json:"note"` // written, that the slot is used for
	FrequencyHz float64 `json:"frequency_hz"`
	Cents       float64 `json:"cents"` // from that note in equal temperament
	Q           float64 `json:"q"`
	Magnitude   float64 `json:"magnitude"` // |Zin|, Pa s/m^3
}

// Lines lists resonances of a subject.
func (s Subject) Lines(list []Resonance) []PeakLine {
	out := make([]PeakLine, len(list))
	for i, r := range list {
		out[i] = PeakLine{
			Valves: r.Slot.Valves.String(), Partial: r.Slot.Partial, Note: r.Slot.Note().String(), FrequencyHz: r.FrequencyHz,
			Cents: r.Cents(s.Transposition, s.A4Hz), Q: r.Q, Magnitude: r.Magnitude,
		}
	}
	return out
}

// CurveAnswer is a curve with what is found on it.
type CurveAnswer struct {
	Definition string `json:"definition"`
	Subject
	Valves     string     `json:"valves"`
	Points     []Point    `json:"points"`
	Resonances []PeakLine `json:"resonances"`
	Note       string     `json:"note,omitempty"` // written
	Support    *float64   `json:"support"`        // of the note, null when unknown
	Harmonics  []Harmonic `json:"harmonics"`      // of the note
}

// EffectsAnswer is what changes of dimensions do to slots.
type EffectsAnswer struct {
	Definition string `json:"definition"`
	Subject
	Slots   []PeakLine `json:"slots"`
	Effects []Effect   `json:"effects"`
}
