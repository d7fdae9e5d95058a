package aircolumn

import "math"

// loss is the boundary layer's share F(s) = 2 I1(s) / (s I0(s)) in a round tube
// at s = sqrt(j) size (Zwikker & Kosten 1949, Sound Absorbing Materials). The
// size is r sqrt(omega rho/mu) for the viscous layer, times sqrt(Pr) for the
// thermal one. F goes from 1 in the narrowest tube to 2/s in a wide one.
func loss(size float64) complex128 {
	if size < wideTube {
		return lossByFraction(size)
	}
	return lossBySeries(size)
}

// lossSlope is s dF/ds, which is r dF/dr too: 2 (1 - F) - s^2 F^2 / 2, from
// I0' = I1 and I1' = I0 - I1/s.
func lossSlope(size float64, f complex128) complex128 {
	return 2*(1-f) - complex(0, size*size/2)*f*f
}

// wideTube is where the series of [lossBySeries] is as exact as needed: its
// error is below 1e-8 from here on.
const wideTube = 12.0

// lossBySeries is F by the expansion of I1/I0 for large arguments,
// 1 - 1/(2s) - 1/(8s^2) - 1/(8s^3) - 25/(128s^4) - 13/(32s^5) - 1073/(1024s^6)
// (from the expansions 9.7.1 of Abramowitz & Stegun, divided).
func lossBySeries(s float64) complex128 {
	// Powers of 1/s = u exp(-j pi/4), whose real and imaginary parts are put
	// together by hand: this is the innermost calculation of all.
	const h = math.Sqrt2 / 2
	u := 1 / s
	u2 := u * u
	u3 := u2 * u
	u4 := u2 * u2
	u5 := u4 * u
	one, two, three, four := u, u2/2, u3/8, u4/8
	five, six, seven := 25.0/128*u5, 13.0/32*u5*u, 1073.0/1024*u5*u2
	re := h*one + h*three + four + h*five - h*seven
	im := -h*one + two + h*three - h*five - six - h*seven
	return complex(2*re, 2*im)
}

// lossByFraction is F by the continued fraction of I1/I0,
// F = 2 / (2 + s^2/(4 + s^2/(6 + ...))) (Gauss; Abramowitz & Stegun 9.1.73 with
// imaginary argument), from its tail forwards.
func lossByFraction(s float64) complex128 {
	const terms = 40
	square := complex(0, s*s)
	tail := complex(2*terms+2, 0)
	for k := terms; k >= 1; k-- {
		tail = complex(float64(2*k), 0) + square/tail
	}
	return 2 / tail
}
