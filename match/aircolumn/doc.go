// Package aircolumn works out the resonances of a trumpet-family instrument from
// its bore, and what a change of any dimension does to each.
//
// # What is calculated
//
// Plane waves in a lossy line of short cones. Per length of axis, with S = pi r^2
// and time factor exp(j omega t),
//
//	dp/dx = -Zs U    Zs = j omega rho / (S (1 - F(s)))
//	dU/dx = -Yt p    Yt = j omega S / (rho c^2) (1 + (gamma-1) F(s sqrt Pr))
//	F(s)  = 2 I1(s) / (s I0(s)),   s = r sqrt(j omega rho/mu)
//
// (Zwikker & Kosten 1949; Chaigne & Kergomard, Acoustics of Musical Instruments,
// chapter 5). In the bell the axis is the arc length of the wall (Helie 2003, J.
// Acoust. Soc. Am. 114, 2633-2647, from memory), elsewhere the axial length. The
// open end radiates like a thin unflanged pipe. Air is moist ([MoistAir]).
//
// A resonance is a maximum of |Zin| at the rim plane ([Definition]); partials are
// numbered by counting half waves, the pedal being 1, so that a peak that is
// missing leaves its number unused.
//
// # What it is good for
//
// Differences. Playing lies some 10 to 20 cents above the peaks, other
// definitions of a resonance up to 17 cents beside them, and the plane wave errs
// by 2 cents in the mouthpiece and as much in the bell, much the same in all
// instruments: so compare one setup with another, never a peak with a played note. Frequencies are
// trustworthy up to k r = 3.2 at the mouth, some 2,800 Hz on a trumpet.
//
// # Shapes and units
//
// Bores are stacked pieces in mm ([Bore]); frequencies are Hz, shifts cents, + up,
// impedances Pa s/m^3. Functions that answer for slots give one value a slot, in
// the slots' order.
//
// A [Setup] is an invented bore made of dimensions, for what is known only by its
// dimensions: [Generic] gives one for a kind of instrument and a key,
// [Setup.Sensitivities] what each dimension does to every slot, and [Shift] what
// becomes of the slots between two models ("what if").
package aircolumn
