package recording

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Pitches that are looked for, in Hz: from a tone below what four valves reach on
// the second partial to what piccolos reach.
const (
	lowestHz  = 80.0
	highestHz = 2800.0
)

// Frames of sound, in seconds: long enough for six periods of 120 Hz, short
// beside a vibrato of 5 or 6 turns a second.
const (
	windowSeconds = 0.050
	hopSeconds    = 0.010
	strokeSeconds = 0.020 // in which a stroke of the tongue shows
)

// frame is what is heard in one window of sound.
type frame struct {
	level   float64 // dB below full scale (a sine of full scale: -3)
	moment  float64 // the same of the middle strokeSeconds of the window alone
	clarity float64 // 0..1: how well the sound repeats itself
	cents   float64 // pitch above 440 Hz; only if voiced
	voiced  bool
	below   bool // there are harmonics of the octave below
	hollow  bool // neither the first nor the second harmonic is there
	clipped bool // samples at full scale
}

// tracker finds the pitch of frames: first the period, by the autocorrelation of
// the windowed sound over that of the window (P. Boersma, "Accurate short-term
// analysis of the fundamental frequency ...", IFA Proceedings 17, 1993, 97-110),
// which is 1 after a period whatever the harmonics are; then the frequency, by
// how far the phases of the harmonics move on from one frame to the next.
type tracker struct {
	rate        float64
	length, hop int // samples of a window, and from one to the next
	minLag      int
	maxLag      int

	transformer *fourier.FFT
	hann        []float64
	scratch     []float64    // a window with noughts behind it, then its autocorrelation
	now, before []complex128 // spectra of this window and the one before
	started     bool         // there is one before
	lastLag     float64      // of the frame before; 0 if it had no pitch
	power       []complex128
	band        []float64 // weights of power by frequency
	ofWindow    []float64 // 1 over the autocorrelation of the window, by lag
	similarity  []float64 // of the sound to itself, by lag
}

// What the period is found in, in Hz: all up to the first, fading to nothing at
// the second. Higher up there is little but noise, and a lag between two samples
// would be seen badly.
const (
	wholeBandHz = 1500.0
	bandEndHz   = 3000.0
)

func newTracker(rate float64) *tracker {
	t := &tracker{rate: rate, length: 2 * int(windowSeconds*rate/2), hop: int(math.Round(hopSeconds * rate))}
	t.minLag = max(2, int(rate/highestHz))
	t.maxLag = int(math.Ceil(rate / lowestHz))
	n := fastLength(t.length + t.maxLag + 2)
	t.transformer, t.scratch = fourier.NewFFT(n), make([]float64, n)
	t.now, t.before, t.power = make([]complex128, n/2+1), make([]complex128, n/2+1), make([]complex128, n/2+1)
	t.similarity = make([]float64, t.maxLag+2)
	t.hann = make([]float64, t.length)
	for i := range t.hann {
		t.hann[i] = (1 - math.Cos(2*math.Pi*(float64(i)+0.5)/float64(t.length))) / 2
	}
	t.band = make([]float64, n/2+1)
	for i := range t.band {
		hz := float64(i) * rate / float64(n)
		c := math.Cos(math.Pi / 2 * max(0, min(1, (hz-wholeBandHz)/(bandEndHz-wholeBandHz))))
		t.band[i] = c * c
	}
	t.ofWindow = make([]float64, t.maxLag+2)
	for lag := range t.ofWindow {
		sum := 0.0
		for i := range t.length - lag {
			sum += t.hann[i] * t.hann[i+lag]
		}
		t.ofWindow[lag] = 1 / sum
	}
	return t
}

// fastLength is the least power of two, or three times one, from n on: the
// transform is slow for lengths with other prime factors, and very slow for large
// ones.
func fastLength(n int) int {
	m := 1
	for m < n {
		m *= 2
	}
	if 3*m/4 >= n && m >= 8 {
		return 3 * m / 4
	}
	return m
}

// hopTime is the time from one frame to the next, in s: hopSeconds but for whole
// samples.
func (t *tracker) hopTime() float64 { return float64(t.hop) / t.rate }

// silence is the level below which nothing is looked for, in dB: one step of 16
// bits.
const silence = -90.0

// Least similarity of a voiced frame, and how near a peak must come to the highest
// one to be taken for the period: the first of equals is. Where the fundamental
// fades for a moment, as in a room, half the period is nearly as good: the period
// of the frame before stays if it is better by lagGain.
const (
	leastClarity = 0.75
	peakShare    = 0.92
	lagGain      = 0.015
	lagReach     = 0.04 // share of the lag
)

