package aircolumn

import (
	"math"
)

// Gradient is how a resonance moves, in cents per mm, with each dimension of
// the instrument, everything else staying as it is: longer pieces push the rest
// of the bore away from the rim.
type Gradient struct {
	Length, Start, End []float64 // one a piece
	Loops              Loops     // 0 for valves that are not pressed
}

// pull is the gradient of ln Yin at one frequency, per m, each piece's ends as
// diameters.
type pull struct {
	length, start, end []complex128
	loop               complex128
}

// Gradient gives the gradient of a resonance that the model found, by the
// adjoint of the line: for a change of any piece, p dU - U dp stays the same
// along a line whose matrices have determinant 1, so that with the state (p, U)
//
//	p_in^2 dYin = sum over slices of p1 (dC p2 + dD U2) - U1 (dA p2 + dB U2) + p_L^2 dYrad
//
// and where d ln|Zin|/df = 0 moves by df = -(d/df Re dYin/Yin) / (d2/df2 ln|Yin|).
// It is exact for small changes; the shapes that a user is shown are solved
// anew.
func (m *Model) Gradient(r Resonance) Gradient {
	const step = 1e-4 // of the frequency; a fiftieth of a peak's width squared is the error
	below, above := m.pulls(r, r.FrequencyHz*(1-step)), m.pulls(r, r.FrequencyHz*(1+step))
	// 4 Q^2 is -f^2 times the second derivative of ln|Zin|.
	scale := -1200 / math.Ln2 / (2 * step * 4 * r.Q * r.Q) / 1000
	n := len(m.in.Bore)
	g := Gradient{make([]float64, n), make([]float64, n), make([]float64, n), Loops{}}
	for i := range n {
		g.Length[i] = scale * real(above.length[i]-below.length[i])
		g.Start[i] = scale * real(above.start[i]-below.start[i])
		g.End[i] = scale * real(above.end[i]-below.end[i])
	}
	for i := range g.Loops {
		if r.Slot.Valves.Uses(i + 1) {
			g.Loops[i] = scale * real(above.loop-below.loop)
		}
	}
	return g
}

// pulls goes along the line from the open end to the rim, gathering what each
// dimension does to ln Yin.
func (m *Model) pulls(r Resonance, hz float64) pull {
	n := len(m.in.Bore)
	out := pull{length: make([]complex128, n), start: make([]complex128, n), end: make([]complex128, n)}
	at := m.air.at(hz)
	s := state{radiation(m.air, at.omega, m.mouthR), 1}
	out.end[n-1] = m.mouthPull(&at, s)
	for i := len(m.slices) - 1; i >= 0; i-- {
		if i == m.loopAt-1 {
			s = m.pullLoop(&out, r, &at, s)
		}
		s = m.slices[i].pull(&out, m.in.Bore, &at, s)
	}
	norm := 1 / (s.p * s.u) // dlnY = dY/Y = p^2 dY / (p^2 U/p)
	for i := range n {
		out.length[i] *= norm
		out.start[i] *= norm
		out.end[i] *= norm
	}
	out.loop *= norm
	return out
}

// mouthPull is p^2 dYrad for a wider mouth, per m of diameter.
func (m *Model) mouthPull(at *medium, s state) complex128 {
	const step = 1e-5
	wide := 1 / radiation(m.air, at.omega, m.mouthR*(1+step))
	narrow := 1 / radiation(m.air, at.omega, m.mouthR*(1-step))
	return s.p * s.p * (wide - narrow) / complex(2*step*2*m.mouthR, 0)
}

// pullLoop goes through the loops. They are as wide as the tube ends.
func (m *Model) pullLoop(out *pull, r Resonance, at *medium, s state) state {
	end := m.slices[m.loopAt-1].piece
	for _, c := range m.loopPiece(r.Slot.Valves).cut(end, nil) {
		near, d := c.changes(at, s)
		out.loop += d[byLength] * complex(c.to-c.from, 0)
		out.end[end] += (d[byStart] + d[byEnd]) / 2
		s = near
	}
	return s
}

