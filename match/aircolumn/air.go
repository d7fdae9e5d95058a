package aircolumn

import (
	"math"

	"centwise/catalog"
)

// Air is the state of the air in an instrument, in SI units.
type Air struct {
	DensityKgM3  float64 // rho
	SpeedMS      float64 // c, of sound at low frequency without walls
	ViscosityPaS float64 // mu, of shear
	HeatRatio    float64 // gamma = Cp/Cv
	Prandtl      float64 // Pr = mu Cp/kappa
}

// Conditions that [MoistAir] takes. The fit of Cramer (1993) is made for 0 to
// 30 C; breath and hot rooms lie a little beyond, where it still runs smoothly.
const (
	MinTemperatureC = -10.0
	MaxTemperatureC = 45.0

	// DefaultTemperatureC and DefaultHumidity are those of a warmed-up instrument
	// in a room, where nothing else is said (common practice, no source).
	DefaultTemperatureC = 25.0
	DefaultHumidity     = 0.5

	pressurePa = 101325.0
	shareCO2   = 0.0004
	kelvin     = 273.15
)

// MoistAir is air at sea level of a temperature in degrees Celsius and a
// relative humidity from 0 (dry) to 1. It fails outside
// MinTemperatureC..MaxTemperatureC and 0..1.
//
// Speed of sound: Cramer 1993, J. Acoust. Soc. Am. 93, 2510-2516, equation 15;
// density and viscosity: Rasmussen 1997, report PL-11b of the Technical
// University of Denmark; the ratio of heats and the thermal conductivity: those
// of dry air (Chaigne & Kergomard, Acoustics of Musical Instruments, chapter 5).
func MoistAir(temperatureC, humidity float64) (Air, error) {
	if !(temperatureC >= MinTemperatureC && temperatureC <= MaxTemperatureC) {
		return Air{}, catalog.Errorf(catalog.Invalid, "give degrees Celsius, as in 25", "a temperature of %g is outside %g to %g degrees", temperatureC, MinTemperatureC, MaxTemperatureC)
	}
	if !(humidity >= 0 && humidity <= 1) {
		return Air{}, catalog.Errorf(catalog.Invalid, "give the relative humidity as a share: 0 for dry air, 0.5, 1", "a humidity of %g is outside 0 to 1", humidity)
	}
	t, absolute := temperatureC, temperatureC+kelvin
	xw := waterShare(t, humidity)
	compressibility := compressibilityOf(t, xw)
	mu := (84.986 + 7*absolute + (113.157-absolute)*xw - 3.7501e-3*absolute*absolute - 100.015*xw*xw) * 1e-8
	const calorie, heatCapacity = 4.184, 240.0 // J, cal/(kg K)
	conductivity := 5.77e-3 * (1 + 0.0033*t)   // cal/(m s K)
	return Air{
		DensityKgM3:  (3.48349 + 1.44*(shareCO2-0.0004)) * 1e-3 * pressurePa / (compressibility * absolute) * (1 - 0.378*xw),
		SpeedMS:      cramerSpeed(t, xw, shareCO2),
		ViscosityPaS: mu,
		HeatRatio:    1.402,
		Prandtl:      mu * heatCapacity * calorie / (conductivity * calorie),
	}, nil
}

// waterShare is the mole fraction of water vapour (Cramer 1993, appendix).
func waterShare(t, humidity float64) float64 {
	absolute := t + kelvin
	enhancement := 1.00062 + 3.14e-8*pressurePa + 5.6e-7*t*t
	saturation := math.Exp(1.2811805e-5*absolute*absolute - 1.9509874e-2*absolute + 34.04926034 - 6353.6311/absolute)
	return humidity * enhancement * saturation / pressurePa
}

// compressibilityOf is Z of moist air (Davis 1992, Metrologia 29, 67-70, with
// the constants of Rasmussen 1997; from memory: it departs from 1 by 4e-4).
func compressibilityOf(t, xw float64) float64 {
	absolute := t + kelvin
	first := pressurePa / absolute * (1.58123e-6 - 2.9331e-8*t + 1.1043e-10*t*t +
		(5.707e-6-2.051e-8*t)*xw + (1.9898e-4-2.376e-6*t)*xw*xw)
	ratio := pressurePa / absolute
	return 1 - first + ratio*ratio*(1.83e-11-0.765e-8*xw*xw)
}

// cramerSpeed is equation 15 of Cramer 1993, in m/s: t in C, xw and xc the
// mole fractions of water and carbon dioxide.
func cramerSpeed(t, xw, xc float64) float64 {
	const p = pressurePa
	return 331.5024 + 0.603055*t - 0.000528*t*t +
		(51.471935+0.1495874*t-0.000782*t*t)*xw +
		(-1.82e-7+3.73e-8*t-2.93e-10*t*t)*p +
		(-85.20931-0.228525*t+5.91e-5*t*t)*xc -
		2.835149*xw*xw - 2.15e-13*p*p + 29.179762*xc*xc + 0.000486*xw*p*xc
}
