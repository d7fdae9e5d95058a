package aircolumn

import (
	"fmt"
	"math"
	"slices"

	"centwise/catalog/pitch"
)

// Effect is what a small change of one dimension does to every slot.
type Effect struct {
	What   string    `json:"what"`
	Step   float64   `json:"step"` // how large the change is, in Unit
	Unit   string    `json:"unit"` // mm, cm3, % or "" for an exponent
	FromMM float64   `json:"from_mm"`
	ToMM   float64   `json:"to_mm"` // 0 where the change is in no one place
	Part   Part      `json:"part,omitempty"`
	Cents  []float64 `json:"cents"` // one a slot
}

// split cuts pieces at the multiples of every mm, walls staying straight.
func (b Bore) split(everyMM float64) Bore {
	var out Bore
	x := 0.0
	for _, p := range b {
		end := x + p.LengthMM
		for x < end-minPieceMM {
			next := min(end, everyMM*(math.Floor(x/everyMM+1e-9)+1))
			if end-next < minPieceMM {
				next = end
			}
			wall := func(at float64) float64 { return p.EndMM + (p.StartMM-p.EndMM)*(end-at)/p.LengthMM }
			out = append(out, Piece{p.Part, next - x, wall(x), wall(next)})
			x = next
		}
		x = end
	}
	return out
}

// Effects gives what 1 mm more of each part's length does, what 1 mm of pull of
// each valve slide does that the slots use, and what 1 % more diameter does over
// each stretch of the given length. They are derivatives times these steps.
func (in Instrument) Effects(a Air, slots []pitch.Slot, everyMM float64) ([]Effect, error) {
	fine := Instrument{in.Bore.split(everyMM), in.Loops}
	m, err := New(fine, a)
	if err != nil {
		return nil, err
	}
	peaks, err := m.Peaks(slots)
	if err != nil {
		return nil, err
	}
	lengths, out := fine.partMoves()
	slides, pulled := fine.slideMoves(slots)
	stretches, widened := fine.stretchMoves(everyMM)
	moves := slices.Concat(lengths, slides, stretches)
	out = slices.Concat(out, pulled, widened)
	for i := range out {
		out[i].Cents = make([]float64, len(slots))
	}
	for j, peak := range peaks {
		g := m.Gradient(peak)
		for i := range out {
			out[i].Cents[j] = moves[i].along(g)
		}
	}
	return out, nil
}

func (in Instrument) still() pieceMoves {
	n := len(in.Bore)
	return pieceMoves{length: make([]float64, n), start: make([]float64, n), end: make([]float64, n)}
}

// partMoves are the lengths of parts.
func (in Instrument) partMoves() (moves []pieceMoves, out []Effect) {
	for _, part := range Parts {
		length := 0.0
		for _, p := range in.Bore {
			if p.Part == part {
				length += p.LengthMM
			}
		}
		if length == 0 {
			continue
		}
		move := in.still()
		for i, p := range in.Bore {
			if p.Part == part {
				move.length[i] = p.LengthMM / length
			}
		}
		moves, out = append(moves, move), append(out, Effect{What: string(part) + " length", Step: 1, Unit: "mm", Part: part})
	}
	return moves, out
}

// slideMoves pull the slides of valves that slots use.
func (in Instrument) slideMoves(slots []pitch.Slot) (moves []pieceMoves, out []Effect) {
	for i := range in.Loops {
		if slices.ContainsFunc(slots, func(s pitch.Slot) bool { return s.Valves.Uses(i + 1) }) {
			move := in.still()
			move.loops[i] = 2
			moves, out = append(moves, move), append(out, Effect{What: fmt.Sprintf("valve slide %d out", i+1), Step: 1, Unit: "mm"})
		}
	}
	return moves, out
}

// stretchMoves widen one stretch after the other by 1 %.
func (in Instrument) stretchMoves(everyMM float64) (moves []pieceMoves, out []Effect) {
	x, at := 0.0, -1
	for i, p := range in.Bore {
		if k := int(math.Floor(x/everyMM + 1e-6)); k != at {
			at = k
			moves = append(moves, in.still())
			out = append(out, Effect{What: "diameter", Step: 1, Unit: "%", FromMM: x, Part: p.Part})
		}
		last := len(moves) - 1
		moves[last].start[i], moves[last].end[i] = 0.01*p.StartMM, 0.01*p.EndMM
		x += p.LengthMM
		out[last].ToMM = x
	}
	return moves, out
}

// named are the dimensions of a setup that [Setup.Effects] shows, with what may
// be done to them, or what measuring leaves open.
var named = []struct {
	Dimension
	step float64
}{
	{Rim, 0.1}, {CupVolume, 0.05}, {Throat, 0.1}, {ThroatLength, 1}, {BackboreExit, 0.1}, {CupLength, 1}, {BackboreShape, 0.05},
	{BoreDiameter, 0.1}, {LeadpipeStart, 0.1}, {BellMouth, 1}, {BellFlare, 0.01},
}

// Effects gives what a usual step of each dimension of a setup that is not the
// length of a part does to every slot: derivatives times the steps.
func (s Setup) Effects(a Air, slots []pitch.Slot) ([]Effect, error) {
	var dimensions []Dimension
	for _, n := range named {
		dimensions = append(dimensions, n.Dimension)
	}
	cents, err := s.Sensitivities(a, dimensions, slots)
	if err != nil {
		return nil, err
	}
	var out []Effect
	for k, n := range named {
		for j := range cents[k] {
			cents[k][j] *= n.step / *n.Of(&s)
		}
		out = append(out, Effect{What: n.Name, Step: n.step, Unit: n.Unit, Cents: cents[k]})
	}
	return out, nil
}
