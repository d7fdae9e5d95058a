package catalog

import "centwise/catalog/pitch"

// UsualRange is the written range that parts for an instrument usually keep to
// (common practice, no source): a trumpet's F#3..C6; a cornet's a tone lower at
// the top; flugelhorns and piccolos are seldom taken above A5, which sounds an
// octave higher on a piccolo.
func UsualRange(i Instrument) (low, high pitch.Note) {
	const bb5, a5 pitch.Note = 82, 81
	switch i {
	case Cornet:
		return pitch.RangeLow, bb5
	case Flugelhorn, Piccolo:
		return pitch.RangeLow, a5
	}
	return pitch.RangeLow, pitch.RangeHigh
}
