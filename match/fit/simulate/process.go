package simulate

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
)

// process is a zero-mean Gaussian vector over the slots: a sum of fixed shapes
// with independent standard normal coefficients, and independent noise per
// slot. A process draws vectors and knows their covariance exactly.
type process struct {
	shapes [][]float64
	slotSD float64
}

// add appends a shape scaled by sd.
func (p *process) add(sd float64, shape []float64) {
	scaled := make([]float64, len(shape))
	for j, x := range shape {
		scaled[j] = sd * x
	}
	p.shapes = append(p.shapes, scaled)
}

// addAll appends shapes so scaled that together they have the given rms over
// the usual notes after the best constant shift, cents.
func (p *process) addAll(spread float64, shapes [][]float64) {
	part := process{shapes: shapes}
	factor := spread / part.spread()
	for _, s := range shapes {
		p.add(factor, s)
	}
}

// spread is the expected rms over the usual notes after the best constant
// shift, in cents.
func (p process) spread() float64 {
	sum := 0.0
	for _, s := range p.shapes {
		x := Spread(s, Usual)
		sum += x * x
	}
	n := float64(len(Usual))
	return math.Sqrt(sum + p.slotSD*p.slotSD*(n-1)/n)
}

// scaled is p with every standard deviation multiplied by factor.
func (p process) scaled(factor float64) process {
	out := process{slotSD: p.slotSD * factor}
	for _, s := range p.shapes {
		out.add(factor, s)
	}
	return out
}

// draw adds one draw of the process to dst.
func (p process) draw(rng *rand.Rand, dst []float64) {
	for _, s := range p.shapes {
		z := rng.NormFloat64()
		for j := range dst {
			dst[j] += z * s[j]
		}
	}
	if p.slotSD == 0 {
		return
	}
	for j := range dst {
		dst[j] += p.slotSD * rng.NormFloat64()
	}
}

// covariance is the exact covariance of the process, cents squared.
func (p process) covariance() *mat.SymDense {
	n := len(Slots)
	c := mat.NewSymDense(n, nil)
	for _, s := range p.shapes {
		c.SymRankOne(c, 1, mat.NewVecDense(n, s))
	}
	for j := range n {
		c.SetSym(j, j, c.At(j, j)+p.slotSD*p.slotSD)
	}
	return c
}

// cosines gives count cosine shapes of rising order over a coordinate in 0..1,
// falling off as order^-decay. Stretch and phases are random, so that no two
// worlds have the same shapes and none lies in the span of a spline.
func cosines(rng *rand.Rand, coordinate []float64, count int, decay float64) [][]float64 {
	stretch := 0.85 + 0.3*rng.Float64()
	var out [][]float64
	for k := 1; k <= count; k++ {
		phase := rng.Float64()
		shape := make([]float64, len(coordinate))
		for j, x := range coordinate {
			shape[j] = math.Pow(float64(k), -decay) * math.Cos(math.Pi*(float64(k)*stretch*x+phase))
		}
		out = append(out, shape)
	}
	return out
}

// times multiplies every shape by a weight per slot.
func times(shapes [][]float64, weight []float64) [][]float64 {
	var out [][]float64
	for _, s := range shapes {
		w := make([]float64, len(s))
		for j := range s {
			w[j] = s[j] * weight[j]
		}
		out = append(out, w)
	}
	return out
}

// orthogonal makes each shape orthogonal, over the slots, to those before it
// and to the first given ones, and gives it an rms of 1.
func orthogonal(first, shapes [][]float64) [][]float64 {
	basis := [][]float64{}
	project := func(v []float64) []float64 {
		w := append([]float64(nil), v...)
		for _, b := range basis {
			dot := 0.0
			for j := range w {
				dot += w[j] * b[j]
			}
			dot /= float64(len(w))
			for j := range w {
				w[j] -= dot * b[j]
			}
		}
		sum := 0.0
		for _, x := range w {
			sum += x * x
		}
		norm := math.Sqrt(sum / float64(len(w)))
		for j := range w {
			w[j] /= norm
		}
		basis = append(basis, w)
		return w
	}
	for _, v := range first {
		project(v)
	}
	var out [][]float64
	for _, v := range shapes {
		out = append(out, project(v))
	}
	return out
}

// constant is a shape of ones.
func constant() []float64 {
	out := make([]float64, len(Slots))
	for j := range out {
		out[j] = 1
	}
	return out
}

// stream is a random source of its own for one purpose of one seed, so that a
// change in how much one purpose draws leaves the others alone.
func stream(seed uint64, purpose string, index ...uint64) *rand.Rand {
	h := mix(seed ^ 0x63656e7477697365)
	for _, c := range []byte(purpose) {
		h = mix(h ^ uint64(c))
	}
	for _, i := range index {
		h = mix(h ^ i)
	}
	return rand.New(rand.NewPCG(h, mix(h)))
}

// mix is the finalizer of SplitMix64 (Steele, Lea & Flood 2014), from memory.
func mix(z uint64) uint64 {
	z += 0x9e3779b97f4a7c15
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}
