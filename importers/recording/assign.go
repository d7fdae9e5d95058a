package recording

import (
	"math"
	"slices"

	"centwise/catalog/pitch"
)

// Expected says which notes a recording should hold.
type Expected struct {
	Slots         []pitch.Slot // in the order played; played again from the beginning when it is over
	Transposition int          // semitones that the horn sounds above written pitch
	A4Hz          float64
	AnyOrder      bool // the order says nothing: the nearest note counts
}

// Match is what a tone was taken for.
type Match struct {
	Placed bool // false: none of the expected notes
	Slot   pitch.Slot
	Cents  float64 // deviation from the slot's note
	// Others are slots that fit nearly as well, the best first; empty when there
	// is no doubt.
	Others []pitch.Slot
}

// Alignment is what tones were taken for.
type Alignment struct {
	Matches     []Match // one for each tone
	OffsetCents float64 // median deviation
	Missing     []pitch.Slot
}

// Costs of an alignment, in units of a squared deviation of deviationCents over
// two. Our own choice: a note in order may be 85 cents off before a missed one is
// likelier, and a tone that fits nothing is left out rather than two jumps made
// for it.
const (
	deviationCents = 25.0
	mostCents      = 120.0 // further off is another note
	missCost       = 3.0   // of an expected note that was not played
	repeatCost     = 2.5   // of a note played again
	jumpCost       = 6.0   // of going on anywhere else
	extraCost      = 9.0   // of a tone that is none of the notes
	doubtCost      = 2.0   // an alternative within this is a doubt
	mostSkipped    = 3     // missed notes in a row, more are a jump
	offsetSpread   = 40.0  // cents: how sharp horns are as a whole
)

// Align finds what the tones are, given as lists, one of each file, in the order
// they were played. It is a dynamic time alignment: every tone takes the next
// expected note, or one played again, or one after missed ones, or one anywhere
// else, or none, at the least sum of costs. How sharp the notes are as a whole
// comes out of it too.
func Align(files [][]Tone, e Expected) Alignment {
	a := newAligner(files, e)
	if len(a.pitches) == 0 || len(e.Slots) == 0 {
		return alignment(make([]Match, len(a.pitches)), e.Slots)
	}
	middle := a.middleOffset()
	best := math.Inf(1)
	offset := middle
	for _, o := range []float64{middle, middle - 100, middle + 100} {
		if math.Abs(o) > 2*offsetSpread {
			continue
		}
		a.offset = o
		cost := a.forward() + o*o/(2*offsetSpread*offsetSpread)
		if cost < best {
			best, offset = cost, o
		}
	}
	a.offset = offset
	a.forward()
	a.backward()
	a.offset = a.offsetOf(a.matches())
	a.forward()
	a.backward()
	return alignment(a.matches(), e.Slots)
}

func alignment(matches []Match, expected []pitch.Slot) Alignment {
	return Alignment{Matches: matches, OffsetCents: middleCents(matches), Missing: unheard(expected, matches)}
}

// Decided is the alignment with what somebody says that tones are, by their
// places.
func (a Alignment) Decided(tones map[int]Match, e Expected) Alignment {
	matches := slices.Clone(a.Matches)
	for i, m := range tones {
		matches[i] = m
	}
	return alignment(matches, e.Slots)
}

// aligner holds tables by tone and expected note.
type aligner struct {
	Expected
	pitches []float64 // of tones, cents above A4
	targets []float64 // where expected notes may be looked for
	first   []bool    // a tone is the first of its file
	offset  float64
	// fits[i][j]: tone i is note j, with all before it; upTo[i][j]: tones up to i
	// are dealt with and j is the last note; after[i][j]: what the tones after i
	// cost when j is the last note.
	fits, upTo, after [][]float64
}

