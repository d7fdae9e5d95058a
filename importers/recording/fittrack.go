package recording

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// fitted is a straight line with a vibrato through the pitch of a tone.
type fitted struct {
	mean      float64 // cents, in the middle
	drift     float64 // cents, from the first frame to the last
	vibrato   float64 // cents to either side; 0 if there is none
	vibratoHz float64
	spread    float64 // robust standard deviation of what is left, cents
	err       float64 // standard error of the mean, cents
}

// Vibratos that are looked for. Less than two turns can't be told from drift.
const (
	slowestVibrato = 3.0 // Hz
	fastestVibrato = 9.0
	leastTurns     = 2.0
	leastExtent    = 2.0 // cents
	leastExplained = 0.4 // share of the variance about the line
)

// fitTrack fits the line, with the vibrato that explains most if that is much.
// Without it a mean over a part of a turn would depend on which part.
func fitTrack(track []tracked) fitted {
	t := newTrackFit(track)
	rate := t.vibrato()
	t.robustly(rate)
	if rate > 0 && t.extent() < leastExtent {
		rate = 0
		t.robustly(rate)
	}
	out := fitted{mean: t.at[0], drift: t.at[1], spread: t.spread(), err: t.standardError()}
	if rate > 0 {
		out.vibrato, out.vibratoHz = t.extent()/seenOf(rate), rate
	}
	return out
}

// seenOf is the share of a vibrato's extent that is left after the mean over a
// window, which weighs by a raised cosine, whose transform that is.
func seenOf(hz float64) float64 {
	x := hz * windowSeconds
	return sinc(x) / (1 - x*x)
}

// vibrato looks for the rate that explains most; 0 if none explains much.
func (t *trackFit) vibrato() float64 {
	t.solve(0)
	plain := t.square()
	rate, best := 0.0, plain
	try := func(from, to, step float64) {
		for hz := from; hz <= to; hz += step {
			t.solve(hz)
			if s := t.square(); s < best {
				rate, best = hz, s
			}
		}
	}
	slowest := max(slowestVibrato, leastTurns/t.seconds)
	step := min(0.5, 0.4/t.seconds) // a turn in a few notes' lengths is seen
	try(slowest, fastestVibrato, step)
	for range 4 {
		step /= 2
		try(max(slowest, rate-step), min(fastestVibrato, rate+step), 2*step)
	}
	if best > (1-leastExplained)*plain {
		return 0
	}
	return rate
}

// trackFit is least squares with weights for y = a + b s + c cos + d sin, s from
// -1/2 to 1/2 over the track. The middle of a note counts most: players settle
// at the beginning and sag at the end, and turns of vibrato that are cut off
// hardly matter.
type trackFit struct {
	time, y, taper, weight, left []float64
	seconds, middle              float64
	at                           [4]float64
}

func newTrackFit(track []tracked) *trackFit {
	n := len(track)
	t := &trackFit{time: make([]float64, n), y: make([]float64, n), taper: make([]float64, n), weight: make([]float64, n), left: make([]float64, n)}
	for i, x := range track {
		sin := math.Sin(math.Pi * (float64(i) + 0.5) / float64(n))
		t.time[i], t.y[i], t.taper[i] = float64(x.frame)*hopSeconds, x.cents, sin*sin
	}
	copy(t.weight, t.taper)
	t.seconds = t.time[n-1] - t.time[0]
	t.middle = (t.time[n-1] + t.time[0]) / 2
	return t
}

// row gives what the coefficients are multiplied by at a frame.
func (t *trackFit) row(i int, hz float64) [4]float64 {
	s := t.time[i] - t.middle
	if hz == 0 {
		return [4]float64{1, s / t.seconds}
	}
	sin, cos := math.Sincos(2 * math.Pi * hz * s)
	return [4]float64{1, s / t.seconds, cos, sin}
}

// driftOf is how far the track moves, in cents, by the line alone.
func driftOf(track []tracked) float64 {
	t := newTrackFit(track)
	t.solve(0)
	return t.at[1]
}

// solve fits with a vibrato of hz, or none if that is nought.
func (t *trackFit) solve(hz float64) {
	n := 4
	if hz == 0 {
		n = 2
	}
	normal, right := make([]float64, n*n), make([]float64, n)
	for i, y := range t.y {
		row := t.row(i, hz)
		for j := range n {
			w := t.weight[i] * row[j]
			right[j] += w * y
			for k := j; k < n; k++ {
				normal[j*n+k] += w * row[k]
			}
		}
	}
	var factor mat.Cholesky
	var solved mat.VecDense
	t.at = [4]float64{}
	if factor.Factorize(mat.NewSymDense(n, normal)) && factor.SolveVecTo(&solved, mat.NewVecDense(n, right)) == nil {
		copy(t.at[:], solved.RawVector().Data)
	}
	for i, y := range t.y {
		row := t.row(i, hz)
		t.left[i] = y
		for j, x := range row {
			t.left[i] -= x * t.at[j]
		}
	}
}

// square is the weighted sum of squares of what is left.
func (t *trackFit) square() float64 {
	sum := 0.0
	for i, x := range t.left {
		sum += t.weight[i] * x * x
	}
	return sum
}

func (t *trackFit) extent() float64 { return math.Hypot(t.at[2], t.at[3]) }

// Tukey's biweight (Mosteller and Tukey, Data Analysis and Regression, 1977; from
// memory): frames further out than biweight robust standard deviations count for
// nothing.
const (
	biweight    = 4.685
	rounds      = 8
	leastSpread = 0.01 // cents
)

// robustly fits with weights that follow from what is left.
func (t *trackFit) robustly(hz float64) {
	copy(t.weight, t.taper)
	t.solve(hz)
	for range rounds {
		limit := biweight * max(t.spread(), leastSpread)
		for i, x := range t.left {
			u := min(1, math.Abs(x)/limit)
			t.weight[i] = t.taper[i] * (1 - u*u) * (1 - u*u)
		}
		t.solve(hz)
	}
}

// spread is the median of what is left, without signs, as a standard deviation.
func (t *trackFit) spread() float64 {
	sizes := make([]float64, len(t.left))
	for i, x := range t.left {
		sizes[i] = math.Abs(x)
	}
	return 1.4826 * median(sizes)
}

// errorBlock is the time over which frames hang together, in frames: windows
// overlap, and lips wander.
const errorBlock = 15

// standardError judges the mean by how means of blocks scatter.
func (t *trackFit) standardError() float64 {
	blocks := max(2, len(t.left)/errorBlock)
	sum := 0.0
	for b := range blocks {
		from, to := b*len(t.left)/blocks, (b+1)*len(t.left)/blocks
		mean, weight := 0.0, 1e-9
		for i := from; i < to; i++ {
			mean += t.weight[i] * t.left[i]
			weight += t.weight[i]
		}
		mean /= weight
		sum += mean * mean
	}
	return math.Sqrt(sum / float64(blocks) / float64(blocks-1))
}
