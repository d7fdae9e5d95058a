package tuning

import (
	"math"
	"slices"

	"centwise/catalog/pitch"
)

// Note is what becomes of one slot: Deviation - Target - Slide - Throw = Left,
// all in cents, + sharp.
type Note struct {
	Slot      pitch.Slot
	Deviation float64 // as predicted or measured
	Target    float64 // what the temperament asks for
	Slide     float64 // how far the tuning slide lowers it (negative: raises)
	Throw     float64 // how far a throw lowers it, 0..Reach
	Reach     float64
	Left      float64 // left to the lip
	Weight    float64
}

// Limits are the sizes, in cents, beyond which notes are counted.
var Limits = [3]float64{5, 10, 15}

// Result is the best a player can do with a profile.
type Result struct {
	SlideCents float64 // t: open notes are lowered by this much, pulling out positive
	AtStop     bool    // the tuning slide is at the end of its travel
	Notes      []Note
	ErrorCents float64 // weighted root mean square of what is left
	Worst      int     // index of the note with most left, among those with a weight
	Sharpest   int     // index of the note left highest; same
	Flattest   int     // index of the note left lowest; same
	Beyond     [3]int  // how many notes with a weight are left beyond each of Limits
}

// Solve gives the whole solution for the deviations d (cents, one a slot,
// finite). It panics when d has the wrong length.
func (p *Problem) Solve(d []float64) Result {
	var r Result
	p.SolveInto(&r, d)
	return r
}

// SolveInto is Solve into a result whose memory it uses again.
func (p *Problem) SolveInto(r *Result, d []float64) {
	t, sum := p.solve(d, 0)
	*r = Result{
		SlideCents: t, Notes: slices.Grow(r.Notes[:0], len(d)), ErrorCents: math.Sqrt(sum / p.sumW),
		AtStop: t == p.travel.MinCents || t == p.travel.MaxCents,
		Worst:  -1,
	}
	for j := range d {
		r.Notes = append(r.Notes, p.note(j, d[j], t))
		if p.weight[j] > 0 {
			r.count(j)
		}
	}
}

// note shares out the deviation dj of slot j with the slide at t.
func (p *Problem) note(j int, dj, t float64) Note {
	n := Note{
		Slot: p.slots[j], Deviation: dj, Target: p.target[j],
		Slide: p.slope[j] * t, Reach: p.reach[j], Weight: p.weight[j],
	}
	n.share()
	return n
}

// share gives the throw what it can take and the lip the rest.
func (n *Note) share() {
	x := n.Deviation - n.Target - n.Slide
	n.Throw = min(max(x, 0), n.Reach)
	n.Left = x - n.Throw
}

// count takes note j into the extremes and counts of r.
func (r *Result) count(j int) {
	left := r.Notes[j].Left
	if r.Worst < 0 {
		r.Worst, r.Sharpest, r.Flattest = j, j, j
	}
	if math.Abs(left) > math.Abs(r.Notes[r.Worst].Left) {
		r.Worst = j
	}
	if left > r.Notes[r.Sharpest].Left {
		r.Sharpest = j
	}
	if left < r.Notes[r.Flattest].Left {
		r.Flattest = j
	}
	for i, limit := range Limits {
		if math.Abs(left) > limit {
			r.Beyond[i]++
		}
	}
}