func newAligner(files [][]Tone, e Expected) *aligner {
	a := &aligner{Expected: e}
	for _, tones := range files {
		for k, t := range tones {
			a.pitches = append(a.pitches, 1200*math.Log2(t.Hz/e.A4Hz))
			a.first = append(a.first, k == 0)
		}
	}
	for _, s := range e.Slots {
		a.targets = append(a.targets, 100*float64(int(s.Note())+e.Transposition-69)+tendency(s))
	}
	for _, table := range []*[][]float64{&a.fits, &a.upTo, &a.after} {
		*table = make([][]float64, len(a.pitches))
		for i := range *table {
			(*table)[i] = make([]float64, len(e.Slots))
		}
	}
	return a
}

var tubes = pitch.ExactSlides(1000)

// tendency is how sharp a slot is on most instruments, in cents: half of what the
// harmonic series and the lengths of valve slides give. So a note between C#4 and
// D4 is rather a sharp C#4.
func tendency(s pitch.Slot) float64 {
	return (pitch.HarmonicCents(s.Partial) + tubes.SharpCents(s.Valves)) / 2
}

// middleOffset is where within a semitone most tones lie, -50..50: the direction
// of the mean of unit vectors.
func (a *aligner) middleOffset() float64 {
	x, y := 0.0, 0.0
	for _, p := range a.pitches {
		sin, cos := math.Sincos(2 * math.Pi * p / 100)
		x, y = x+cos, y+sin
	}
	return math.Atan2(y, x) / (2 * math.Pi) * 100
}

// misfit is the cost of tone i being note j.
func (a *aligner) misfit(i, j int) float64 {
	off := a.pitches[i] - a.targets[j]
	if math.Abs(off) > mostCents {
		return math.Inf(1)
	}
	off -= a.offset
	return off * off / (2 * deviationCents * deviationCents)
}

// step is the cost of note j right after note k, of m.
func (a *aligner) step(k, j int) float64 {
	if a.AnyOrder {
		return 0
	}
	m := len(a.Slots)
	skipped := (j - k - 1 + m) % m
	switch {
	case k == j && m > 1:
		return repeatCost
	case skipped <= mostSkipped:
		return missCost * float64(skipped)
	}
	return jumpCost
}

// enter is the cost of beginning with note j.
func (a *aligner) enter(j int) float64 {
	if a.AnyOrder {
		return 0
	}
	return min(jumpCost, missCost*float64(j))
}

// forward fills fits and upTo and gives the least cost of all.
func (a *aligner) forward() float64 {
	m := len(a.Slots)
	before := make([]float64, m)
	for i := range a.pitches {
		cheapest := math.Inf(1)
		for j := range m {
			before[j] = a.enter(j)
			if i > 0 {
				before[j] = a.upTo[i-1][j]
			}
			cheapest = min(cheapest, before[j])
		}
		for j := range m {
			come := a.enter(j)
			if i > 0 {
				come = a.come(before, cheapest, i, j)
			}
			a.fits[i][j] = come + a.misfit(i, j)
			a.upTo[i][j] = min(a.fits[i][j], before[j]+extraCost)
		}
	}
	return slices.Min(a.upTo[len(a.pitches)-1])
}

// come is the least cost of reaching note j with tone i.
func (a *aligner) come(before []float64, cheapest float64, i, j int) float64 {
	switch {
	case a.AnyOrder:
		return cheapest
	case a.first[i]:
		return min(cheapest+a.enter(j), a.near(before, j))
	}
	return min(cheapest+jumpCost, a.near(before, j))
}

// near is the least cost of reaching note j from itself or the ones before it.
func (a *aligner) near(before []float64, j int) float64 {
	m := len(before)
	best := before[j] + a.step(j, j)
	for s := range min(mostSkipped+1, m) {
		k := ((j-1-s)%m + m) % m
		best = min(best, before[k]+a.step(k, j))
	}
	return best
}