// next analyses a window that begins one hop after the one before it.
func (t *tracker) next(window []float64) frame {
	f := frame{level: t.transform(window), moment: t.moment(window)}
	defer t.turn()
	if f.level < silence {
		return f
	}
	lag, clarity := t.period()
	t.lastLag = 0
	f.clarity = clarity
	if clarity < leastClarity || !t.started {
		return f
	}
	hz, ok := t.refine(t.rate / lag)
	if ok && hz >= lowestHz && hz <= highestHz {
		f.voiced, f.cents = true, 1200*math.Log2(hz/440)
		f.below, f.hollow = t.octaveBelow(hz), t.hollow(hz)
		t.lastLag = lag
	}
	return f
}

// turn makes the spectrum of this frame that of the one before.
func (t *tracker) turn() {
	t.now, t.before = t.before, t.now
	t.started = true
}

// transform takes the spectrum of the window and gives its level.
func (t *tracker) transform(window []float64) float64 {
	sum := 0.0
	for i, x := range window {
		y := x * t.hann[i]
		t.scratch[i] = y
		sum += y * y
	}
	clear(t.scratch[len(window):])
	t.transformer.Coefficients(t.now, t.scratch)
	return 10 * math.Log10(sum*t.ofWindow[0]+1e-30)
}

// moment is the level of the middle of the window.
func (t *tracker) moment(window []float64) float64 {
	half := int(strokeSeconds / 2 * t.rate)
	sum := 0.0
	for _, x := range window[t.length/2-half : t.length/2+half] {
		sum += x * x
	}
	return 10 * math.Log10(sum/float64(2*half)+1e-30)
}

// period gives the lag after which the window repeats itself, in samples, and how
// well it does.
func (t *tracker) period() (lag, clarity float64) {
	t.correlate()
	t.peaks(func(at int) bool {
		_, height := top(t.similarity, at)
		clarity = max(clarity, height)
		return true
	})
	if clarity < leastClarity {
		return 0, clarity
	}
	first := 0.0 // height of the peak at lag
	t.peaks(func(at int) bool {
		place, height := top(t.similarity, at)
		switch {
		case lag == 0 && height >= peakShare*clarity:
			lag, first = place, height
		case lag > 0 && math.Abs(place-t.lastLag) < lagReach*t.lastLag && height > first+lagGain:
			lag = place
			return false
		}
		return true
	})
	return t.sharpen(lag), min(1, clarity)
}

// correlate fills in the similarity.
func (t *tracker) correlate() {
	for i, c := range t.now {
		t.power[i] = complex((real(c)*real(c)+imag(c)*imag(c))*t.band[i], 0)
	}
	r := t.transformer.Sequence(t.scratch, t.power)
	scale := 0.0
	if r[0] > 0 {
		scale = 1 / (r[0] * t.ofWindow[0])
	}
	for lag := range t.similarity {
		t.similarity[lag] = r[lag] * t.ofWindow[lag] * scale
	}
}

// peaks calls f with the highest lag of each positive stretch of the similarity
// after the first, until it gives false.
func (t *tracker) peaks(f func(at int) bool) {
	s := t.similarity[:t.maxLag+1]
	lag := 1
	for lag < len(s) && s[lag] > 0 {
		lag++
	}
	for lag < len(s) {
		for lag < len(s) && s[lag] <= 0 {
			lag++
		}
		best := lag
		for ; lag < len(s) && s[lag] > 0; lag++ {
			if s[lag] > s[best] {
				best = lag
			}
		}
		if best >= t.minLag && best < len(s)-1 && !f(best) {
			return
		}
	}
}

// top is the place and height of the parabola through three neighbours.
func top(s []float64, at int) (place, height float64) {
	a, b, c := s[at-1], s[at], s[at+1]
	bend := a - 2*b + c
	if bend >= 0 {
		return float64(at), b
	}
	shift := (a - c) / (2 * bend)
	return float64(at) + shift, b - (a-c)*shift/4
}

// sharpen finds the lag more closely at its multiples, where the same error of a
// place counts less.
func (t *tracker) sharpen(lag float64) float64 {
	for m := 2.0; m*lag < float64(t.maxLag); m *= 2 {
		at := int(math.Round(m * lag))
		for at > 1 && t.similarity[at-1] > t.similarity[at] {
			at--
		}
		for at < t.maxLag && t.similarity[at+1] > t.similarity[at] {
			at++
		}
		place, height := top(t.similarity, at)
		if height < leastClarity || math.Abs(place/m-lag) > 0.5 {
			break
		}
		lag = place / m
	}
	return lag
}

