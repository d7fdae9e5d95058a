package main

import (
	"context"
	"math"
	"testing"

	"centwise/match/fit/simulate"
	"gonum.org/v1/gonum/mat"
)

// dense is the same prediction by another road: the covariance of all readings
// and of a pair's profile written out, C V^-1 y and C0 - C V^-1 C'.
type dense struct {
	w        *simulate.World
	day      *mat.SymDense
	pair     *mat.SymDense
	items    []part
	session  []int
	slot     []int
	y, noise []float64
}

// part is one random part of a profile: which of its effects a setup has.
type part struct {
	c  *mat.SymDense
	of func(s simulate.Session) int
}

func newDense(b *bound) *dense {
	w := b.w
	wide := mat.NewSymDense(len(simulate.Slots), nil)
	for j := range simulate.Slots {
		wide.SetSym(j, j, meanSD*meanSD)
	}
	d := &dense{w: w, day: b.dayCovariance(), pair: w.TrueCovariance(simulate.OfPair)}
	d.items = []part{
		{wide, func(simulate.Session) int { return 0 }},
		{w.TrueCovariance(simulate.OfHornSpecimen), func(s simulate.Session) int { return s.Horn }},
		{w.TrueCovariance(simulate.OfMouthpieceSpecimen), func(s simulate.Session) int { return s.Mouthpiece }},
	}
	if w.Kind == simulate.Harder {
		described := func(known bool) func(s simulate.Session) int {
			return func(s simulate.Session) int {
				if m := w.Mouthpieces[s.Mouthpiece]; m.Known == known {
					return m.Design
				}
				return -1
			}
		}
		d.items = append(d.items,
			part{w.TrueCovariance(simulate.OfHornDesign), func(s simulate.Session) int { return w.Horns[s.Horn].Design }},
			part{w.TrueCovariance(simulate.OfMouthpieceRest), described(true)},
			part{w.TrueCovariance(simulate.OfMouthpieceDesign), described(false)})
	}
	for i := range w.Sessions {
		for j, p := range b.cells[i].precision {
			if p > 0 {
				d.session, d.slot = append(d.session, i), append(d.slot, j)
				d.y, d.noise = append(d.y, b.cells[i].mean[j]), append(d.noise, 1/p)
			}
		}
	}
	return d
}

// shared is the covariance of the items' parts between two setups and slots.
func (d *dense) shared(a, b simulate.Session, i, j int) float64 {
	sum := 0.0
	for _, p := range d.items {
		if e := p.of(a); e >= 0 && e == p.of(b) {
			sum += p.c.At(i, j)
		}
	}
	return sum
}

func (d *dense) covariance() *mat.SymDense {
	player := d.w.TrueCovariance(simulate.OfPlayer)
	v := mat.NewSymDense(len(d.y), nil)
	for a := range d.y {
		for b := a; b < len(d.y); b++ {
			s, t, i, j := d.w.Sessions[d.session[a]], d.w.Sessions[d.session[b]], d.slot[a], d.slot[b]
			c := d.shared(s, t, i, j)
			if s.Player == t.Player {
				c += player.At(i, j)
			}
			if s.Horn == t.Horn && s.Mouthpiece == t.Mouthpiece {
				c += d.pair.At(i, j)
			}
			if d.session[a] == d.session[b] {
				c += d.day.At(i, j)
			}
			if a == b {
				c += d.noise[a]
			}
			v.SetSym(a, b, c)
		}
	}
	return v
}

// predict gives the relative profile of a pair never measured and its standard
// deviations, what dimensions are known to do left out.
func (d *dense) predict(t *testing.T, pair simulate.Pair) (mean, sd []float64) {
	t.Helper()
	var chol mat.Cholesky
	if !chol.Factorize(d.covariance()) {
		t.Fatal("the covariance of the readings is not positive definite")
	}
	n := len(simulate.Slots)
	asked := simulate.Session{Horn: pair.Horn, Mouthpiece: pair.Mouthpiece}
	cross := mat.NewDense(len(d.y), n, nil)
	for a := range d.y {
		for j := range n {
			cross.Set(a, j, d.shared(d.w.Sessions[d.session[a]], asked, d.slot[a], j))
		}
	}
	var weights mat.Dense
	if err := chol.SolveTo(&weights, cross); err != nil {
		t.Fatal(err)
	}
	var m mat.VecDense
	m.MulVec(weights.T(), mat.NewVecDense(len(d.y), d.y))
	var known mat.Dense
	known.Mul(cross.T(), &weights)
	c := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			c.SetSym(i, j, d.shared(asked, asked, i, j)+d.pair.At(i, j)-known.At(i, j))
		}
	}
	return simulate.Centred(m.RawVector().Data), roots(centredCovariance(c))
}

