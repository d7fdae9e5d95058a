package recording

import "math"

// Sound is analysed at a lower rate than it was recorded with: the lowest few
// harmonics say all about the pitch.
const (
	leastWorkingRate = 11000 // unless the recording itself has less
	// Half the length of the low-pass filter, in samples of the lower rate, and
	// where it cuts, as a share of that rate.
	filterReach = 8
	filterCut   = 0.44
)

// decimator takes every factor-th sample of a stream behind a low-pass filter: a
// sinc with a Blackman window, whose stop band lies 74 dB down (F. J. Harris,
// Proc. IEEE 66(1), 1978, 51-83; from memory).
type decimator struct {
	factor int
	taps   []float64
	held   []float64 // samples that are still needed
	next   int       // in held: where the next window begins
}

func newDecimator(factor int) *decimator {
	d := &decimator{factor: factor, taps: []float64{1}}
	if factor == 1 {
		return d
	}
	reach := filterReach * factor
	d.taps = make([]float64, 2*reach+1)
	sum := 0.0
	for i := range d.taps {
		x := float64(i-reach) / float64(factor) // in samples of the lower rate
		turn := math.Pi * float64(i) / float64(reach)
		w := 0.42 - 0.5*math.Cos(turn) + 0.08*math.Cos(2*turn)
		d.taps[i] = w * sinc(2*filterCut*x)
		sum += d.taps[i]
	}
	for i := range d.taps {
		d.taps[i] /= sum
	}
	d.held = make([]float64, reach) // the first output lies on the first input
	return d
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// add takes in samples and appends the outputs that they complete to out.
func (d *decimator) add(in, out []float64) []float64 {
	if d.factor == 1 {
		return append(out, in...)
	}
	d.held = append(d.held, in...)
	for d.next+len(d.taps) <= len(d.held) {
		sum := 0.0
		for i, x := range d.held[d.next : d.next+len(d.taps)] {
			sum += d.taps[i] * x
		}
		out = append(out, sum)
		d.next += d.factor
	}
	kept := copy(d.held, d.held[min(d.next, len(d.held)):])
	d.next -= len(d.held) - kept
	d.held = d.held[:kept]
	return out
}

// workingFactor is how many samples of a recording make one that is analysed.
func workingFactor(rate int) int { return max(1, rate/leastWorkingRate) }
