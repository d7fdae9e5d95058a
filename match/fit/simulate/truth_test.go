package simulate

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.4f, want %.4f +- %.4f", what, got, want, tolerance)
	}
}

func TestSlots(t *testing.T) {
	if len(Slots) != 45 || len(Usual) != 31 || len(Throwless) != 27 {
		t.Fatalf("%d slots, %d usual, %d throwless; want 45, 31, 27", len(Slots), len(Usual), len(Throwless))
	}
	for i, j := range Usual {
		if note := int(Slots[j].Note()); note != 54+i {
			t.Errorf("usual note %d is %v, want the semitones from F#3 up", i, Slots[j].Note())
		}
	}
}

// The laws have the stated spreads in every world, and the spread is the
// expected mean square of a draw.
func TestStatedSpreads(t *testing.T) {
	for seed := range uint64(5) {
		w := &World{Kind: Harder, nature: newNature(Harder, seed)}
		near(t, "mean", Spread(w.Mean(), Usual), MeanSpread, 1e-9)
		for c, want := range map[Component]float64{
			OfHorn: HornSpread, OfMouthpiece: MouthpieceSpread, OfPlayer: PlayerSpread, OfPair: PairSpread, OfWiggle: WiggleSpread,
			OfHornDesign:         HornSpread * math.Sqrt(0.75),
			OfHornSpecimen:       HornSpread * math.Sqrt(0.25),
			OfMouthpieceDesign:   MouthpieceSpread * math.Sqrt(0.9),
			OfMouthpieceSpecimen: MouthpieceSpread * math.Sqrt(0.1),
			OfMouthpieceRest:     MouthpieceSpread * math.Sqrt(0.3),
		} {
			near(t, string(c), centredRMS(w.TrueCovariance(c)), want, 1e-9)
		}
	}
}

// centredRMS is the expected rms over the usual notes, after the best constant
// shift, of a vector with this covariance.
func centredRMS(c *mat.SymDense) float64 {
	n, trace, all := float64(len(Usual)), 0.0, 0.0
	for _, i := range Usual {
		trace += c.At(i, i)
		for _, j := range Usual {
			all += c.At(i, j)
		}
	}
	return math.Sqrt((trace - all/n) / n)
}

// The pair's total deviation, shift included, is the stated 1.5 cents.
func TestPairSD(t *testing.T) {
	c := (&World{nature: newNature(Plain, 3)}).TrueCovariance(OfPair)
	sum := 0.0
	for _, j := range Usual {
		sum += c.At(j, j) / float64(len(Usual))
	}
	near(t, "pair sd", math.Sqrt(sum), PairSD, 1e-9)
}

// Draws have the covariance that TrueCovariance gives.
func TestDrawsHaveTheTrueCovariance(t *testing.T) {
	w := &World{nature: newNature(Harder, 7)}
	rng := rand.New(rand.NewPCG(1, 2))
	const draws = 20000
	for _, c := range Components {
		exact := w.TrueCovariance(c)
		sample := mat.NewSymDense(len(Slots), nil)
		for range draws {
			v := make([]float64, len(Slots))
			w.nature.process[c].draw(rng, v)
			sample.SymRankOne(sample, 1./draws, mat.NewVecDense(len(v), v))
		}
		for i := range Slots {
			for j := range i + 1 {
				// Sampling error of an entry of a Gaussian covariance.
				se := math.Sqrt((exact.At(i, i)*exact.At(j, j) + exact.At(i, j)*exact.At(i, j)) / draws)
				if d := math.Abs(sample.At(i, j) - exact.At(i, j)); d > 5.5*se {
					t.Errorf("%s: covariance of %v and %v is %.3f in draws, %.3f by TrueCovariance", c, Slots[i], Slots[j], sample.At(i, j), exact.At(i, j))
				}
			}
		}
	}
}

// Mouthpieces have three components of falling size (3.3, 0.9, 0.3 cents in the
// simulations behind the design) and little else but their offset.
func TestMouthpieceComponents(t *testing.T) {
	p := newMouthpiece(11)
	p.shapes = p.shapes[:len(p.shapes)-1] // the offset, which comes last
	var eigen mat.EigenSym
	if !eigen.Factorize(p.covariance(), false) {
		t.Fatal("no eigenvalues")
	}
	values := eigen.Values(nil)
	n := len(values)
	for k, want := range []float64{3.3, 0.93, 0.30} {
		got := math.Sqrt(max(values[n-1-k]-p.slotSD*p.slotSD, 0) / float64(len(Slots)))
		if got < 0.75*want || got > 1.5*want {
			t.Errorf("component %d has sd %.2f, want about %.2f", k+1, got, want)
		}
	}
}

// No truth lies in the span of the splines that the fit models it with: seven
// coefficients of a cubic spline over the height of the notes.
func TestTruthIsNotASpline(t *testing.T) {
	design := mat.NewDense(len(Slots), 7, nil)
	for j, x := range height {
		for k := range 7 {
			design.Set(j, k, cubicSpline(x*4-float64(k)+3)) // knots every quarter
		}
	}
	for _, seed := range []uint64{1, 2, 3} {
		n := newNature(Plain, seed)
		for c, count := range map[Component]int{OfMouthpiece: 3, OfPlayer: 5, OfPair: 4} {
			worst := 0.0
			for _, s := range n.process[c].shapes[:count] {
				g := mat.NewVecDense(len(s), nil)
				for j, x := range s {
					if c == OfPlayer {
						g.SetVec(j, x)
					} else {
						g.SetVec(j, x/shorter[j])
					}
				}
				var coef, rest mat.VecDense
				if err := coef.SolveVec(design, g); err != nil {
					t.Fatal(err)
				}
				rest.MulVec(design, &coef)
				rest.SubVec(g, &rest)
				worst = max(worst, mat.Norm(&rest, 2)/mat.Norm(g, 2))
			}
			if worst < 1e-3 {
				t.Errorf("seed %d: every shape of the %s is a spline to %.1e", seed, c, worst)
			}
		}
	}
}

// cubicSpline is the cardinal cubic B-spline on the knots 0..4.
func cubicSpline(u float64) float64 {
	switch {
	case u < 0 || u > 4:
		return 0
	case u > 2:
		return cubicSpline(4 - u)
	case u < 1:
		return u * u * u / 6
	}
	return (-3*u*u*u + 12*u*u - 12*u + 4) / 6
}

func TestDimensionEffectIsLinearInLogs(t *testing.T) {
	w := &World{nature: newNature(Harder, 5)}
	d := Dimensions{16.5, 1.25, 3.65, 10, 8.7, 87}
	for _, x := range w.DimensionEffect(d) {
		near(t, "effect of the middling mouthpiece", x, 0, 1e-12)
	}
	d.CupCM3 = 1.25 * 1.05
	once := w.DimensionEffect(d)
	d.CupCM3 *= 1.05
	for j, x := range w.DimensionEffect(d) {
		near(t, "twice the step", x, 2*once[j], 1e-9)
	}
	// A larger cup flattens, the more the higher (any air column says so).
	low, _ := SlotIndex(Slots[0])
	if top := 5; once[low] >= 0 || once[top] >= once[low] {
		t.Errorf("a larger cup moves %v by %.2f and %v by %.2f; want both flat, the higher one more", Slots[low], once[low], Slots[top], once[top])
	}
}
