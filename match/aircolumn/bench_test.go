package aircolumn

import (
	"testing"

	"centwise/catalog/pitch"
)

// threeHundred is the generic trumpet's bore in about 300 pieces.
func threeHundred(b *testing.B) Instrument {
	in := genericSetup(b).Instrument()
	in.Bore = in.Bore.split(8.8)
	if n := len(in.Bore); n < 295 || n > 325 {
		b.Fatalf("%d pieces", n)
	}
	return in
}

// The resonances of partials 1 to 10 on seven fingerings, the model included:
// meant to take less than 30 ms on one core.
func BenchmarkResonances(b *testing.B) {
	in := threeHundred(b)
	for b.Loop() {
		m, err := New(in, dryAir(25))
		if err != nil {
			b.Fatal(err)
		}
		if list, err := m.Resonances(seven, 10); err != nil || len(list) != 70 {
			b.Fatal(len(list), err)
		}
	}
}

// The same with the gradients of each by all 900 dimensions: meant to take less
// than 100 ms on one core.
func BenchmarkGradients(b *testing.B) {
	in := threeHundred(b)
	for b.Loop() {
		m, err := New(in, dryAir(25))
		if err != nil {
			b.Fatal(err)
		}
		list, err := m.Resonances(seven, 10)
		if err != nil {
			b.Fatal(err)
		}
		for _, r := range list {
			m.Gradient(r)
		}
	}
}

// One point of a curve.
func BenchmarkImpedance(b *testing.B) {
	m := mustModel(b, threeHundred(b), dryAir(25))
	for b.Loop() {
		m.Impedance(pitch.Valves(0), 466)
	}
}
