package impedance

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"centwise/catalog/pitch"
)

// Fingering is what numbering has to know of how a curve was measured.
type Fingering struct {
	Valves        pitch.Valves
	Transposition int      // of the horn, semitones above written pitch
	A4Hz          float64  // that deviations refer to
	TemperatureC  *float64 // of the air in the horn, nil if not known
	LowestHz      float64  // where the curve begins: nothing below is missed
	// First is the partial of the lowest resonance, for who knows better; 0 finds
	// out.
	First int
}

// Numbering tells which partial each resonance is.
type Numbering struct {
	Partials []int    // of each resonance; 0 lies between partials, 1 is the pedal's
	Shift    float64  // cents by which the resonances lie above the harmonic series at A4, all together
	Expected float64  // the shift that is usual
	Doubts   []string // what a person has to decide, as sentences
}

// HighestNumbered is the highest partial that is given a number; catalogs hold
// those up to [pitch.MaxPartial].
const HighestNumbered = 20

// What numbering takes for usual, in cents: the common shift of resonances, how
// far one of them strays from it, and how far the shift itself. Resonances lie 10
// to 20 cents below the notes that players make of them (testdata has sources),
// 3.1 cents a kelvin lower in cooler air than a player's.
const (
	usualShift, shiftSpread = -15.0, 50.0
	straySpread             = 40.0
	warmAir, centsPerKelvin = 25.0, 3.1
	pedalLow, pedalHigh     = -900.0, -60.0 // where the lowest resonance lies, from partial 1
)

// Costs of an assignment, as minus the logarithm of its chance.
const (
	costBetween = 4.0 // a resonance that is no partial
	costMissed  = 2.5 // a partial within the curve that has no resonance
	costPedal   = 0.5
	clearCut    = 5.0 // the best must be better than others by this
	farShift    = 70.0
	mostShift   = 350.0
	shiftStep   = 5.0
)

// Number gives each resonance, from low to high, its partial: those that put the
// resonances nearest to a harmonic series at the horn's key and fingering, after
// one shift of all. The lowest resonance of a horn lies far below its series and
// is no partial of it in use: it is called 1.
func Number(found []Resonance, f Fingering) Numbering {
	s := newSeries(found, f)
	best, other := s.search()
	n := Numbering{Expected: s.expected}
	if best == nil {
		n.Partials = make([]int, len(found))
		n.Doubts = append(n.Doubts, fmt.Sprintf("no resonance can be numbered on valves %s", f.Valves))
		return n
	}
	n.Partials = best.partials
	n.Shift = s.shift(best.partials)
	n.Doubts = s.doubts(n, best, other)
	return n
}

// series is the problem of numbering.
type series struct {
	Fingering
	cents    []float64 // of each resonance, from the nominal fundamental
	expected float64
}

func newSeries(found []Resonance, f Fingering) *series {
	s := &series{Fingering: f}
	fundamental := s.slotHz(1)
	for _, r := range found {
		s.cents = append(s.cents, pitch.Cents(r.Hz, fundamental))
	}
	// Valves together add too little tube; most of that is seen.
	s.expected = usualShift + 0.8*pitch.ExactSlides(1480).SharpCents(f.Valves)
	if f.TemperatureC != nil {
		s.expected += centsPerKelvin * (*f.TemperatureC - warmAir)
	}
	return s
}

// slotHz is the equal-tempered frequency of a partial.
func (f Fingering) slotHz(partial int) float64 {
	note := pitch.Slot{Valves: f.Valves, Partial: partial}.Note() + pitch.Note(f.Transposition)
	return note.Hz(f.A4Hz)
}

// Cents is how far a resonance lies above the written note of a partial of the
// fingering, 1 to [pitch.MaxPartial].
func (f Fingering) Cents(hz float64, partial int) float64 { return pitch.Cents(hz, f.slotHz(partial)) }

func harmonic(n int) float64 { return 1200 * math.Log2(float64(n)) }

// assignment is a way to number, and its cost.
type assignment struct {
	partials []int
	cost     float64
}

// search finds the cheapest assignment over all shifts, and the cheapest of those
// that number the resonances otherwise; nil when there is none.
func (s *series) search() (best, other *assignment) {
	var all []*assignment
	for shift := s.expected - mostShift; shift <= s.expected+mostShift; shift += shiftStep {
		if a := s.assign(shift); a != nil {
			all = append(all, a)
		}
	}
	slices.SortStableFunc(all, func(a, b *assignment) int {
		switch {
		case a.cost < b.cost:
			return -1
		case a.cost > b.cost:
			return 1
		}
		return 0
	})
	for _, a := range all {
		switch {
		case best == nil:
			best = a
		case other == nil && unlike(best.partials, a.partials):
			other = a
		}
	}
	return best, other
}

// unlike reports whether two assignments give most of the resonances that both
// number different partials.
func unlike(a, b []int) bool {
	same, different := 0, 0
	for i := range a {
		if a[i] > 1 && b[i] > 1 {
			if a[i] == b[i] {
				same++
			} else {
				different++
			}
		}
	}
	return different > same
}

