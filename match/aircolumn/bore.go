package aircolumn

import (
	"fmt"
	"math"

	"centwise/catalog"
)

// Part says which part of the instrument a stretch of the bore belongs to.
type Part string

// Parts of a bore, from the rim on.
const (
	Mouthpiece Part = "mouthpiece"
	Leadpipe   Part = "leadpipe"
	Tube       Part = "tube" // where valve loops are inserted
	Bell       Part = "bell" // where the axis is the arc length of the wall
)

// Parts lists the known parts.
var Parts = []Part{Mouthpiece, Leadpipe, Tube, Bell}

// Piece is a stretch of bore with a straight wall, in mm along the axis.
type Piece struct {
	Part     Part
	LengthMM float64 // > 0
	StartMM  float64 // diameter where it begins, > 0
	EndMM    float64 // diameter where it ends, > 0
}

// Bore is pieces stacked from the rim plane to the open end. Where a piece
// begins wider or narrower than the one before it ended, there is a step.
type Bore []Piece

// Limits of bores. They hold every wind instrument, and keep nonsense and
// mistaken units out.
const (
	minDiameterMM = 0.5
	maxDiameterMM = 2000.0
	maxBoreMM     = 20_000.0
	maxPieces     = 20_000
	minPieceMM    = 1e-6
	minBoreLength = 10.0
	maxLoopsMM    = 5_000.0
)

// LengthMM is the length along the axis.
func (b Bore) LengthMM() float64 {
	sum := 0.0
	for _, p := range b {
		sum += p.LengthMM
	}
	return sum
}

// VolumeCM3 is the volume of the pieces of a part.
func (b Bore) VolumeCM3(part Part) float64 {
	sum := 0.0
	for _, p := range b {
		if p.Part == part {
			sum += math.Pi / 12 * p.LengthMM * (p.StartMM*p.StartMM + p.StartMM*p.EndMM + p.EndMM*p.EndMM)
		}
	}
	return sum / 1000
}

// Check reports what is wrong with a bore that no model can be made of.
func (b Bore) Check() error {
	if len(b) == 0 {
		return catalog.Errorf(catalog.Invalid, "give it two points at least", "the bore has no length")
	}
	if len(b) > maxPieces {
		return catalog.Errorf(catalog.Invalid, "describe it by fewer points", "the bore has %d pieces, more than %d", len(b), maxPieces)
	}
	for i, p := range b {
		if what := p.wrong(); what != "" {
			return catalog.Errorf(catalog.Invalid, "give lengths and diameters in mm", "piece %d of the bore %s", i+1, what)
		}
	}
	if l := b.LengthMM(); l < minBoreLength || l > maxBoreMM {
		return catalog.Errorf(catalog.Invalid, "give lengths in mm", "the bore is %g mm long, outside %g to %g mm", l, minBoreLength, maxBoreMM)
	}
	return nil
}

// wrong says what is wrong with a piece by itself, "" for nothing.
func (p Piece) wrong() string {
	switch {
	case !(p.LengthMM >= minPieceMM && p.LengthMM <= maxBoreMM):
		return fmt.Sprintf("is %g mm long", p.LengthMM)
	case !okDiameter(p.StartMM):
		return fmt.Sprintf("begins with a diameter of %g mm", p.StartMM)
	case !okDiameter(p.EndMM):
		return fmt.Sprintf("ends with a diameter of %g mm", p.EndMM)
	}
	for _, known := range Parts {
		if p.Part == known {
			return ""
		}
	}
	return fmt.Sprintf("belongs to %q, which is no part of an instrument", p.Part)
}

func okDiameter(mm float64) bool { return mm >= minDiameterMM && mm <= maxDiameterMM }