// Places of what [slice.changes] gives.
const (
	byLength = iota
	byStart  // radius
	byEnd
)

// pull adds a slice's share to the piece it is cut from.
func (c slice) pull(out *pull, b Bore, at *medium, s state) state {
	near, d := c.changes(at, s)
	share := complex(c.to-c.from, 0)
	piece := b[c.piece]
	along, across := 1.0, 0.0 // of the slice's own length, with the piece's length and with its rise
	if piece.Part == Bell {
		rise := (piece.EndMM - piece.StartMM) / 2
		whole := math.Hypot(piece.LengthMM, rise)
		along, across = piece.LengthMM/whole, rise/whole
	}
	lengthen := d[byLength] * share
	out.length[c.piece] += lengthen * complex(along, 0)
	out.start[c.piece] += (d[byStart]*complex(1-c.from, 0) + d[byEnd]*complex(1-c.to, 0) - lengthen*complex(across, 0)) / 2
	out.end[c.piece] += (d[byStart]*complex(c.from, 0) + d[byEnd]*complex(c.to, 0) + lengthen*complex(across, 0)) / 2
	return near
}

// changes gives the state at a slice's near end and p1 (dC p2 + dD U2) -
// U1 (dA p2 + dB U2) per m of its length and of its radii, by differentiating
// the formulas of [slice.matrix].
func (c slice) changes(at *medium, far state) (near state, d [3]complex128) {
	z, y := at.constants((c.r1 + c.r2) / 2)
	dz, dy := at.changes((c.r1+c.r2)/2, z)
	l, r1, r2 := complex(c.l, 0), complex(c.r1, 0), complex(c.r2, 0)
	square := z * y * l * l
	ch, sinhc := hyperbolic(square)
	sg := sinhc * l
	slope := (r2 - r1) / l
	flare := l*ch - sg // L ch - sh/G
	k := math.Pi * slope * slope / z
	m := matrix{
		a: r2/r1*ch - slope/r1*sg,
		b: z * sg / (math.Pi * r1 * r2),
		c: math.Pi*r1*r2*y*sg + k*flare,
		d: r1/r2*ch + slope/r2*sg,
	}
	near = m.back(far)
	weigh := func(a, b, c, d complex128) complex128 {
		return near.p*(c*far.p+d*far.u) - near.u*(a*far.p+b*far.u)
	}
	q := z * y
	// By length: dch = q sg, dsg = ch, dslope = -slope/L.
	d[byLength] = weigh(
		r2/r1*q*sg-slope/r1*(ch-sg/l),
		z*ch/(math.Pi*r1*r2),
		math.Pi*r1*r2*y*ch+k*(l*q*sg-2*flare/l),
		r1/r2*q*sg+slope/r2*(ch-sg/l),
	)
	// By the constants of the line, which follow the mean radius: with q,
	// dch = L sg/2, dsg = (L ch - sg)/(2q).
	mean := (r1 + r2) / 2
	dq := (z*dy + y*dz) / mean
	dch, dsg := dq*l*sg/2, dq*flare/(2*q)
	dflare := l*dch - dsg
	layer := weigh(
		r2/r1*dch-slope/r1*dsg,
		(dz/mean*sg+z*dsg)/(math.Pi*r1*r2),
		math.Pi*r1*r2*(dy/mean*sg+y*dsg)+k*(dflare-flare*dz/(z*mean)),
		r1/r2*dch+slope/r2*dsg,
	) / 2
	// By the radii at the ends: dslope = -+1/L.
	dk := 2 * math.Pi * slope * flare / (z * l)
	d[byStart] = layer + weigh(
		-r2/(r1*r1)*ch+sg/(l*r1)+slope/(r1*r1)*sg,
		-m.b/r1,
		math.Pi*r2*y*sg-dk,
		ch/r2-sg/(l*r2),
	)
	d[byEnd] = layer + weigh(
		ch/r1-sg/(l*r1),
		-m.b/r2,
		math.Pi*r1*y*sg+dk,
		-r1/(r2*r2)*ch+sg/(l*r2)-slope/(r2*r2)*sg,
	)
	return near, d
}
