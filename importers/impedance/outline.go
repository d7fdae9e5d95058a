package impedance

import (
	"math"
	"slices"
)

// outline is a curve in equal cells of the frequency scale, smoothed: where
// maxima may be is seen on it, and they are then fitted on the curve itself.
type outline struct {
	cents    []float64 // position, from 1 Hz
	log      []float64 // ln of the magnitude
	smooth   []float64
	noise    []float64 // standard deviation of smooth
	from, to []int     // points of the curve in the cell
}

const (
	cellCents = 2.0  // width of a cell
	halfWidth = 16.0 // cents to each side that smoothing looks at: well within a resonance of quality 40, 43 cents wide
	nearby    = 50   // cells to each side that noise is judged by
)

// newOutline makes the outline of a curve.
func newOutline(c *Curve) *outline {
	o := &outline{}
	floor := slices.Max(c.Magnitude) * 1e-9
	for i := 0; i < len(c.Hz); {
		at := 1200 * math.Log2(c.Hz[i])
		end, position, level := i, 0.0, 0.0
		for end < len(c.Hz) && (end == i || 1200*math.Log2(c.Hz[end]) < at+cellCents) {
			position += 1200 * math.Log2(c.Hz[end])
			level += math.Log(max(c.Magnitude[end], floor))
			end++
		}
		n := float64(end - i)
		o.cents, o.log = append(o.cents, position/n), append(o.log, level/n)
		o.from, o.to = append(o.from, i), append(o.to, end)
		i = end
	}
	raw := o.scatter()
	o.smooth, o.noise = slices.Clone(o.log), slices.Clone(raw)
	for i := range o.log {
		if value, leverage, ok := o.parabola(i); ok {
			o.smooth[i], o.noise[i] = value, raw[i]*math.Sqrt(leverage)
		}
	}
	return o
}

// scatter is the standard deviation of each cell about the run of its
// neighbours: how far it lies from the cubic through two to each side, by the
// median of the cells around.
func (o *outline) scatter() []float64 {
	n := len(o.log)
	off := make([]float64, n)
	for i := 2; i < n-2; i++ {
		x := [4]float64{o.cents[i-2], o.cents[i-1], o.cents[i+1], o.cents[i+2]}
		y := [4]float64{o.log[i-2], o.log[i-1], o.log[i+1], o.log[i+2]}
		value, squares := 0.0, 1.0
		for a := range x {
			w := 1.0
			for b := range x {
				if b != a {
					w *= (o.cents[i] - x[b]) / (x[a] - x[b])
				}
			}
			value += w * y[a]
			squares += w * w
		}
		off[i] = math.Abs(o.log[i]-value) / math.Sqrt(squares)
	}
	out := make([]float64, n)
	var room []float64
	for i := range out {
		low, high := max(2, i-nearby), min(n-2, i+nearby+1)
		if high > low {
			room = append(room[:0], off[low:high]...)
			out[i] = normalMedian * median(room)
		}
	}
	return out
}

// normalMedian times the median of absolute values is the standard deviation of
// a normal law.
const normalMedian = 1.4826

// median of values, which it sorts.
func median(v []float64) float64 {
	slices.Sort(v)
	if n := len(v); n%2 == 0 {
		return (v[n/2-1] + v[n/2]) / 2
	}
	return v[len(v)/2]
}

// parabola smooths a cell by the least-squares parabola through those around it,
// and says how large a part of the cell's variance remains; false with too few.
func (o *outline) parabola(i int) (value, leverage float64, ok bool) {
	low, high := i, i
	for low > 0 && o.cents[i]-o.cents[low-1] <= halfWidth {
		low--
	}
	for high < len(o.cents)-1 && o.cents[high+1]-o.cents[i] <= halfWidth {
		high++
	}
	if i-low < 2 || high-i < 2 {
		return 0, 0, false
	}
	var s [5]float64 // sums of powers
	var t [3]float64
	for k := low; k <= high; k++ {
		x := (o.cents[k] - o.cents[i]) / halfWidth
		for p, xp := 0, 1.0; p < 5; p, xp = p+1, xp*x {
			s[p] += xp
			if p < 3 {
				t[p] += xp * o.log[k]
			}
		}
	}
	// First row of the inverse of the normal equations.
	a, b, c := s[2]*s[4]-s[3]*s[3], s[2]*s[3]-s[1]*s[4], s[1]*s[3]-s[2]*s[2]
	det := s[0]*a + s[1]*b + s[2]*c
	if !(det > 1e-12*s[0]*s[2]*s[4]) {
		return 0, 0, false
	}
	return (a*t[0] + b*t[1] + c*t[2]) / det, a / det, true
}

// candidate is a maximum of the outline: its cell, and the cells to each side in
// which it has a dip between itself and the next higher ground.
type candidate struct {
	at, left, right int
	prominence      float64 // ln of how far it stands above the higher of the two dips
}

// Least prominences: 2 % above the dips, and so far above the noise that chance
// gives none in a curve of some thousand cells.
const (
	leastRise   = 0.02
	noiseFactor = 7
)

// candidates are the maxima that stand out from the noise, from low to high, and
// how many did not.
func (o *outline) candidates() (out []candidate, within int) {
	y := o.smooth
	for i := 1; i < len(y)-1; i++ {
		if !(y[i] > y[i-1] && y[i] >= y[i+1]) {
			continue
		}
		c := candidate{at: i, left: i, right: i}
		for k := i - 1; k >= 0 && y[k] <= y[i]; k-- {
			if y[k] < y[c.left] {
				c.left = k
			}
		}
		for k := i + 1; k < len(y) && y[k] <= y[i]; k++ {
			if y[k] < y[c.right] {
				c.right = k
			}
		}
		c.prominence = y[i] - max(y[c.left], y[c.right])
		if c.prominence < max(leastRise, noiseFactor*o.noise[i]) {
			within++
			continue
		}
		out = append(out, c)
	}
	return out, within
}