// backward fills after.
func (a *aligner) backward() {
	n, m := len(a.pitches), len(a.Slots)
	clear(a.after[n-1])
	for i := n - 2; i >= 0; i-- {
		// What it costs that the next tone is j, however it is reached.
		rest := make([]float64, m)
		cheapest, entered := math.Inf(1), math.Inf(1)
		for j := range m {
			rest[j] = a.misfit(i+1, j) + a.after[i+1][j]
			cheapest = min(cheapest, rest[j])
			entered = min(entered, rest[j]+a.enter(j))
		}
		for k := range m {
			best := a.after[i+1][k] + extraCost
			switch {
			case a.AnyOrder:
				best = min(best, cheapest)
			case a.first[i+1]:
				best = min(best, entered)
			default:
				best = min(best, cheapest+jumpCost)
			}
			best = min(best, rest[k]+a.step(k, k))
			for s := range min(mostSkipped+1, m) {
				j := (k + 1 + s) % m
				best = min(best, rest[j]+a.step(k, j))
			}
			a.after[i][k] = best
		}
	}
}

// matches reads the tables: of each tone the cheapest slot, and those that are
// nearly as cheap.
func (a *aligner) matches() []Match {
	out := make([]Match, len(a.pitches))
	for i := range out {
		out[i] = a.match(i)
	}
	return out
}

func (a *aligner) match(i int) Match {
	cost := map[pitch.Slot]float64{}
	var order []pitch.Slot
	for j, s := range a.Slots {
		total := a.fits[i][j] + a.after[i][j]
		if old, seen := cost[s]; !seen {
			order = append(order, s)
			cost[s] = total
		} else {
			cost[s] = min(old, total)
		}
	}
	slices.SortStableFunc(order, func(x, y pitch.Slot) int {
		switch {
		case cost[x] < cost[y]:
			return -1
		case cost[x] > cost[y]:
			return 1
		}
		return 0
	})
	best := order[0]
	if math.IsInf(cost[best], 1) || a.leftOut(i) < cost[best] {
		return Match{}
	}
	m := a.placed(i, best)
	for _, s := range order[1:] {
		if cost[s] < cost[best]+doubtCost {
			m.Others = append(m.Others, s)
		}
	}
	return m
}

// placed is tone i taken for a slot.
func (a *aligner) placed(i int, s pitch.Slot) Match {
	return Match{Placed: true, Slot: s, Cents: a.pitches[i] - 100*float64(int(s.Note())+a.Transposition-69)}
}

// leftOut is the least cost if tone i is none of the notes.
func (a *aligner) leftOut(i int) float64 {
	best := math.Inf(1)
	for j := range a.Slots {
		before := a.enter(j)
		if i > 0 {
			before = a.upTo[i-1][j]
		}
		best = min(best, before+extraCost+a.after[i][j])
	}
	return best
}

// offsetOf is how sharp the placed tones are as a whole, beside their tendencies.
func (a *aligner) offsetOf(matches []Match) float64 {
	var list []float64
	for _, m := range matches {
		if m.Placed {
			list = append(list, m.Cents-tendency(m.Slot))
		}
	}
	if len(list) == 0 {
		return a.offset
	}
	return max(-2*offsetSpread, min(2*offsetSpread, median(list)))
}

// middleCents is the median deviation of the placed tones; 0 if there are none.
func middleCents(matches []Match) float64 {
	var list []float64
	for _, m := range matches {
		if m.Placed {
			list = append(list, m.Cents)
		}
	}
	if len(list) == 0 {
		return 0
	}
	return median(list)
}

// unheard lists the expected slots that no tone was taken for, each once.
func unheard(expected []pitch.Slot, matches []Match) []pitch.Slot {
	heard := map[pitch.Slot]bool{}
	for _, m := range matches {
		if m.Placed {
			heard[m.Slot] = true
		}
	}
	var out []pitch.Slot
	for _, s := range expected {
		if !heard[s] && !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	slices.SortFunc(out, pitch.Slot.Compare)
	return out
}
