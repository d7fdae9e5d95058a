package aircolumn

import (
	"fmt"
	"math"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// pattern is an invented instrument from which those of other keys are scaled.
type pattern struct {
	transposition int // that it is made for
	setup         Setup
}

// Our own numbers, no maker's, chosen so that the resonances lie about as a real
// instrument's do: open B-flat trumpets measure close to the multiples of
// 116.5 Hz (Acoustics Today, Summer 2021, p. 15). Tubes and valve loops are for
// [Generic] to find.
var (
	trumpetPattern = pattern{-2, Setup{
		Horn: Horn{GapMM: 3.5, ReceiverMM: 9.8, LeadpipeStartMM: 8.7, LeadpipeMM: 235, BoreMM: 11.68, TubeMM: 534, BellMM: 540, MouthMM: 122, Flare: 0.585},
		Cup:  Cup{RimMM: 16.5, CupCM3: 1.1, ThroatMM: 3.65, ThroatLengthMM: 7, BackboreMM: 8.9, BackboreShape: 0.8, LengthMM: 87},
	}}
	highTrumpetPattern = pattern{5, Setup{
		Horn: Horn{GapMM: 3, ReceiverMM: 9.6, LeadpipeStartMM: 8, LeadpipeMM: 190, BoreMM: 11.5, TubeMM: 155, BellMM: 480, MouthMM: 108, Flare: 0.505},
		Cup:  Cup{RimMM: 16.2, CupCM3: 1.05, ThroatMM: 3.6, ThroatLengthMM: 5, BackboreMM: 8.7, BackboreShape: 0.8, LengthMM: 78},
	}}
	piccoloPattern = pattern{10, Setup{
		Horn: Horn{GapMM: 3, ReceiverMM: 9.6, LeadpipeStartMM: 7.7, LeadpipeMM: 185, BoreMM: 11.2, TubeMM: 45, BellMM: 365, MouthMM: 95, Flare: 0.53},
		Cup:  Cup{RimMM: 16.2, CupCM3: 0.88, ThroatMM: 3.6, ThroatLengthMM: 5, BackboreMM: 8.7, BackboreShape: 0.8, LengthMM: 72},
	}}
	cornetPattern = pattern{-2, Setup{
		Horn: Horn{GapMM: 3, ReceiverMM: 9, LeadpipeStartMM: 7.9, LeadpipeMM: 290, BoreMM: 11.7, TubeMM: 320, BellMM: 685, MouthMM: 120, Flare: 0.53},
		Cup:  Cup{RimMM: 16.4, CupCM3: 1.5, ThroatMM: 3.75, ThroatLengthMM: 7, BackboreMM: 8, BackboreShape: 0.85, LengthMM: 69},
	}}
	flugelhornPattern = pattern{-2, Setup{
		Horn: Horn{GapMM: 3, ReceiverMM: 9.3, LeadpipeStartMM: 8.3, LeadpipeMM: 240, BoreMM: 10.6, TubeMM: 320, BellMM: 720, MouthMM: 152, Flare: 0.615},
		Cup:  Cup{RimMM: 16.5, CupCM3: 2.1, ThroatMM: 4.2, ThroatLengthMM: 7, BackboreMM: 8.6, BackboreShape: 0.9, LengthMM: 75},
	}}
)

// lowestHigh is the transposition from which a trumpet is made after the high
// pattern, and not by shortening the cylinder of the B-flat one.
const lowestHigh = 5

func patternFor(kind catalog.Instrument, transposition int) pattern {
	switch {
	case kind == catalog.Piccolo:
		return piccoloPattern
	case kind == catalog.Cornet:
		return cornetPattern
	case kind == catalog.Flugelhorn:
		return flugelhornPattern
	case transposition >= lowestHigh:
		return highTrumpetPattern
	}
	return trumpetPattern
}

// Generic is an invented setup that stands for the instruments of a kind and a
// key: no maker's, and no measured one. It is tuned: the tube so that open
// partials 2 to 8 lie genericLevel below equal temperament on the average, the
// valve loops so that each valve alone lowers by its interval, the third by a
// little more. It fails for an unknown key.
//
// Keys differ by the length of the cylinder; where that would leave too little
// of it, leadpipe and bell are shorter too.
func Generic(kind catalog.Instrument, key pitch.Key) (Setup, error) {
	if !key.Valid() {
		return Setup{}, catalog.Errorf(catalog.Invalid, "use one of Bb, C, D, Eb, F, G, A", "%q is not a key a trumpet is built in", key)
	}
	transposition := catalog.Horn{Instrument: kind, Key: key}.Transposition()
	p := patternFor(kind, transposition)
	s := p.setup
	s.Horn.scale(nominalMM(transposition) - nominalMM(p.transposition))
	return s.tuned(transposition)
}

// nominalMM is the length of an open instrument's tube, 1480 mm for a B-flat
// trumpet (HyperPhysics, Georgia State University, "Trumpet", after Backus 1976).
func nominalMM(transposition int) float64 {
	return 1480 * math.Exp2(float64(pitch.KeyBb.Semitones()-transposition)/12)
}

// leastTube is the share of a pattern's cylinder that shortening leaves at least.
const leastTube = 0.28

// scale makes the horn longer by so much, or shorter.
func (h *Horn) scale(longerMM float64) {
	tube := max(h.TubeMM+longerMM, leastTube*h.TubeMM)
	longerMM -= tube - h.TubeMM
	h.TubeMM = tube
	rest := 1 + longerMM/(h.LeadpipeMM+h.BellMM)
	h.LeadpipeMM *= rest
	h.BellMM *= rest
}

// Where generic instruments lie. Playing is 10 to 20 cents above the peaks
// (Boutin, Fletcher, Smith & Wolfe 2015, J. Acoust. Soc. Am. 137, 1195-1209: 1.1 %
// for a trombone), so that the peaks of one that plays in tune are as far below.
const (
	genericLevel = -15.0 // cents
	thirdIsLong  = -6.0  // cents that valve 3 lowers further, so that 23 is hardly sharp
)

// tunedPartials are those that the level is the mean of. A piccolo's tops may
// have no peak at all.
func tunedPartials(transposition int) []int {
	if transposition > 8 {
		return []int{2, 3, 4, 5, 6}
	}
	return []int{2, 3, 4, 5, 6, 8}
}

// tuned finds the tube and the loops.
func (s Setup) tuned(transposition int) (Setup, error) {
	air, err := MoistAir(DefaultTemperatureC, DefaultHumidity)
	if err != nil {
		return s, err
	}
	length := nominalMM(transposition)
	singles := []pitch.Valves{0, 1, 2, 4} // none, first, second, third
	for i := range s.Horn.Loops[:3] {
		s.Horn.Loops[i] = length * (singles[i+1].Ratio() - 1)
	}
	for range tuningSteps {
		m, err := s.Model(air)
		if err != nil {
			return s, fmt.Errorf("the generic instrument: %w", err)
		}
		level := make([]float64, len(singles))
		for i, v := range singles {
			if level[i], err = m.level(v, transposition); err != nil {
				return s, fmt.Errorf("the generic instrument: %w", err)
			}
		}
		open := level[0] - genericLevel
		s.Horn.TubeMM += length * open * math.Ln2 / 1200
		for i := range s.Horn.Loops[:3] {
			off := level[i+1] - level[0]
			if i == 2 {
				off -= thirdIsLong
			}
			s.Horn.Loops[i] += length * math.Ln2 / 1200 * (off*singles[i+1].Ratio() + open*(singles[i+1].Ratio()-1))
		}
	}
	return s, nil
}

// tuningSteps leave less than 0.01 cent to tune.
const tuningSteps = 6

// level is the mean deviation of the tuned partials of a fingering.
func (m *Model) level(v pitch.Valves, transposition int) (float64, error) {
	var slots []pitch.Slot
	for _, p := range tunedPartials(transposition) {
		slots = append(slots, pitch.Slot{Valves: v, Partial: p})
	}
	peaks, err := m.Peaks(slots)
	if err != nil {
		return 0, err
	}
	sum := 0.0
	for _, r := range peaks {
		sum += r.Cents(transposition, catalog.DefaultA4Hz)
	}
	return sum / float64(len(peaks)), nil
}
