package assign

import (
	"math/rand/v2"
	"testing"
)

// nearlyAdditive is a square table as errors make it: a cost for the person, one
// for the thing, and a smaller one for the two together.
func nearlyAdditive(n int, own float64, seed uint64) *Costs {
	rng := rand.New(rand.NewPCG(seed, 1))
	c := NewCosts(n, n)
	thing := make([]float64, n)
	for j := range thing {
		thing[j] = 3 * rng.NormFloat64()
	}
	for i := range n {
		person := 3 * rng.NormFloat64()
		for j := range n {
			c.Set(i, j, 20+person+thing[j]+own*rng.NormFloat64())
		}
	}
	return c
}

func BenchmarkSolve(b *testing.B) {
	for _, bc := range []struct {
		name string
		n    int
		own  float64
	}{{"300 nearly additive", 300, 0.5}, {"1000 nearly additive", 1000, 0.5}, {"1000 random", 1000, 50}} {
		b.Run(bc.name, func(b *testing.B) {
			c := nearlyAdditive(bc.n, bc.own, 1)
			for b.Loop() {
				if _, err := Solve(c); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
