package impedance

import (
	"fmt"
	"math"
	"slices"
)

// Definition says what a resonance is; it belongs beside every number that is
// shown.
const Definition = "max |Zin| at the plane of measurement"

// Resonance is a maximum of the magnitude of a curve.
type Resonance struct {
	Hz     float64
	SD     float64 // standard error of the place, cents
	Q      float64 // quality: frequency over the width between the half-power points
	Height float64 // magnitude there, in the curve's unit
	Points int     // of the curve that the fit stands on
}

// Rejected is a maximum that is no resonance, and why.
type Rejected struct {
	Hz  float64
	Why string
}

// What a resonance of an air column is like: 3 to 150 times narrower than its
// frequency is high. Lossy tubes of a trumpet's width reach a quality of about 60;
// a narrower peak is a fault of the measurement, as from the mains.
const (
	leastQ     = 3.0
	mostQ      = 150.0
	largestSD  = 20.0 // cents: a place less sure than that is no reading
	sameWithin = 15.0 // cents: two fits this close found one maximum
)

// Resonances finds the maxima of a curve, from low to high, and lists those that
// stand out but are none; within counts smaller ones that noise explains.
func (c *Curve) Resonances() (found []Resonance, rejected []Rejected, within int) {
	o := newOutline(c)
	candidates, within := o.candidates()
	for _, at := range candidates {
		r, why := c.fit(o, at)
		switch {
		case why != "":
			rejected = append(rejected, Rejected{c.Hz[o.from[at.at]], why})
		case len(found) > 0 && 1200*math.Log2(r.Hz/found[len(found)-1].Hz) < sameWithin:
			within++
		default:
			found = append(found, r)
		}
	}
	return found, rejected, within
}

// window is the part of a curve that one resonance is fitted on.
type window struct {
	x         []float64 // frequency from the middle, in units of scale
	z         []complex128
	m         []float64
	middle    float64 // Hz
	scale     float64 // Hz
	magnitude float64 // of the largest point
}

// Points that fits need: more than they have parameters, by some.
const (
	pointsForPole      = 7
	pointsForMagnitude = 9
	pointsForParabola  = 5
	mostPoints         = 400 // more are averaged, a few at a time
)

// drop is how far a window goes down from the maximum, in ln: to 0.6 of it.
const drop = 0.5

// fit fits a candidate, or says why it is no resonance.
func (c *Curve) fit(o *outline, at candidate) (Resonance, string) {
	from, to := c.around(o, at)
	if to-from < pointsForParabola {
		return Resonance{}, fmt.Sprintf("has only %s across it: measure at least 5 to a resonance", numberOf(to-from, "point"))
	}
	w := c.window(from, to, c.Hz[(o.from[at.at]+o.to[at.at]-1)/2])
	s, best := w.best(nil)
	if best == nil {
		return Resonance{}, fmt.Sprintf("has not the form of a resonance in the %s around it: more of them may help", numberOf(to-from, "point"))
	}
	if keep, dropped := w.sane(best); dropped > 0 {
		if s2, again := w.best(keep); again != nil {
			s, best = s2, again
		}
	}
	return w.resonance(s, best)
}

// around gives the points of a candidate's window: down to drop on each side,
// but not near to the dips beside it; further down where points are few.
func (c *Curve) around(o *outline, at candidate) (from, to int) {
	y := o.smooth
	left, right := at.at, at.at
	down := func(dip int) float64 { return y[at.at] - min(drop, 0.6*(y[at.at]-y[dip])) }
	for left > at.left && y[left-1] >= down(at.left) {
		left--
	}
	for right < at.right && y[right+1] >= down(at.right) {
		right++
	}
	enough := pointsForMagnitude
	if c.Z != nil {
		enough = pointsForPole
	}
	for o.to[right]-o.from[left] < enough && (left > at.left || right < at.right) {
		// The side that is higher goes first.
		if right >= at.right || left > at.left && y[left-1] > y[right+1] {
			left--
		} else {
			right++
		}
	}
	return o.from[left], o.to[right]
}

// window cuts out points and scales them.
func (c *Curve) window(from, to int, middle float64) *window {
	w := &window{middle: middle, scale: max(middle-c.Hz[from], c.Hz[to-1]-middle), magnitude: slices.Max(c.Magnitude[from:to])}
	each := (to - from + mostPoints - 1) / mostPoints
	for i := from; i < to; i += each {
		end := min(i+each, to)
		x, m, z := 0.0, 0.0, complex(0, 0)
		for k := i; k < end; k++ {
			x += (c.Hz[k] - middle) / w.scale
			m += c.Magnitude[k] / w.magnitude
			if c.Z != nil {
				z += c.Z[k] / complex(w.magnitude, 0)
			}
		}
		n := float64(end - i)
		w.x, w.m = append(w.x, x/n), append(w.m, m/n)
		if c.Z != nil {
			w.z = append(w.z, z/complex(n, 0))
		}
	}
	return w
}

// fittable is a shape with a way to begin.
type fittable interface {
	shape
	observations() int
	start(x, width float64) []float64
}

// perPoint is how many residuals of a shape belong to a point.
func perPoint(s fittable) int {
	if _, complex := s.(poleShape); complex {
		return 2
	}
	return 1
}

// shape is the model that the window has data for; keep names the points that
// count, nil all.
func (w *window) shape(keep []int) fittable {
	x, m, z := w.x, w.m, w.z
	if keep != nil {
		x, m, z = pick(x, keep), pick(m, keep), pick(z, keep)
	}
	switch {
	case z != nil && len(x) >= pointsForPole:
		return poleShape{x, z}
	case len(x) >= pointsForMagnitude:
		return magnitudeShape{x, m}
	}
	return parabolaShape{x, m}
}

