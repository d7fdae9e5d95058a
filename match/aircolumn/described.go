package aircolumn

import (
	"math"
	"slices"

	"centwise/catalog"
)

// described is a horn's bore as somebody measured it, cut where its dimensions
// can change. It is never changed itself.
type described struct {
	gap      Bore // none: the description begins behind the gap
	leadpipe Bore // what is marked so up to the first piece of another part; may be none
	rest     Bore
}

// MostOffKeyCents is how far a described bore may lie from the key of its horn;
// farther, by more than a minor third, it is another instrument's, or its lengths
// are wrong.
const MostOffKeyCents = 300.0

// maxGapMM is the longest gap that is believed in, and maxTriedGapMM the longest
// that one is made by trying what a wider gap does.
const maxGapMM, maxTriedGapMM = 30.0, 40.0

// Describe is the setup with a described bore behind the mouthpiece in place of
// our shape of a horn; loops stay as they are. What the description says of a
// mouthpiece is passed over. A gap is the leadpipe pieces that it begins with
// before a step to a narrower bore, 30 mm at most; where it has none the setup's
// own stays, and assumed is true.
//
// Of a described horn the gap, the start and length of the leadpipe, the length
// of the tube and the tuning slide can be changed; its other dimensions are only
// told. Invalid when there is no tube for the valve loops, or no bell.
func (s Setup) Describe(b Bore) (out Setup, assumed bool, err error) {
	if err := b.Check(); err != nil {
		return s, false, err
	}
	pieces := slices.DeleteFunc(slices.Clone(b), func(p Piece) bool { return p.Part == Mouthpiece })
	for _, part := range []Part{Tube, Bell} {
		if !slices.ContainsFunc(pieces, func(p Piece) bool { return p.Part == part }) {
			return s, false, catalog.Errorf(catalog.Invalid, "mark the rows of the cylinder as tube and those of the bell as bell", "the bore has no part %q", part)
		}
	}
	d := &described{}
	d.gap, pieces = cutGap(pieces)
	n := slices.IndexFunc(pieces, func(p Piece) bool { return p.Part != Leadpipe })
	d.leadpipe, d.rest = pieces[:n], pieces[n:]
	h := &s.Horn
	h.described = d
	if assumed = d.gap == nil; !assumed {
		h.GapMM, h.ReceiverMM = d.gap.LengthMM(), d.gap[0].StartMM
	}
	h.LeadpipeMM, h.LeadpipeStartMM = d.leadpipe.LengthMM(), pieces[0].StartMM
	h.TubeMM, h.SlideMM, h.BellMM = 0, 0, 0
	for _, p := range d.rest {
		switch p.Part {
		case Tube:
			h.TubeMM += p.LengthMM
			h.BoreMM = p.EndMM
		case Bell:
			h.BellMM += p.LengthMM
			h.MouthMM = p.EndMM
		}
	}
	return s, assumed, nil
}

// stepMM is how much narrower a bore gets where a gap ends, in mm at least.
const stepMM = 0.05

// cutGap takes the gap off the front of a bore.
func cutGap(b Bore) (gap, rest Bore) {
	length := 0.0
	for i, p := range b[:len(b)-1] {
		if length += p.LengthMM; p.Part != Leadpipe || length > maxGapMM {
			break
		}
		if next := b[i+1]; next.StartMM < p.EndMM-stepMM {
			return b[:i+1], b[i+1:]
		}
	}
	return nil, b
}

// bore is the horn with what its dimensions differ from the description.
func (d *described) bore(h Horn) Bore {
	var out Bore
	switch {
	case h.GapMM <= 0:
	case d.gap == nil:
		out = append(out, Piece{Leadpipe, h.GapMM, h.ReceiverMM, h.ReceiverMM})
	default:
		out = append(out, d.gap.stretched(h.GapMM)...)
	}
	out = append(out, d.startingAt(h.LeadpipeStartMM).stretched(h.LeadpipeMM)...)
	rest, tube := slices.Clone(d.rest), 0.0
	for _, p := range rest {
		if p.Part == Tube {
			tube += p.LengthMM
		}
	}
	// The tuning slide comes before the valves: in the first piece of tube.
	first := slices.IndexFunc(rest, func(p Piece) bool { return p.Part == Tube })
	rest[first].LengthMM += h.TubeMM + 2*h.SlideMM - tube
	return append(out, rest...)
}

// startingAt is the leadpipe with another diameter at its start, and less and less
// of the difference towards its end.
func (d *described) startingAt(mm float64) Bore {
	out := slices.Clone(d.leadpipe)
	if len(out) == 0 {
		return nil
	}
	wider, length, x := mm-out[0].StartMM, out.LengthMM(), 0.0
	for i, p := range out {
		out[i].StartMM += wider * (1 - x/length)
		x += p.LengthMM
		out[i].EndMM += wider * math.Max(0, 1-x/length)
	}
	return out
}

// stretched is the bore made so long.
func (b Bore) stretched(lengthMM float64) Bore {
	out := slices.Clone(b)
	longer := lengthMM / b.LengthMM()
	for i := range out {
		out[i].LengthMM *= longer
	}
	return out
}

// HasLeadpipe tells whether the horn has a leadpipe of its own to be changed;
// a described one may be marked as tube from the start.
func (h Horn) HasLeadpipe() bool { return h.described == nil || len(h.described.leadpipe) > 0 }

// checkDescribed reports changes that make no horn of a described one.
func (h Horn) checkDescribed() error {
	if !(h.GapMM >= 0 && h.GapMM <= maxTriedGapMM) {
		return catalog.Errorf(catalog.Invalid, "check the dimensions of the horn", "a gap of %g is outside 0 to %g", h.GapMM, maxTriedGapMM)
	}
	return h.described.bore(h).Check()
}
