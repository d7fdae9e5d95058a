package tone

import "math"

// The true peak is looked for at four times the sample rate, as ITU-R BS.1770-4,
// Annex 2 asks; the interpolating filter is our own, a Kaiser-windowed sinc.
const (
	oversampling = 4
	peakTaps     = 32 // a phase
	peakBeta     = 6  // of the Kaiser window
)

// peakPhases are the filters that give the values a quarter, a half and three
// quarters of the way between two samples.
var peakPhases = func() (phases [oversampling - 1][peakTaps]float64) {
	for p := range phases {
		shift := float64(p+1) / oversampling
		sum := 0.0
		for i := range peakTaps {
			// Tap i weighs the sample that lies x before the point wanted.
			x := float64(i-peakTaps/2) + shift
			phases[p][i] = math.Sin(math.Pi*x) / (math.Pi * x) * kaiser(x/(peakTaps/2))
			sum += phases[p][i]
		}
		for i := range peakTaps {
			phases[p][i] /= sum
		}
	}
	return phases
}()

// kaiser is the Kaiser window at x, -1..1: I0(beta sqrt(1-x^2)) / I0(beta).
func kaiser(x float64) float64 {
	return besselI0(peakBeta*math.Sqrt(max(0, 1-x*x))) / besselI0(peakBeta)
}

// besselI0 is the modified Bessel function of order 0 by its power series.
func besselI0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= x * x / (4 * k * k)
		sum += term
	}
	return sum
}

// peakMeter finds the true peak of a stream of samples.
type peakMeter struct {
	// history holds the last peakTaps samples twice in a row, so that they can
	// be read in one piece from any place.
	history [2 * peakTaps]float64
	at      int
	peak    float64
}

func (m *peakMeter) write(block []float64) {
	for _, x := range block {
		m.next(x)
	}
}

func (m *peakMeter) next(x float64) {
	m.history[m.at], m.history[m.at+peakTaps] = x, x
	m.at = (m.at + 1) % peakTaps
	m.peak = max(m.peak, math.Abs(x))
	window := m.history[m.at : m.at+peakTaps] // oldest first
	for p := range peakPhases {
		sum := 0.0
		for i, c := range peakPhases[p] {
			sum += float64(c * window[peakTaps-1-i])
		}
		m.peak = max(m.peak, math.Abs(sum))
	}
}

// level is the true peak in dB of full scale, -Inf for silence. What was
// written counts as followed by silence.
func (m *peakMeter) level() float64 {
	rest := *m
	for range peakTaps {
		rest.next(0)
	}
	return 20 * math.Log10(rest.peak)
}
