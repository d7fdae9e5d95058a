package match

import (
	"math"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// sheet is one session as it is checked: what was read on each slot.
type sheet struct {
	catalog.Measured
	valves int
	noise  float64      // of a reading and of the day, cents
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

// Spreads of horns, mouthpieces and players over the notes, in cents: simulated
// varied geometry gave 5.2 for horns and 2.7 for mouthpieces, and 4.5 is
// assumed for players. They stand in for what a session alone can't tell.
const (
	hornSpread       = 5.2
	mouthpieceSpread = 2.7
	playerSpread     = 4.5
)

// expectation is what the rest of the catalog expects of a session.
type expectation struct {
	cents func(pitch.Slot) (float64, bool)
	sd    func(pitch.Slot) (float64, bool)
	extra float64 // variance of the shares left out
}

// expect is what others say of the setup: the share of an item that this
// session alone has measured is what the session itself says, so it is left
// out and its usual spread added to the uncertainty.
func expect(p fit.Prediction) expectation {
	cents := make([]float64, len(p.Slots))
	extra := 0.0
	add := func(share []float64, sessions int, spread float64) {
		if sessions == 1 {
			extra += spread * spread
			return
		}
		for j := range cents {
			cents[j] += share[j]
		}
	}
	add(p.Common, 0, 0)
	add(p.Horn, p.Evidence.Horn, hornSpread)
	add(p.Mouthpiece, p.Evidence.Mouthpiece, mouthpieceSpread)
	add(p.Player, p.Evidence.Player, playerSpread)
	add(p.Pair, p.Evidence.Pair, 0)
	at := placesOf(p.Slots)
	return expectation{at.of(cents), at.of(p.SD), extra}
}

// expectCommon is what is common to all setups. It serves where several
// sessions of one horn or player share a mistake and so have taught it to the fit.
func expectCommon(p fit.Prediction) expectation {
	extra := hornSpread*hornSpread + mouthpieceSpread*mouthpieceSpread + playerSpread*playerSpread
	at := placesOf(p.Slots)
	return expectation{at.of(p.Common), at.of(p.SD), extra}
}

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
