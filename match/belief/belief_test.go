package belief

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"centwise/catalog/pitch"
	"centwise/match/fit"
)

var someSlots = []pitch.Slot{{Partial: 2}, {Valves: 2, Partial: 3}, {Valves: 5, Partial: 3}, {Partial: 4}, {Valves: 1, Partial: 5}, {Partial: 8}}

// madeUp is a joint law of setups of one horn with some mouthpieces, by random
// deviations; the last two pairs were not measured.
func madeUp(mouthpieces, draws int) *fit.Joint {
	rng := rand.New(rand.NewPCG(5, 6))
	n := len(someSlots)
	normals := func(size float64) []float64 {
		x := make([]float64, draws*n)
		for i := range x {
			x[i] = size * rng.NormFloat64()
		}
		return x
	}
	j := &fit.Joint{Slots: someSlots, Draws: draws, Shares: []fit.JointShare{{Item: 0, Deviations: normals(3)}}}
	smooth := make([]float64, n*n)
	for a := range n {
		for b := range n {
			smooth[a*n+b] = 2 * math.Exp(-float64((a-b)*(a-b))/8)
		}
	}
	for m := range mouthpieces {
		own := len(j.Shares)
		j.Shares = append(j.Shares, fit.JointShare{Item: own, Deviations: normals(2)})
		s := fit.JointSetup{Shares: []int{0, own}}
		if m >= mouthpieces-2 {
			j.Shares = append(j.Shares, fit.JointShare{Item: own + 1, Covariance: smooth})
			s.Shares = append(s.Shares, own+1)
		}
		for range n {
			s.Mean = append(s.Mean, 5*rng.NormFloat64())
		}
		j.Setups = append(j.Setups, s)
	}
	return j
}

func someLaw() Law {
	n := len(someSlots)
	day := make([]float64, n*n)
	for a := range n {
		for b := range n {
			day[a*n+b] = math.Exp(-float64((a-b)*(a-b)) / 4)
		}
	}
	return NewLaw(fit.SessionLaw{Day: day, ReadingSD: 3, GrossShare: 0, GrossFactor: 6}, someSlots)
}

// whole is the covariance of all setups side by side.
func whole(b *Belief) *mat.SymDense {
	n := b.n
	out := mat.NewSymDense(n*b.Setups(), nil)
	c := make([]float64, n*n)
	for i := range b.Setups() {
		for k := range b.Setups() {
			b.Covariance(c, i, k)
			for p := range n {
				for q := range n {
					if i*n+p <= k*n+q {
						out.SetSym(i*n+p, k*n+q, c[p*n+q])
					}
				}
			}
		}
	}
	return out
}

// Learning from a session is conditioning a normal law on its readings, written
// out the long way: mean + C H' S^-1 (y - H mean), C - C H' S^-1 H C with
// S = H C H' + R (any textbook on normal laws).
func TestLearningIsConditioning(t *testing.T) {
	for _, around := range []bool{false, true} {
		t.Run(fmt.Sprint("around ", around), func(t *testing.T) {
			j, law := madeUp(4, 40), someLaw()
			b := New(j)
			if around {
				b = NewAround(j)
			}
			if b.link < 0 || b.link > 1 {
				t.Fatalf("link %g", b.link)
			}
			for step, at := range []int{2, 3} {
				c := whole(b)
				notes := []int{0, 2, 3, 5}[step:]
				readings := Readings{}
				for _, note := range notes {
					readings[note] = []float64{b.Mean(at)[note] + float64(7*note%5), b.Mean(at)[note] - 3}
				}
				mean, covariance := longWay(b, c, at, law, readings, notes)
				b.Learn(at, law, readings, nil)
				if !mat.EqualApprox(whole(b), covariance, 1e-6) {
					t.Errorf("step %d: covariance is off by %g", step, largestDifference(whole(b), covariance))
				}
				for i := range b.Setups() {
					for p, v := range b.Mean(i) {
						if want := mean.AtVec(i*b.n + p); math.Abs(v-want) > 1e-6 {
							t.Errorf("step %d, setup %d, slot %d: mean %g, want %g", step, i, p, v, want)
						}
					}
				}
			}
		})
	}
}

func longWay(b *Belief, c *mat.SymDense, at int, law Law, readings Readings, notes []int) (*mat.VecDense, *mat.Dense) {
	n, m, total := b.n, len(notes), b.n*b.Setups()
	h := mat.NewDense(m, total, nil)
	r := mat.NewDense(m, m, nil)
	y := mat.NewVecDense(m, nil)
	for a, note := range notes {
		h.Set(a, at*n+note, 1)
		y.SetVec(a, (readings[note][0]+readings[note][1])/2)
		for d, other := range notes {
			r.Set(a, d, 60*60*(1+1/someSlots[note].Valves.Ratio()/someSlots[other].Valves.Ratio())+law.Day[note*n+other])
		}
		r.Set(a, a, r.At(a, a)+law.ReadingSD*law.ReadingSD/2)
	}
	mean := mat.NewVecDense(total, nil)
	for i := range b.Setups() {
		for p, v := range b.Mean(i) {
			mean.SetVec(i*n+p, v)
		}
	}
	var hc, s, inverse, gain, change mat.Dense
	hc.Mul(h, c)
	s.Mul(&hc, h.T())
	s.Add(&s, r)
	if err := inverse.Inverse(&s); err != nil {
		panic(err)
	}
	gain.Mul(hc.T(), &inverse)
	var off, move mat.VecDense
	off.MulVec(h, mean)
	off.SubVec(y, &off)
	move.MulVec(&gain, &off)
	mean.AddVec(mean, &move)
	change.Mul(&gain, &hc)
	out := mat.DenseCopyOf(c)
	out.Sub(out, &change)
	return mean, out
}