// Harmonics that say how high a tone is.
const (
	mostHarmonics  = 10
	bandShare      = 0.42 // of the rate: the highest frequency that is used
	leastAmplitude = 0.03 // beside the strongest harmonic
	agreeCents     = 25.0 // harmonics further from the strongest one are left out
	roughCents     = 70.0 // how far the strongest may be from the period
)

// refine finds the frequency near hz from the phases of the harmonics in this
// frame and the one before. A harmonic k of amplitude a says k times as closely
// what the fundamental is as one of the same strength at the bottom, hence the
// weights (a k)^2, the inverse variances of its answers in white noise (D. C.
// Rife and R. R. Boorstyn, IEEE Trans. Inf. Theory 20(5), 1974, 591-598; from
// memory). None of them has to be there: the lowest may be missing.
func (t *tracker) refine(hz float64) (float64, bool) {
	bins, loudest, strongest := [mostHarmonics + 1]int{}, 0, 0.0
	count := min(mostHarmonics, int(bandShare*t.rate/hz))
	for k := 1; k <= count; k++ {
		bins[k] = t.bin(float64(k) * hz)
		if a := cmplx.Abs(t.now[bins[k]]); a > strongest {
			loudest, strongest = k, a
		}
	}
	if strongest == 0 {
		return 0, false
	}
	// The strongest one says first where the others must be.
	near := t.advance(bins[loudest], float64(loudest)*hz) / float64(loudest)
	if math.Abs(1200*math.Log2(near/hz)) > roughCents {
		return 0, false
	}
	sum, weight := 0.0, 0.0
	for k := 1; k <= count; k++ {
		a := cmplx.Abs(t.now[bins[k]])
		f := t.advance(bins[k], float64(k)*near) / float64(k)
		if a < leastAmplitude*strongest || math.Abs(1200*math.Log2(f/near)) > agreeCents {
			continue
		}
		w := a * a * float64(k*k)
		sum, weight = sum+w*f, weight+w
	}
	return sum / weight, weight > 0
}

// A harmonic of the octave below, as a share of the strongest harmonic, and how
// near it must lie to where it should; below lowestOctave there is hum.
const (
	belowShare   = 0.05
	belowCents   = 15.0
	lowestOctave = 110.0 // Hz
)

// octaveBelow tells whether the tone is one of half of hz Hz whose fundamental is
// weak: small microphones and rooms may take most of it away.
func (t *tracker) octaveBelow(hz float64) bool {
	if hz/2 < lowestOctave {
		return false
	}
	strongest := max(t.at(hz), t.at(2*hz), t.at(3*hz))
	for _, odd := range []float64{0.5, 1.5} {
		if t.at(odd*hz) < belowShare*strongest {
			continue
		}
		if math.Abs(1200*math.Log2(t.advance(t.bin(odd*hz), odd*hz)/(odd*hz))) < belowCents {
			return true
		}
	}
	return false
}

// hollowShare of the strongest harmonic is less than a tone of one instrument has
// of its first or second, whatever the microphone.
const hollowShare = 0.01

// hollow tells whether hz Hz is only what higher sounds have in common: two notes
// at once repeat themselves after a longer period that nobody plays.
func (t *tracker) hollow(hz float64) bool {
	strongest := 0.0
	for k := 3.0; k <= mostHarmonics; k++ {
		strongest = max(strongest, t.at(k*hz))
	}
	return max(t.at(hz), t.at(2*hz)) < hollowShare*strongest
}

// bin is where hz Hz is found in a spectrum.
func (t *tracker) bin(hz float64) int { return int(math.Round(hz / t.rate * float64(len(t.scratch)))) }

// at is the amplitude of this window at hz Hz; 0 beyond what is used.
func (t *tracker) at(hz float64) float64 {
	if hz > bandShare*t.rate {
		return 0
	}
	return cmplx.Abs(t.now[t.bin(hz)])
}

// advance is the frequency near hz, in Hz, of what a bin holds: its phase moved
// on by that much since the frame before, and by whole turns as near to hz as
// can be.
func (t *tracker) advance(bin int, hz float64) float64 {
	hop := t.hopTime()
	if t.before[bin] == 0 {
		return hz
	}
	moved := cmplx.Phase(t.now[bin]/t.before[bin]) / (2 * math.Pi)
	return (moved + math.Round(hz*hop-moved)) / hop
}