func pick[T any](list []T, keep []int) []T {
	if list == nil {
		return nil
	}
	out := make([]T, len(keep))
	for i, k := range keep {
		out[i] = list[k]
	}
	return out
}

// best fits from several starts, which differ in the width of the resonance.
func (w *window) best(keep []int) (fittable, *solution) {
	s := w.shape(keep)
	var best *solution
	for _, width := range []float64{0.4, 0.8, 1.6} {
		start := s.start(0, width)
		if start == nil {
			continue
		}
		got, err := minimise(s, start, s.observations())
		if err != nil {
			continue
		}
		if _, _, ok := s.top(got.params); ok && (best == nil || got.sd < best.sd) {
			best = got
		}
	}
	return s, best
}

// Points far from a fit are left out when they are few: a spike on a resonance
// must not move it.
const (
	farFactor = 8.0  // times the typical distance; more where few points say what is typical
	farLeast  = 1e-3 // of the height: less does no harm
	farShare  = 0.2
)

// sane names the points that are not far from a fit, and counts the others.
func (w *window) sane(s *solution) (keep []int, dropped int) {
	n := len(w.x)
	each := len(s.residuals) / n // one or two
	off := make([]float64, n)
	for i := range off {
		off[i] = math.Sqrt(sumOfSquares(s.residuals[each*i : each*(i+1)]))
	}
	limit := max(farLeast, farFactor*(1+10/float64(n))*normalMedian*median(slices.Clone(off)))
	for i, d := range off {
		if d <= limit {
			keep = append(keep, i)
		}
	}
	dropped = n - len(keep)
	if dropped > int(farShare*float64(n)) || len(keep) < pointsForParabola {
		return nil, 0
	}
	return keep, dropped
}

// resonance turns a fit into a resonance, or says why it is none.
func (w *window) resonance(s fittable, fit *solution) (Resonance, string) {
	x, height, ok := s.top(fit.params)
	if !ok || math.Abs(x) > 1 {
		return Resonance{}, "has no maximum near it once it is fitted"
	}
	sd, ok := w.standardError(s, fit, x)
	_, width := s.pole(fit.params)
	hz := w.middle + x*w.scale
	r := Resonance{Hz: hz, SD: sd * w.scale / hz * 1200 / math.Ln2, Q: hz / (2 * width * w.scale), Height: height * w.magnitude, Points: len(w.x)}
	switch {
	case r.Q > mostQ:
		return r, fmt.Sprintf("is too narrow for an air column (Q %.0f): a disturbance, as from the mains", r.Q)
	case !(r.Q >= leastQ):
		return r, fmt.Sprintf("is too broad for a resonance (Q %.1f)", r.Q)
	case !ok || !(r.SD <= largestSD):
		return r, fmt.Sprintf("is not sure enough: its place is known to %.0f cents only", min(r.SD, 999))
	}
	return r, ""
}

// standardError is that of the maximum's place, in units of the window: from the
// scatter, and from how far the place moves when only the inner part of the
// window is fitted, as far as scatter does not explain that. For nested least
// squares the variance of such a move is the difference of the two variances.
func (w *window) standardError(s fittable, fit *solution, x float64) (float64, bool) {
	sd, ok := fit.topSD(s)
	sd *= togetherness(fit.residuals, perPoint(s))
	var keep []int
	for i, at := range w.x {
		if math.Abs(at-x) <= innerPart {
			keep = append(keep, i)
		}
	}
	if len(keep) < pointsForMagnitude {
		return sd, ok
	}
	inner, part := w.best(keep)
	if part == nil || len(part.params) != len(fit.params) {
		return sd, ok
	}
	place, _, found := inner.top(part.params)
	innerSD, sure := part.topSD(inner)
	if !found || !sure {
		return sd, ok
	}
	moved := (place-x)*(place-x) - 2*max(0, innerSD*innerSD-sd*sd)
	return math.Sqrt(sd*sd + max(0, moved)), ok
}

// innerPart of the window is fitted by itself to see whether the model holds.
const innerPart = 0.7

// togetherness is how much surer the scatter of residuals, so many of which belong
// to a point, makes a fit look than it is, because neighbours err alike: in a
// curve that was smoothed or interpolated, or where the model is a little wrong.
// The variance of a mean of values that follow each other with correlation q is
// (1 + q)/(1 - q) times that of independent ones (Bartlett 1946, J. R. Stat. Soc.
// Suppl. 8, 27, to first order); what chance makes of q is taken off it.
func togetherness(residuals []float64, each int) float64 {
	beside, all := 0.0, 0.0
	for i, r := range residuals {
		all += r * r
		if i >= each {
			beside += r * residuals[i-each]
		}
	}
	if all == 0 {
		return 1
	}
	q := min(0.99, beside/all-1.6/math.Sqrt(float64(len(residuals))))
	return math.Sqrt((1 + max(0, q)) / (1 - max(0, q)))
}

// At is the magnitude at a frequency, smoothed over some cents; false outside the
// curve.
func (c *Curve) At() func(hz float64) (magnitude float64, ok bool) {
	o := newOutline(c)
	return func(hz float64) (float64, bool) {
		at := 1200 * math.Log2(hz)
		i, _ := slices.BinarySearch(o.cents, at)
		if i == 0 || i == len(o.cents) {
			return 0, false
		}
		part := (at - o.cents[i-1]) / (o.cents[i] - o.cents[i-1])
		return math.Exp(o.smooth[i-1] + part*(o.smooth[i]-o.smooth[i-1])), true
	}
}