func largestDifference(a, b mat.Matrix) float64 {
	var d mat.Dense
	d.Sub(a, b)
	return mat.Max(&d)
}

// Worlds have the law of the belief, before and after a session; what is off is
// chance: the standard error of a mean over n worlds is sd/sqrt(n).
func TestWorldsHaveTheLawOfTheBelief(t *testing.T) {
	const count = 20_000
	b, law := New(madeUp(3, 30)), someLaw()
	w := b.Draw(count, 9)
	check := func(when string) {
		t.Helper()
		c := whole(b)
		for i := range b.Setups() {
			for p := range b.n {
				sum, square := 0.0, 0.0
				for k := range count {
					v := w.Profile(i, k)[p] - b.Mean(i)[p]
					sum, square = sum+v, square+v*w.Profile(0, k)[p]-v*b.Mean(0)[p]
				}
				sd := math.Sqrt(c.At(i*b.n+p, i*b.n+p))
				if mean := sum / count; math.Abs(mean) > 4.5*sd/math.Sqrt(count) {
					t.Errorf("%s: setup %d, slot %d: mean is off by %g with sd %g", when, i, p, mean, sd)
				}
				want, size := c.At(i*b.n+p, p), sd*math.Sqrt(c.At(p, p))
				if got := square / count; math.Abs(got-want) > 4.5*1.5*size/math.Sqrt(count) {
					t.Errorf("%s: setup %d, slot %d: covariance %g, want %g", when, i, p, got, want)
				}
			}
		}
	}
	check("before")
	b.Learn(1, law, Readings{0: {4, 2}, 3: {-3}, 5: {8}}, w)
	check("after")
}

// What a session is expected to teach is what it does teach: covariances of
// scores fall by just that, whatever it reads.
func TestProspectIsWhatASessionTakesFromTheCovariance(t *testing.T) {
	b, law := New(madeUp(4, 40)), someLaw()
	b.Learn(0, law, Readings{1: {2}, 4: {3}}, nil)
	slopes := make([][]float64, 4)
	for k := range 3 {
		for p := range b.n {
			slopes[k] = append(slopes[k], math.Sin(float64(3*k+p)))
		}
	}
	scores := b.Scores(slopes)
	notes := []int{0, 1, 3, 5}
	taught := scores.Prospect(2, law, notes, 2)
	var before [3][3]float64
	for i := range 3 {
		for k := range 3 {
			before[i][k] = scores.Covariance(i, k)
		}
	}
	if taught[3] != nil {
		t.Error("a setup whose score does not matter has a prospect")
	}
	readings := Readings{}
	for _, note := range notes {
		readings[note] = []float64{b.Mean(2)[note] + 1, b.Mean(2)[note] + 1}
	}
	b.Learn(2, law, readings, nil)
	after := b.Scores(slopes)
	for i := range 3 {
		for k := range 3 {
			want := before[i][k] - after.Covariance(i, k)
			if got := dot(taught[i], taught[k]); math.Abs(got-want) > 1e-6 {
				t.Errorf("scores %d and %d: %g, want %g", i, k, got, want)
			}
		}
	}
}

// A slip among the readings moves what is made of a session less than a quarter
// of what it would if it were taken at its word.
func TestSlipsCountForLittle(t *testing.T) {
	moved := func(share float64) float64 {
		b, law := New(madeUp(3, 60)), someLaw()
		law.GrossShare = share
		readings := Readings{}
		for p := range b.n {
			readings[p] = []float64{b.Mean(0)[p]}
		}
		readings[3] = []float64{b.Mean(0)[3] + 40}
		before := b.Mean(0)[3]
		b.Learn(0, law, readings, nil)
		return math.Abs(b.Mean(0)[3] - before)
	}
	if robust, plain := moved(0.02), moved(0); robust > plain/4 || plain < 2 {
		t.Errorf("moved by %g, without the care by %g", robust, plain)
	}
}

// Parts that have nothing to do with each other are told from their chance
// correlations; a single cause behind all is seen.
func TestLink(t *testing.T) {
	if b := New(madeUp(8, 48)); b.link > 0.3 {
		t.Errorf("independent parts: link %g", b.link)
	}
	j := madeUp(8, 48)
	for i := range j.Shares {
		if d := j.Shares[i].Deviations; d != nil && i > 0 {
			axpy(1.5, j.Shares[0].Deviations, d)
		}
	}
	if b := New(j); b.link < 0.9 {
		t.Errorf("parts with one cause: link %g", b.link)
	}
}

func TestLearningNothing(t *testing.T) {
	b := New(madeUp(3, 20))
	before := append([]float64(nil), b.Mean(1)...)
	b.Learn(1, someLaw(), Readings{2: nil}, nil)
	for p, v := range before {
		if b.Mean(1)[p] != v {
			t.Fatal("a session without readings taught something")
		}
	}
}
