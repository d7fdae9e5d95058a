package tone

import "math"

// Lengths of the raised-cosine beginning and end of a tone (our own choice). A
// shorter note gives a third of its length to each.
const (
	attackSeconds  = 0.03
	releaseSeconds = 0.05
)

// voice renders one note. Its samples depend on the number of the sample alone,
// so blocks of any size join without a trace.
type voice struct {
	first, end      int64 // samples first..end-1 of the take
	attack, release int64 // samples
	turn            float64
	// Amplitudes of the harmonics 1, 2, ..., an even number of them: as played,
	// and as they are in a tone of a quarter of the dynamic, four times over.
	full, dark []float64
}

func newVoice(n Note, rate int) *voice {
	r := float64(rate)
	v := &voice{first: samplesIn(n.Start, rate), end: samplesIn(n.End, rate), turn: n.Hz / r}
	length := v.end - v.first
	v.attack = min(int64(attackSeconds*r), length/3)
	v.release = min(int64(releaseSeconds*r), length/3)
	for k := 1; float64(k)*n.Hz <= top(rate); k++ {
		f := float64(k) * n.Hz
		v.full, v.dark = append(v.full, strength(f, n.Dynamic)), append(v.dark, 4*strength(f, n.Dynamic/4))
	}
	if len(v.full)%2 == 1 {
		v.full, v.dark = append(v.full, 0), append(v.dark, 0)
	}
	return v
}

// addTo adds the note to a block whose first sample is sample at of the take.
func (v *voice) addTo(block []float64, at int64) {
	from, to := max(v.first, at), min(v.end, at+int64(len(block)))
	for i := from; i < to; i++ {
		block[i-at] += v.sample(i - v.first)
	}
}

// sample is sample n of the note. Its phase counts from the beginning of the
// take, so that notes of one frequency add up whenever they begin, and never
// cancel. While the tone begins and ends, its sound goes from dark to full along
// with its strength.
func (v *voice) sample(n int64) float64 {
	cycles := v.turn * float64(v.first+n)
	s, c := math.Sincos(2 * math.Pi * (cycles - math.Floor(cycles)))
	e := v.envelope(n)
	full := harmonics(v.full, s, c)
	if e == 1 {
		return full
	}
	dark := harmonics(v.dark, s, c)
	return e * (dark + float64(e*(full-dark)))
}

// harmonics is the sum over k of a_k sin(k phi), given sin phi and cos phi, by
// sin((k+2) phi) = 2 cos(2 phi) sin(k phi) - sin((k-2) phi): odd and even
// harmonics go side by side, since neither has to wait for the other. The
// conversions keep processors from joining products and sums, which would make
// files differ between them. len(a) is even.
func harmonics(a []float64, s, c float64) float64 {
	turn := 2 - float64(4*s*s) // 2 cos(2 phi)
	odd, oddBefore := s, -s
	even, evenBefore := float64(2*s*c), 0.0
	sum := 0.0
	for k := 0; k+1 < len(a); k += 2 {
		sum += float64(a[k]*odd) + float64(a[k+1]*even)
		odd, oddBefore = float64(turn*odd)-oddBefore, odd
		even, evenBefore = float64(turn*even)-evenBefore, even
	}
	return sum
}

// envelope is the share of its dynamic that the note has at sample n, more than
// 0 to 1.
func (v *voice) envelope(n int64) float64 {
	e := 1.0
	if n < v.attack {
		e = raisedCosine(float64(n), float64(v.attack))
	}
	if left := v.end - v.first - 1 - n; left < v.release {
		e = min(e, raisedCosine(float64(left), float64(v.release)))
	}
	return e
}

// raisedCosine rises from 0 to 1 over n = -1/2 .. length-1/2.
func raisedCosine(n, length float64) float64 {
	return (1 - math.Cos(math.Pi*(n+0.5)/length)) / 2
}
