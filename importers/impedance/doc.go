// Package impedance reads curves of input impedance, finds their resonances, and
// tells which partial each is.
//
// # Files
//
// Text, a line a frequency, as laboratories and programs write it: columns apart
// by commas, semicolons, tabs or spaces; decimal point, or decimal comma where
// the comma does not separate columns; any spacing of the frequencies, upwards or
// downwards; lines that begin with # % ! ; * or // are comments. Columns are
// frequency and magnitude, or frequency, real and imaginary part, or frequency,
// magnitude and phase. What they are and their units stand in the line before the
// numbers, as in
//
//	Frequency (Hz); |Z| (MOhm)
//
// or are said by the caller (see [ParseColumns]). What had to be inferred is in
// [Curve.Remarks].
//
// Acoustic impedance is in Pa s/m3 (also called acoustic ohm); MOhm is a million
// of them, the ohm of the older centimetre-gram-second system 100,000. A unit that
// is not known, as of a normalised curve or one in dB, does not matter for where
// resonances are: heights are then in the file's own unit.
//
// # Resonances
//
// A resonance is a maximum of the magnitude of the input impedance at the plane
// of measurement. Other definitions (pole, zero of the phase, maximum of the real
// part) lie up to 17 cents beside it in a trumpet, differently from partial to
// partial, so they are never mixed.
//
// Near each maximum a local model is fitted by least squares: with phase known
//
//	Z(f) = a/(f - p) + b + c f            a, b, c and the pole p complex
//
// else its magnitude without the term c,
//
//	|Z(f)|^2 = (c0 + c1 f + c2 f^2) / ((f - Re p)^2 + (Im p)^2)
//
// and with few points a parabola through ln |Z|. The resonance is the maximum of
// the fitted magnitude, Q = Re p / (2 |Im p|), and the standard error follows from
// the scatter of the points about the model. It holds when errors of neighbouring
// points are independent; a curve that was smoothed, or interpolated to more
// points, looks surer than it is.
package impedance
