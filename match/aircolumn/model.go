package aircolumn

import (
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
	in      Instrument
	air     Air
	slices  []slice
	loopAt  int     // slices before it lie on the rim's side of the loops
	loopR   float64 // radius of the loops, m
	hasTube bool    // for loops to be in
	mouthR  float64 // radius of the open end, m
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

// cut slices the bore and finds where the loops are: at the end of the last
// piece of tube, or behind everything where there is none.
func (m *Model) cut() {
	after := len(m.in.Bore) - 1
	for i, p := range m.in.Bore {
		if p.Part == Tube {
			after, m.hasTube = i, true
		}
	}
	for i, p := range m.in.Bore {
		m.slices = p.cut(i, m.slices)
		if i == after {
			m.loopAt, m.loopR = len(m.slices), p.EndMM/2000
		}
	}
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
	if v != 0 && !m.hasTube {
		return catalog.Errorf(catalog.Invalid, "mark the cylinder that the valves are in as tube", "the bore has no part %q for valve loops to be in", Tube)
	}
	return nil
}

// loopPiece is the cylinder that pressed valves add; its length may be nought.
func (m *Model) loopPiece(v pitch.Valves) Piece {
	return Piece{Tube, m.loopMM(v), 2000 * m.loopR, 2000 * m.loopR}
}

// loop is its matrix.
func (m *Model) loop(v pitch.Valves, at *medium) matrix {
	if l := m.loopMM(v) / 1000; l > 0 {
		return slice{r1: m.loopR, r2: m.loopR, l: l}.matrix(at)
	}
	return matrix{1, 0, 0, 1}
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

// halfWaves is the number of the resonance at a frequency by how many half waves
// stand in the bore: 1 and the nodes of flow between the closed rim and the
// mouth, where the flow is greatest. Nodes are told by the flow's sign relative
// to the pressure at the rim. Just inside the rim the flow that the pressure
// compresses is negative; where it is positive at the rim, as on the flank of
// the mouthpiece's own resonance, it changes sign once more than there are waves.
func (m *Model) halfWaves(v pitch.Valves, hz float64) int {
	at := m.air.at(hz)
	s := state{radiation(m.air, at.omega, m.mouthR), 1}
	flow := []complex128{s.u}
	back := func(c slice) {
		s = c.matrix(&at).back(s)
		flow = append(flow, s.u)
	}
	for i := len(m.slices) - 1; i >= 0; i-- {
		if i == m.loopAt-1 {
			for _, c := range m.loopPiece(v).cut(0, nil) {
				back(c)
			}
		}
		back(m.slices[i])
	}
	nodes, sign := 0, 0.0
	for _, u := range flow {
		side := imag(u / s.p)
		if side*sign < 0 {
			nodes++
		}
		sign = side
	}
	if sign > 0 {
		nodes--
	}
	return 1 + nodes
}
