package aircolumn

import (
	"math"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Loops are the paths that valves 1 to 4 add to the tube, in mm; 0 for a valve
// that is not there. A slide pulled out by p adds 2p.
type Loops [4]float64

// Instrument is a bore with valves. A valve's loop is a cylinder put in at the
// end of the bore's last piece of tube, as wide as that ends.
type Instrument struct {
	Bore  Bore
	Loops Loops
}

// Model is the line of an instrument filled with air, ready to be asked. It is
// never changed, so many goroutines may use one.
type Model struct {
	in     Instrument
	air    Air
	slices []slice
	loopAt int     // slices before it lie on the rim's side of the loops
	loopR  float64 // radius of the loops, m
	hasTub bool    // whether there is a tube for loops to be in
	mouthR float64 // radius of the open end, m
}

// New makes the model of an instrument. It fails when the bore or a loop is not
// one that a model can be made of.
func New(in Instrument, a Air) (*Model, error) {
	if err := in.Bore.Check(); err != nil {
		return nil, err
	}
	for i, l := range in.Loops {
		if !(l >= 0 && l <= maxLoopsMM) {
			return nil, catalog.Errorf(catalog.Invalid, "give the path that the valve adds, in mm", "the loop of valve %d is %g mm long, outside 0 to %g mm", i+1, l, maxLoopsMM)
		}
	}
	m := &Model{in: in, air: a, mouthR: in.Bore[len(in.Bore)-1].EndMM / 2000}
	m.cut()
	return m, nil
}

// cut slices the bore and finds where the loops are.
func (m *Model) cut() {
	after := -1 // the piece that the loops follow
	for i, p := range m.in.Bore {
		if p.Part == Tube {
			after, m.hasTub = i, true
		}
	}
	if !m.hasTub {
		after = m.middle()
	}
	for i, p := range m.in.Bore {
		m.slices = p.cut(i, m.slices)
		if i == after {
			m.loopAt, m.loopR = len(m.slices), p.EndMM/2000
		}
	}
}

// middle is the piece in which half of the bore's length is reached.
func (m *Model) middle() int {
	half, sum := m.in.Bore.LengthMM()/2, 0.0
	for i, p := range m.in.Bore {
		if sum += p.LengthMM; sum >= half {
			return i
		}
	}
	return len(m.in.Bore) - 1
}

// loopMM is the path that pressed valves add.
func (m *Model) loopMM(v pitch.Valves) float64 {
	sum := 0.0
	for i, l := range m.in.Loops {
		if v.Uses(i + 1) {
			sum += l
		}
	}
	return sum
}

// checkValves reports valves that the instrument has no loop for.
func (m *Model) checkValves(v pitch.Valves) error {
	for i, l := range m.in.Loops {
		if v.Uses(i+1) && l == 0 {
			return catalog.Errorf(catalog.Invalid, "give the path that the valve adds, in mm", "nothing is known of the loop of valve %d, which fingering %s uses", i+1, v)
		}
	}
	if v != 0 && !m.hasTub {
		return catalog.Errorf(catalog.Invalid, "mark the cylinder that the valves are in as tube", "the bore has no part %q for valve loops to be in", Tube)
	}
	return nil
}

// loop is the matrix of the cylinder that pressed valves add.
func (m *Model) loop(v pitch.Valves, at *medium) matrix {
	l := m.loopMM(v) / 1000
	if l == 0 {
		return matrix{1, 0, 0, 1}
	}
	return slice{r1: m.loopR, r2: m.loopR, l: l}.matrix(at)
}

// bell is the state at the loops' far end for a volume flow of 1 through the
// open end.
func (m *Model) bell(at *medium) state {
	s := state{radiation(m.air, at.omega, m.mouthR), 1}
	for i := len(m.slices) - 1; i >= m.loopAt; i-- {
		s = m.slices[i].matrix(at).back(s)
	}
	return s
}

// front is the matrix from the rim to the loops' near end.
func (m *Model) front(at *medium) matrix {
	out := matrix{1, 0, 0, 1}
	for _, c := range m.slices[:m.loopAt] {
		out = out.then(c.matrix(at))
	}
	return out
}

// Impedance is Zin = p/U at the rim plane, in Pa s/m^3, with the given valves
// pressed, at a frequency in Hz > 0.
func (m *Model) Impedance(v pitch.Valves, hz float64) complex128 {
	at := m.air.at(hz)
	s := m.front(&at).back(m.loop(v, &at).back(m.bell(&at)))
	return s.p / s.u
}

// spacing is about the distance of the open instrument's resonances, in Hz:
// c/2L.
func (m *Model) spacing() float64 { return 1000 * m.air.SpeedMS / (2 * m.in.Bore.LengthMM()) }

// reflections are the pressure reflection coefficients, at the loops' near end,
// towards the open end and towards the closed rim, against the tube's own
// impedance.
func (m *Model) reflections(front matrix, behind state) (open, closed complex128) {
	z := complex(m.air.DensityKgM3*m.air.SpeedMS/(math.Pi*m.loopR*m.loopR), 0)
	return (behind.p - z*behind.u) / (behind.p + z*behind.u), (front.d - z*front.c) / (front.d + z*front.c)
}
