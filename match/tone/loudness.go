package tone

import "math"

// biquad is a second-order filter with a0 = 1:
// y[n] = b0 x[n] + b1 x[n-1] + b2 x[n-2] - a1 y[n-1] - a2 y[n-2].
type biquad struct {
	b0, b1, b2, a1, a2 float64
	z1, z2             float64 // state, transposed direct form II
}

func (f *biquad) next(x float64) float64 {
	y := float64(f.b0*x) + f.z1
	f.z1 = float64(f.b1*x) - float64(f.a1*y) + f.z2
	f.z2 = float64(f.b2*x) - float64(f.a2*y)
	return y
}

// kRate is the sample rate that ITU-R BS.1770-4 gives its filters for.
const kRate = 48000

// The K-weighting of ITU-R BS.1770-4 (10/2015), Annex 1: tables 1 (a shelf for
// the head) and 2 (a high-pass); from memory, and the same in several public
// implementations.
var (
	kShelf = biquad{
		b0: 1.53512485958697, b1: -2.69169618940638, b2: 1.19839281085285,
		a1: -1.69065929318241, a2: 0.73248077421585,
	}
	kHighPass = biquad{
		b0: 1, b1: -2, b2: 1,
		a1: -1.99004745483398, a2: 0.99007225036621,
	}
)

// at gives the filter f of 48 kHz at another rate. In w = (z-1)/(z+1), the
// bilinear variable, f is a quotient of two polynomials in w; scaling w changes
// the rate, and the scale keeps the response at the filter's own frequency,
// where |w| = w0 = sqrt(A0/A2), exact: w at 48 kHz = w0/tan(pi f0/rate) * w.
func (f biquad) at(rate int) biquad {
	if rate == kRate {
		return f
	}
	numerator, denominator := toBilinear(f.b0, f.b1, f.b2), toBilinear(1, f.a1, f.a2)
	w0 := math.Sqrt(denominator[0] / denominator[2])
	f0 := math.Atan(w0) * kRate / math.Pi
	scale := w0 / math.Tan(math.Pi*f0/float64(rate))
	b, a := fromBilinear(numerator, scale), fromBilinear(denominator, scale)
	return biquad{b0: b[0] / a[0], b1: b[1] / a[0], b2: b[2] / a[0], a1: a[1] / a[0], a2: a[2] / a[0]}
}

// toBilinear gives the coefficients of w^0, w^1, w^2 of
// p0 z^2 + p1 z + p2 with z = (1+w)/(1-w), times (1-w)^2.
func toBilinear(p0, p1, p2 float64) [3]float64 {
	return [3]float64{p0 + p1 + p2, 2 * (p0 - p2), p0 - p1 + p2}
}

// fromBilinear is the way back, with w replaced by scale*w: the coefficients of
// z^2, z, 1, times a factor that numerator and denominator share.
func fromBilinear(q [3]float64, scale float64) [3]float64 {
	q0, q1, q2 := q[0], q[1]*scale, q[2]*scale*scale
	return [3]float64{q0 + q1 + q2, 2 * (q0 - q2), q0 - q1 + q2}
}

// Gating of BS.1770-4 (from memory): blocks of 400 ms, a new one every 100 ms, of
// which those below -70 LUFS, then those 10 LU below the mean of the rest, don't
// count.
const (
	stepsASecond  = 10
	stepsInBlock  = 4
	absoluteGate  = -70
	relativeGate  = -10
	loudnessShift = -0.691 // dB, so that a sine of 997 Hz at full scale reads -3.01
)

// meter measures the loudness of one channel.
type meter struct {
	rate           int
	shelf, high    biquad
	energy         float64 // sum of squares of the step so far
	n, total       int64   // samples in the step, and in all
	sum            float64 // sum of squares of all
	steps          [stepsInBlock]float64
	steppedSamples [stepsInBlock]int64
	count          int64
	blocks         []float64 // mean square of every block
}

func newMeter(rate int) *meter {
	return &meter{rate: rate, shelf: kShelf.at(rate), high: kHighPass.at(rate)}
}

func (m *meter) write(block []float64) {
	for _, x := range block {
		y := m.high.next(m.shelf.next(x))
		m.energy += float64(y * y)
		m.n++
		m.total++
		if m.total*stepsASecond >= (m.count+1)*int64(m.rate) {
			m.step()
		}
	}
}

// step ends a step of 100 ms and, from the fourth on, a block.
func (m *meter) step() {
	i := m.count % stepsInBlock
	m.steps[i], m.steppedSamples[i] = m.energy, m.n
	m.sum += m.energy
	m.energy, m.n = 0, 0
	m.count++
	if m.count < stepsInBlock {
		return
	}
	var energy float64
	var n int64
	for i := range m.steps {
		energy += m.steps[i]
		n += m.steppedSamples[i]
	}
	m.blocks = append(m.blocks, energy/float64(n))
}

// loudness is the integrated loudness so far in LUFS, -Inf for silence. Sound
// too short for a block is measured whole.
func (m *meter) loudness() float64 {
	blocks := m.blocks
	if len(blocks) == 0 && m.total > 0 {
		blocks = []float64{(m.sum + m.energy) / float64(m.total)}
	}
	first := meanAbove(blocks, absoluteGate)
	return lufs(meanAbove(blocks, max(absoluteGate, lufs(first)+relativeGate)))
}

// meanAbove is the mean of the mean squares louder than a gate, 0 if none is.
func meanAbove(blocks []float64, gate float64) float64 {
	sum, n := 0.0, 0
	for _, b := range blocks {
		if lufs(b) > gate {
			sum += b
			n++
		}
	}
	return sum / float64(max(n, 1))
}

func lufs(meanSquare float64) float64 { return loudnessShift + 10*math.Log10(meanSquare) }