// assign is the cheapest assignment at a shift, by dynamic programming over
// resonances; nil if there is none that numbers more than the pedal's.
func (s *series) assign(shift float64) *assignment {
	prior := (shift - s.expected) / shiftSpread
	w := newWays(len(s.cents), prior*prior/2)
	for i := range s.cents {
		s.extend(w, i, shift)
	}
	a := w.cheapest()
	if a == nil || !slices.ContainsFunc(a.partials, func(n int) bool { return n > 1 }) {
		return nil
	}
	return a
}

// way is the cheapest way to deal with the first resonances of a curve.
type way struct {
	cost float64
	from int // the highest number given before
	own  int // what the last of them is: 0 or the number
}

// ways has at [i][n] the way for the first i resonances if the highest number
// given is n; 1 stands for none or the pedal's.
type ways [][]way

func newWays(resonances int, cost float64) ways {
	w := make(ways, resonances+1)
	for i := range w {
		w[i] = make([]way, HighestNumbered+1)
		for n := range w[i] {
			w[i][n].cost = math.Inf(1)
		}
	}
	w[0][1].cost = cost
	return w
}

// offer takes a way if it is cheaper than the one known.
func (w ways) offer(i, n int, x way) {
	if x.cost < w[i][n].cost {
		w[i][n] = x
	}
}

// extend tries all that resonance i may be after each way to deal with those
// before it.
func (s *series) extend(w ways, i int, shift float64) {
	x, lowest := s.cents[i], s.lowest()
	for before := 1; before <= HighestNumbered; before++ {
		cost := w[i][before].cost
		if math.IsInf(cost, 1) {
			continue
		}
		if i == 0 && s.First > 0 {
			w.offer(1, s.First, way{cost, before, s.First})
			continue
		}
		w.offer(i+1, before, way{cost + costBetween, before, 0})
		missed := 0.0
		for n := before + 1; n <= HighestNumbered; n++ {
			off := (x - harmonic(n) - shift) / straySpread
			w.offer(i+1, n, way{cost + missed + off*off/2, before, n})
			if harmonic(n)+shift > lowest {
				missed += costMissed
			}
		}
		if i == 0 {
			w.tryPedal(x-shift, cost)
		}
	}
}

// tryPedal takes the lowest resonance for the pedal's: far below its place, as
// is usual, or at it.
func (w ways) tryPedal(off, cost float64) {
	if off > pedalLow && off < pedalHigh {
		w.offer(1, 1, way{cost + costPedal, 1, 1})
	}
	stray := off / straySpread
	w.offer(1, 1, way{cost + stray*stray/2, 1, 1})
}

// cheapest is the assignment by the cheapest way for all resonances.
func (w ways) cheapest() *assignment {
	last := len(w) - 1
	at := 1
	for n := range w[last] {
		if w[last][n].cost < w[last][at].cost {
			at = n
		}
	}
	if math.IsInf(w[last][at].cost, 1) {
		return nil
	}
	a := &assignment{make([]int, last), w[last][at].cost}
	for i := last; i > 0; i-- {
		a.partials[i-1] = w[i][at].own
		at = w[i][at].from
	}
	return a
}

// lowest is where the curve begins, from the nominal fundamental.
func (s *series) lowest() float64 {
	if s.LowestHz <= 0 {
		return math.Inf(-1)
	}
	return pitch.Cents(s.LowestHz, s.slotHz(1))
}

// shift is the median distance from the harmonic series.
func (s *series) shift(partials []int) float64 {
	var off []float64
	for i, n := range partials {
		if n > 1 {
			off = append(off, s.cents[i]-harmonic(n))
		}
	}
	if len(off) == 0 {
		return 0
	}
	return median(off)
}

// doubts says what a person has to decide.
func (s *series) doubts(n Numbering, best, other *assignment) (out []string) {
	numbered := 0
	for _, p := range n.Partials {
		if p > 1 {
			numbered++
		}
	}
	if numbered < 3 {
		out = append(out, fmt.Sprintf("only %s could be numbered, which leaves much to chance", numberOf(numbered, "resonance")))
	}
	if s.First == 0 && other != nil && other.cost-best.cost < clearCut {
		out = append(out, fmt.Sprintf("the numbers of the partials are not sure: the resonances may be %s or %s", span(best.partials), span(other.partials)))
	}
	if off := n.Shift - n.Expected; math.Abs(off) > farShift {
		out = append(out, s.shiftWords(n.Shift, off))
	}
	return out
}

// span names the partials of an assignment, without the pedal.
func span(partials []int) string {
	var names []string
	for _, n := range partials {
		if n > 1 {
			names = append(names, fmt.Sprint(n))
		}
	}
	return strings.Join(names, " ")
}

// shiftWords says that all resonances lie where they should not, and which
// fingering would explain it.
func (s *series) shiftWords(shift, off float64) string {
	text := fmt.Sprintf("the resonances lie %.0f cents %s where valves %s put them", math.Abs(shift), aboveOrBelow(shift), s.Valves)
	semitones := s.Valves.Semitones() - int(math.Round(off/100))
	for _, v := range pitch.ThreeValveCombinations {
		if v != s.Valves && v.Semitones() == semitones {
			return text + fmt.Sprintf(": was it valves %s, or another key?", v)
		}
	}
	return text + ": check the valves, the horn and A4"
}

func aboveOrBelow(cents float64) string {
	if cents < 0 {
		return "below"
	}
	return "above"
}
