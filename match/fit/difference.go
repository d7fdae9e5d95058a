package fit

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Difference compares what is known of two horns, or of two mouthpieces: their
// profiles over the usual notes, less the best offset and the best pull of the
// tuning slide, which no session tells.
type Difference struct {
	Cents float64 // rms of the expected difference
	SD    float64 // standard deviation of the rms, over the draws
	Usual float64 // rms by which any two differ that nobody has measured
	// LogOdds is the natural logarithm of how much likelier the measurements are if
	// both are the same thing than if they are any two: the density of no difference,
	// after measuring over before (Savage-Dickey; Dickey 1971, Ann. Math. Stat. 42).
	LogOdds float64
	// Sessions of each; if one has none, the rest is nought.
	Sessions [2]int
}

// HornDifference compares two horns. NotFound for one that the fit does not know.
func (m *Model) HornDifference(a, b catalog.ID) (Difference, error) {
	return m.difference(Setup{Horn: a}, Setup{Horn: b}, func(e Evidence) int { return e.Horn }, m.hornPrior)
}

// MouthpieceDifference compares two mouthpieces. NotFound for one that the fit does
// not know.
func (m *Model) MouthpieceDifference(a, b catalog.ID) (Difference, error) {
	return m.difference(Setup{Mouthpiece: a}, Setup{Mouthpiece: b}, func(e Evidence) int { return e.Mouthpiece }, m.mouthpiecePrior)
}

// tellingDirections is how many directions of the prior are looked at: the others
// are small beside what readings tell.
const tellingDirections = 6

func (m *Model) difference(a, b Setup, sessions func(Evidence) int, prior func(slots []pitch.Slot, sameDesign bool) []float64) (Difference, error) {
	slots := pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3)
	var d Difference
	for i, s := range []Setup{a, b} {
		p, err := m.place(s)
		if err != nil {
			return d, err
		}
		d.Sessions[i] = sessions(m.evidence(p))
	}
	if d.Sessions[0]*d.Sessions[1] == 0 {
		return d, nil
	}
	known, err := m.PredictMany([]Setup{a, b}, slots)
	if err != nil {
		return d, err
	}
	n := len(slots)
	free := newFreeShift(slots)
	mean := make([]float64, n)
	draws := make([][]float64, len(known[0].Draws))
	for j := range mean {
		mean[j] = known[0].Mean[j] - known[1].Mean[j]
	}
	free.remove(mean)
	d.Cents = rms(mean)
	var sizes []float64
	for k := range draws {
		draws[k] = make([]float64, n)
		for j := range n {
			draws[k][j] = known[0].Draws[k][j] - known[1].Draws[k][j]
		}
		free.remove(draws[k])
		sizes = append(sizes, rms(draws[k]))
	}
	d.SD = spreadOf(sizes)
	values, vectors := free.directions(prior(slots, m.sameDesign(a, b)))
	for _, v := range values {
		d.Usual += v
	}
	d.Usual = math.Sqrt(d.Usual / float64(n))
	for k := range min(tellingDirections, len(values)) {
		d.LogOdds += evenness(values[k], vectors[k], mean, draws)
	}
	return d, nil
}

// evenness is the share of one direction in the log odds: its variance before, and
// where the difference lies along it after.
func evenness(before float64, along, mean []float64, draws [][]float64) float64 {
	at, after := dot(along, mean), 0.0
	for _, draw := range draws {
		off := dot(along, draw) - at
		after += off * off
	}
	after /= float64(max(1, len(draws)))
	if !(after < before) || after <= 0 {
		return 0 // nothing was learned
	}
	return math.Log(before/after)/2 - at*at/(2*after)
}

