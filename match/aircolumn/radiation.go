package aircolumn

import "math"

// radiation is the impedance p/U, in Pa s/m^3, of the open end of a thin-walled
// pipe of radius r (m), for air a at omega (rad/s): the fit of Silva, Guillemain,
// Kergomard, Mallaroni & Norris 2009, J. Sound Vib. 322, 255-263, to the exact
// solution of Levine & Schwinger 1948, Phys. Rev. 73, 383-406, good for
// k r <= 3.2. Beyond, a bell reflects hardly anything any more.
func radiation(a Air, omega, r float64) complex128 {
	reflection := openEnd(omega * r / a.SpeedMS)
	return complex(a.DensityKgM3*a.SpeedMS/(math.Pi*r*r), 0) * (1 + reflection) / (1 - reflection)
}

// openEnd is the pressure reflection coefficient of an unflanged open end at
// ka = k r: -|R| exp(-2j ka l/a), l the end correction.
func openEnd(ka float64) complex128 {
	x := ka * ka
	size := (1 + 0.800*x) / (1 + (0.5+0.800)*x + 0.266*x*x + 0.0263*x*x*x)
	sin, cos := math.Sincos(2 * ka * endCorrection(x))
	return complex(-size*cos, size*sin)
}

// endCorrection is l/a of an unflanged open end at x = (k a)^2.
func endCorrection(x float64) float64 {
	return 0.6133 * (1 + 0.0599*x) / (1 + 0.238*x - 0.0153*x*x + 0.00150*x*x*x)
}
