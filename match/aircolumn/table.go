package aircolumn

import (
	"math"
	"math/cmplx"

	"centwise/catalog/pitch"
)

// table holds what all fingerings have in common - the matrix of everything on
// the rim's side of the loops, the state on the bell's side - at Chebyshev
// points in the square root of frequency, in which both are smooth; between
// them it interpolates. So the resonances of seven fingerings cost hardly more
// than those of one.
type table struct {
	low, high float64 // of sqrt(Hz)
	points    []float64
	weights   []float64
	front     []matrix
	bell      []state
}

// newTable tabulates m from low to high Hz. Interpolation is exact to about
// 1e-9 (TestTableIsExact): a matrix entry turns by omega L/c, so in the square
// root of frequency a wave needs at most high * (high-low) * 2 pi L/c / pi
// points in the middle of the range, and some more for the ends and the losses.
func (m *Model) newTable(low, high float64) *table {
	t := &table{low: math.Sqrt(low), high: math.Sqrt(high)}
	path := m.in.Bore.LengthMM() / 1000 / m.air.SpeedMS
	n := 32 + int(math.Ceil(2.2*math.Pi*t.high*(t.high-t.low)*path))
	for i := range n + 1 {
		angle := math.Pi * float64(i) / float64(n)
		weight := 1 - 2*float64(i%2)
		if i == 0 || i == n {
			weight /= 2
		}
		t.points = append(t.points, (t.low+t.high)/2+(t.high-t.low)/2*math.Cos(angle))
		t.weights = append(t.weights, weight)
		at := m.air.at(t.points[i] * t.points[i])
		t.front = append(t.front, m.front(&at))
		t.bell = append(t.bell, m.bell(&at))
	}
	return t
}

// at interpolates at a frequency in Hz (barycentric formula: Berrut & Trefethen
// 2004, SIAM Review 46, 501-517, section 5).
func (t *table) at(hz float64) (front matrix, bell state) {
	x, sum := math.Sqrt(hz), 0.0
	for i, point := range t.points {
		if x == point {
			return t.front[i], t.bell[i]
		}
		w := t.weights[i] / (x - point)
		sum += w
		front.addScaled(w, &t.front[i])
		bell.p += times(w, t.bell[i].p)
		bell.u += times(w, t.bell[i].u)
	}
	front.scale(1 / sum)
	bell.p, bell.u = times(1/sum, bell.p), times(1/sum, bell.u)
	return front, bell
}

func (m *matrix) addScaled(w float64, n *matrix) {
	m.a += times(w, n.a)
	m.b += times(w, n.b)
	m.c += times(w, n.c)
	m.d += times(w, n.d)
}

func (m *matrix) scale(w float64) {
	m.a, m.b, m.c, m.d = times(w, m.a), times(w, m.b), times(w, m.c), times(w, m.d)
}

// fingered is a model with some valves pressed, seen through a table.
type fingered struct {
	m *Model
	t *table
	v pitch.Valves
}

// level is ln |Zin|.
func (f fingered) level(hz float64) float64 {
	front, bell := f.t.at(hz)
	at := f.m.air.at(hz)
	s := front.back(f.m.loop(f.v, &at).back(bell))
	return math.Log(cmplx.Abs(s.p / s.u))
}
