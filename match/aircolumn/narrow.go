package aircolumn

// cutAt cuts the piece that a place lies in, walls staying straight.
func (b Bore) cutAt(placeMM float64) Bore {
	var out Bore
	x := 0.0
	for _, p := range b {
		at := placeMM - x
		x += p.LengthMM
		if at < minPieceMM || at > p.LengthMM-minPieceMM {
			out = append(out, p)
			continue
		}
		middle := p.StartMM + (p.EndMM-p.StartMM)*at/p.LengthMM
		out = append(out, Piece{p.Part, at, p.StartMM, middle}, Piece{p.Part, p.LengthMM - at, middle, p.EndMM})
	}
	return out
}

// Narrowed is the instrument with its bore narrower by a share between two
// places, in mm from the rim: a dent, dirt, a liner.
func (in Instrument) Narrowed(fromMM, toMM, share float64) Instrument {
	out := Instrument{in.Bore.cutAt(fromMM).cutAt(toMM), in.Loops}
	x := 0.0
	for i, p := range out.Bore {
		if middle := x + p.LengthMM/2; middle > fromMM && middle < toMM {
			out.Bore[i].StartMM *= 1 - share
			out.Bore[i].EndMM *= 1 - share
		}
		x += p.LengthMM
	}
	return out
}
