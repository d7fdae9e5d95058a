package aircolumn

import (
	"math"

	"centwise/catalog/pitch"
)

// Dimension is one of the numbers that a [Setup] is made of.
type Dimension struct {
	Name string
	Unit string // mm or cm3; "" for an exponent
	// Of is where the number is.
	Of func(*Setup) *float64
}

// The dimensions of a setup.
var (
	Rim          = Dimension{"rim", "mm", func(s *Setup) *float64 { return &s.Cup.RimMM }}
	CupVolume    = Dimension{"cup volume", "cm3", func(s *Setup) *float64 { return &s.Cup.CupCM3 }}
	Throat       = Dimension{"throat", "mm", func(s *Setup) *float64 { return &s.Cup.ThroatMM }}
	ThroatLength = Dimension{"throat length", "mm", func(s *Setup) *float64 { return &s.Cup.ThroatLengthMM }}
	BackboreExit = Dimension{"backbore exit", "mm", func(s *Setup) *float64 { return &s.Cup.BackboreMM }}
	CupLength    = Dimension{"length", "mm", func(s *Setup) *float64 { return &s.Cup.LengthMM }} // of the mouthpiece

	// BackboreShape is how the backbore opens, which catalogs know in words at most.
	BackboreShape = Dimension{"backbore shape", "", func(s *Setup) *float64 { return &s.Cup.BackboreShape }}

	Gap            = Dimension{"gap", "mm", func(s *Setup) *float64 { return &s.Horn.GapMM }}
	LeadpipeStart  = Dimension{"leadpipe start", "mm", func(s *Setup) *float64 { return &s.Horn.LeadpipeStartMM }}
	LeadpipeLength = Dimension{"leadpipe length", "mm", func(s *Setup) *float64 { return &s.Horn.LeadpipeMM }}
	BoreDiameter   = Dimension{"bore", "mm", func(s *Setup) *float64 { return &s.Horn.BoreMM }}
	TubeLength     = Dimension{"tube length", "mm", func(s *Setup) *float64 { return &s.Horn.TubeMM }}
	TuningSlide    = Dimension{"tuning slide", "mm", func(s *Setup) *float64 { return &s.Horn.SlideMM }}
	BellLength     = Dimension{"bell length", "mm", func(s *Setup) *float64 { return &s.Horn.BellMM }}
	BellMouth      = Dimension{"bell mouth", "mm", func(s *Setup) *float64 { return &s.Horn.MouthMM }}
	BellFlare      = Dimension{"bell flare", "", func(s *Setup) *float64 { return &s.Horn.Flare }}
)

// CupDimensions are the dimensions of a mouthpiece as catalogs list them.
var CupDimensions = []Dimension{Rim, CupVolume, Throat, ThroatLength, BackboreExit, CupLength}

// HornDimensions are the dimensions of a horn's bore, valves apart.
var HornDimensions = []Dimension{BoreDiameter, LeadpipeStart, LeadpipeLength, TubeLength, BellLength, BellMouth, BellFlare}

// With is the setup with a dimension set to a value.
func (s Setup) With(d Dimension, value float64) Setup {
	*d.Of(&s) = value
	return s
}

// Model is the line of the setup.
func (s Setup) Model(a Air) (*Model, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	return New(s.Instrument(), a)
}

// Sensitivities gives, for each dimension, how far every slot moves in cents per
// unit of the dimension's natural logarithm: 0.05 of it for 5 % more. They are
// derivatives, from the adjoint ([Model.Gradient]); the other dimensions stay as
// they are, so that a deeper cup shortens the backbore of a mouthpiece whose
// length is kept. Every dimension must be above nought.
//
// The shape is [dimension][slot]. By intonation alone throat, throat length and
// backbore can hardly be told apart, nor rim, cup volume and length.
func (s Setup) Sensitivities(a Air, dimensions []Dimension, slots []pitch.Slot) ([][]float64, error) {
	m, err := s.Model(a)
	if err != nil {
		return nil, err
	}
	peaks, err := m.Peaks(slots)
	if err != nil {
		return nil, err
	}
	moves := make([]pieceMoves, len(dimensions))
	out := make([][]float64, len(dimensions))
	for k, d := range dimensions {
		moves[k] = s.movesOf(d)
		out[k] = make([]float64, len(slots))
	}
	for j, peak := range peaks {
		g := m.Gradient(peak)
		for k := range dimensions {
			out[k][j] = moves[k].along(g)
		}
	}
	return out, nil
}

// pieceMoves is how the pieces of a setup change, in mm per unit of a
// dimension's logarithm.
type pieceMoves struct {
	length, start, end []float64
	loops              Loops
}

// movesOf differentiates a setup's geometry, which is smooth, by a central
// difference.
func (s Setup) movesOf(d Dimension) pieceMoves {
	const step = 1e-5
	value := *d.Of(&s)
	more, less := s.With(d, value*math.Exp(step)).Instrument(), s.With(d, value*math.Exp(-step)).Instrument()
	n := len(more.Bore)
	out := pieceMoves{make([]float64, n), make([]float64, n), make([]float64, n), Loops{}}
	for i := range n {
		a, b := more.Bore[i], less.Bore[i]
		out.length[i] = (a.LengthMM - b.LengthMM) / (2 * step)
		out.start[i] = (a.StartMM - b.StartMM) / (2 * step)
		out.end[i] = (a.EndMM - b.EndMM) / (2 * step)
	}
	for i := range out.loops {
		out.loops[i] = (more.Loops[i] - less.Loops[i]) / (2 * step)
	}
	return out
}

// along is what moves do to a resonance with a gradient, in cents.
func (p pieceMoves) along(g Gradient) float64 {
	sum := 0.0
	for i := range p.length {
		sum += p.length[i]*g.Length[i] + p.start[i]*g.Start[i] + p.end[i]*g.End[i]
	}
	for i := range p.loops {
		sum += p.loops[i] * g.Loops[i]
	}
	return sum
}