// The bound's iterative solution and its draws agree with the dense one.
func TestBoundAgainstDense(t *testing.T) {
	for _, kind := range []simulate.Kind{simulate.Plain, simulate.Harder} {
		w := simulate.Generate(kind, simulate.Small, 8)
		w.Sessions = w.Sessions[:12]
		b := &bound{draws: 150, seed: 3}
		if err := b.Fit(context.Background(), w); err != nil {
			t.Fatal(err)
		}
		d := newDense(b)
		pair := simulate.Pair{Horn: w.Sessions[0].Horn, Mouthpiece: w.Sessions[7].Mouthpiece}
		mean, sd := d.predict(t, pair)
		profiles, err := b.Predict(context.Background(), []simulate.Pair{pair})
		if err != nil {
			t.Fatal(err)
		}
		known := make([]float64, len(mean))
		if k := b.known[pair.Mouthpiece]; k != nil {
			known = simulate.Centred(k)
		}
		ratio := 0.0
		for j := range mean {
			// The solver stops at a relative residual of 1e-5 of readings of some 15 cents.
			if got, want := profiles[0].Mean[j], mean[j]+known[j]; math.Abs(got-want) > 5e-3 {
				t.Errorf("%s, %v: %.5f by the bound, %.5f dense", kind, simulate.Slots[j], got, want)
			}
			// 150 draws know a standard deviation to 5.8 %; four times that, and
			// half of it for the mean over the slots.
			r := profiles[0].SD[j] / sd[j]
			ratio += r / float64(len(mean))
			if math.Abs(r-1) > 0.23 {
				t.Errorf("%s, %v: sd %.3f by draws, %.3f dense", kind, simulate.Slots[j], profiles[0].SD[j], sd[j])
			}
		}
		if math.Abs(ratio-1) > 0.06 {
			t.Errorf("%s: standard deviations by draws are %.3f of the dense ones", kind, ratio)
		}
	}
}

// A reading far off is taken for gross, one near for good, and the chance is
// the mixture's posterior.
func TestGrossChance(t *testing.T) {
	const variance = 14.0
	normal := func(e, v float64) float64 { return math.Exp(-e*e/(2*v)) / math.Sqrt(2*math.Pi*v) }
	for _, e := range []float64{0, 4, 10, 14, 30} {
		good, bad := 0.98*normal(e, variance), 0.02*normal(e, 36*variance)
		if got, want := grossChance(e*e, variance), bad/(good+bad); math.Abs(got-want) > 1e-12 {
			t.Errorf("chance at %v cents = %v, want %v", e, got, want)
		}
	}
}

// The bound finds the gross readings that were put in.
func TestBoundFindsGrossReadings(t *testing.T) {
	w := simulate.Generate(simulate.Plain, simulate.Small, 9)
	target := &w.Sessions[5].Readings[3]
	target.Cents += 60
	b := &bound{draws: 0, seed: 1}
	if err := b.Fit(context.Background(), w); err != nil {
		t.Fatal(err)
	}
	if g := b.cells[5].gross[3]; g < 0.99 {
		t.Errorf("a reading 60 cents off is gross with chance %.3f, want nearly 1", g)
	}
	share, n := 0.0, 0.0
	for _, c := range b.cells {
		for _, g := range c.gross {
			share += g
			n++
		}
	}
	if share /= n; share < 0.012 || share > 0.028 {
		t.Errorf("share of gross readings found is %.4f, put in were %.2f", share, simulate.GrossShare)
	}
}
