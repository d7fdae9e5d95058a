package match

import (
	"math"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// sheet is one session as it is checked: what was read on each slot.
type sheet struct {
	catalog.Measured
	valves int
	noise  float64      // of a reading, cents
	slots  []pitch.Slot // in the order of first reading
	cents  []float64    // mean of the readings of each
	count  []int
}

func newSheet(m catalog.Measured, valves int, noise float64) *sheet {
	s := &sheet{Measured: m, valves: valves, noise: noise}
	at := map[pitch.Slot]int{}
	for _, r := range m.Readings {
		i, seen := at[r.Slot]
		if !seen {
			i = len(s.slots)
			at[r.Slot] = i
			s.slots, s.cents, s.count = append(s.slots, r.Slot), append(s.cents, 0), append(s.count, 0)
		}
		s.count[i]++
		s.cents[i] += (r.Cents - s.cents[i]) / float64(s.count[i])
	}
	return s
}

// name is what users call the session.
func (s *sheet) name() string {
	if s.Name != "" {
		return s.Name
	}
	return string(s.ID)
}

// values are the means of the readings on the slots that an outlook has, and which
// of the sheet's slots those are.
func (s *sheet) values(o *outlook) (v values, at []int) {
	for i, slot := range s.slots {
		if place, ok := o.at.place(slot); ok {
			v.places = append(v.places, place)
			v.cents = append(v.cents, s.cents[i])
			v.variance = append(v.variance, s.variance(i))
			at = append(at, i)
		}
	}
	return v, at
}

// variance is that of the noise of a slot's mean, cents squared.
func (s *sheet) variance(i int) float64 { return s.noise * s.noise / float64(s.count[i]) }

// clip bounds the weight of single readings, in cents.
const clip = 20.0

// residuals takes a constant (tuner, temperature) and a slide term (1/r) out of
// differences x between readings and expectation, and gives what remains. The
// two are fitted with weights clip/|x| beyond clip (Huber's), so that single
// wild readings don't drag them.
func residuals(x, slope []float64) []float64 {
	w := make([]float64, len(x))
	out := make([]float64, len(x))
	for i := range w {
		w[i] = 1
	}
	level := median(x)
	for i := range x {
		w[i] = huber(x[i] - level)
	}
	for range 10 {
		a, b := line(x, slope, w)
		for i := range x {
			out[i] = x[i] - a - b*slope[i]
			w[i] = huber(out[i])
		}
	}
	return out
}

func huber(x float64) float64 { return min(1, clip/max(math.Abs(x), 1e-9)) }

// line is the weighted least squares fit a + b*slope to x; b is nought where
// the slopes are all the same.
func line(x, slope, w []float64) (a, b float64) {
	var sw, sx, ss float64
	for i := range x {
		sw += w[i]
		sx += w[i] * x[i]
		ss += w[i] * slope[i]
	}
	mx, ms := sx/sw, ss/sw
	var num, den float64
	for i := range x {
		num += w[i] * (slope[i] - ms) * (x[i] - mx)
		den += w[i] * (slope[i] - ms) * (slope[i] - ms)
	}
	if den > 1e-9*sw {
		b = num / den
	}
	return mx - b*ms, b
}

// clippedRMS is the root mean square of residuals clipped at clip.
func clippedRMS(res []float64) float64 {
	sum := 0.0
	for _, x := range res {
		x = min(math.Abs(x), clip)
		sum += x * x
	}
	return math.Sqrt(sum / float64(len(res)))
}