// sameDesign reports whether the fit takes two items for copies of one design.
func (m *Model) sameDesign(a, b Setup) bool {
	if a.Horn != "" {
		i, ok1 := m.hornAt.find(a.Horn)
		j, ok2 := m.hornAt.find(b.Horn)
		return ok1 && ok2 && m.horns[i].Record.Design != "" && m.horns[i].Record.Design == m.horns[j].Record.Design
	}
	i, ok1 := m.mouthpieceAt.find(a.Mouthpiece)
	j, ok2 := m.mouthpieceAt.find(b.Mouthpiece)
	return ok1 && ok2 && m.mouthpieces[i].Design != "" && m.mouthpieces[i].Design == m.mouthpieces[j].Design
}

// hornPrior is the covariance of the difference of two horns before measuring,
// slots x slots.
func (m *Model) hornPrior(slots []pitch.Slot, sameDesign bool) []float64 {
	out := make([]float64, len(slots)*len(slots))
	for _, l := range m.learned {
		if l.Name == levelHorn || l.Name == levelHornDesign && !sameDesign {
			m.addSlotCovariance(out, slots, l)
		}
	}
	return scaled(out, 2)
}

// mouthpiecePrior is the covariance of the difference of two mouthpieces before
// measuring, slots x slots, as far as their dimensions don't explain it.
func (m *Model) mouthpiecePrior(slots []pitch.Slot, sameDesign bool) []float64 {
	n := len(slots)
	out := make([]float64, n*n)
	basis := mouthpieceBasis(slots, bbTransposition)
	for _, l := range m.learned {
		switch {
		case l.Name == levelMouthpieceSlots:
			m.addSlotCovariance(out, slots, l)
		case l.Name == levelMouthpiece, (l.Name == levelMouthpieceDesign || l.Name == levelUnknownDimension) && !sameDesign:
			l.addCovariance(out, basis, 1)
		}
	}
	return scaled(out, 2)
}

// freeShift is what a session does not tell of a profile: a constant and a pull of
// the tuning slide. Its two directions are orthonormal.
type freeShift struct{ one, slide []float64 }

func newFreeShift(slots []pitch.Slot) freeShift {
	f := freeShift{make([]float64, len(slots)), make([]float64, len(slots))}
	for j, s := range slots {
		f.one[j] = 1 / math.Sqrt(float64(len(slots)))
		f.slide[j] = 1 / s.Valves.Ratio()
	}
	axpy(-dot(f.one, f.slide), f.one, f.slide)
	size := math.Sqrt(dot(f.slide, f.slide))
	for j := range f.slide {
		f.slide[j] /= size
	}
	return f
}

func (f freeShift) remove(profile []float64) {
	axpy(-dot(f.one, profile), f.one, profile)
	axpy(-dot(f.slide, profile), f.slide, profile)
}

// directions are those in which profiles vary by a covariance, less the free
// shift: their variances, the largest first, and unit vectors.
func (f freeShift) directions(covariance []float64) (values []float64, vectors [][]float64) {
	n := len(f.one)
	for i := range n {
		f.remove(covariance[i*n:][:n])
	}
	column := make([]float64, n)
	for j := range n {
		for i := range n {
			column[i] = covariance[i*n+j]
		}
		f.remove(column)
		for i := range n {
			covariance[i*n+j] = column[i]
		}
	}
	var e mat.EigenSym
	if !e.Factorize(mat.NewSymDense(n, covariance), true) {
		return nil, nil
	}
	var all mat.Dense
	e.VectorsTo(&all)
	for i, v := range e.Values(nil) {
		if v > 1e-9 {
			values = append(values, v)
			vectors = append(vectors, mat.Col(nil, i, &all))
		}
	}
	slices.Reverse(values)
	slices.Reverse(vectors)
	return values, vectors
}

func rms(x []float64) float64 { return math.Sqrt(dot(x, x) / float64(len(x))) }

// spreadOf is the standard deviation.
func spreadOf(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	mean, sum := 0.0, 0.0
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		sum += (v - mean) * (v - mean)
	}
	return math.Sqrt(sum / float64(len(x)))
}
