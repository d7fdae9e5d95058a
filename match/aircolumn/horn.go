package aircolumn

import (
	"math"

	"centwise/catalog"
)

// Horn is an instrument behind the mouthpiece by its dimensions in mm. Its
// shape between them is ours, unless its bore was described ([Setup.Describe]): a straight leadpipe, a cylinder, a bell whose
// radius falls off with the distance from a point behind the mouth as
// b (x0 + x)^-Flare (the "Bessel" horn, a usual approximation of bells).
type Horn struct {
	GapMM           float64 // from the shank's end to the leadpipe
	ReceiverMM      float64 // diameter of the gap
	LeadpipeStartMM float64 // diameter
	LeadpipeMM      float64 // length
	BoreMM          float64 // diameter of the cylinder
	TubeMM          float64 // length of the cylinder, with the slide pushed in to where the horn is in tune
	SlideMM         float64 // the tuning slide pulled out from there: the tube grows by twice that
	BellMM          float64 // length of the bell
	MouthMM         float64 // diameter of the bell's mouth
	Flare           float64 // exponent of the bell
	Loops           Loops

	described *described // its bore as somebody measured it; nil = our shape
}

// Check reports dimensions that make no horn.
func (h Horn) Check() error {
	if h.described != nil {
		return h.checkDescribed()
	}
	for _, d := range []struct {
		name      string
		value     float64
		low, high float64
	}{
		{"gap", h.GapMM, 0, maxTriedGapMM}, {"receiver", h.ReceiverMM, 5, 20}, {"leadpipe start", h.LeadpipeStartMM, 5, 20},
		{"leadpipe length", h.LeadpipeMM, 20, 1500}, {"bore", h.BoreMM, 6, 25}, {"tube length", h.TubeMM + 2*h.SlideMM, 1, 5000},
		{"bell length", h.BellMM, 100, 3000}, {"bell mouth", h.MouthMM, 50, 400}, {"flare", h.Flare, 0.2, 2},
	} {
		if !(d.value >= d.low && d.value <= d.high) {
			return catalog.Errorf(catalog.Invalid, "check the dimensions of the horn", "a %s of %g is outside %g to %g", d.name, d.value, d.low, d.high)
		}
	}
	return nil
}

// Bore is the horn as pieces.
func (h Horn) Bore() Bore {
	if h.described != nil {
		return h.described.bore(h)
	}
	var out Bore
	if h.GapMM > 0 {
		out = append(out, Piece{Leadpipe, h.GapMM, h.ReceiverMM, h.ReceiverMM})
	}
	out = append(out, Piece{Leadpipe, h.LeadpipeMM, h.LeadpipeStartMM, h.BoreMM},
		Piece{Tube, h.TubeMM + 2*h.SlideMM, h.BoreMM, h.BoreMM})
	// With xi the share of the way to the mouth, x0 + x = x0 q^(1-xi) in even
	// ratios: the radius grows by the same factor from piece to piece.
	q := math.Pow(h.MouthMM/h.BoreMM, 1/h.Flare)
	behind := 1 / (q - 1) // x0 as a share of the bell's length
	return append(out, curve(Bell, h.BellMM, bellPieces,
		func(share float64) float64 { return 1 + behind - behind*math.Pow(q, 1-share) },
		func(xi float64) float64 { return h.MouthMM / 2 * math.Pow((1+behind-xi)/behind, -h.Flare) })...)
}

// Setup is a horn with a mouthpiece, both by their dimensions.
type Setup struct {
	Horn Horn
	Cup  Cup
}

// Check reports dimensions that make no instrument.
func (s Setup) Check() error {
	if err := s.Cup.Check(); err != nil {
		return err
	}
	return s.Horn.Check()
}

// Instrument is the setup's bore and loops.
func (s Setup) Instrument() Instrument {
	return Instrument{Bore: append(s.Cup.Bore(), s.Horn.Bore()...), Loops: s.Horn.Loops}
}
