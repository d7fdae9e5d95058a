package aircolumn

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog/pitch"
)

// drawSetup draws invented setups round the generic one.
func drawSetup(t *rapid.T, base Setup) Setup {
	s := base
	for _, d := range slices.Concat(CupDimensions, []Dimension{BackboreShape, Gap}, HornDimensions) {
		*d.Of(&s) *= rapid.Float64Range(0.97, 1.03).Draw(t, d.Name)
	}
	return s
}

// Every derivative against a central difference of resonances that are solved
// anew: for each dimension of a piece, and of the loops.
func TestGradientAgainstDifferences(t *testing.T) {
	base := Instrument{
		Bore: Bore{
			{Mouthpiece, 10, 16.5, 10}, {Mouthpiece, 8, 3.7, 3.7}, {Mouthpiece, 70, 3.7, 9}, {Leadpipe, 250, 9, 11.7},
			{Tube, 600, 11.7, 11.7}, {Bell, 300, 11.7, 20}, {Bell, 150, 20, 50}, {Bell, 40, 50, 120},
		},
		Loops: Loops{170, 80, 280},
	}
	a := dryAir(25)
	fingerings := []pitch.Valves{0, 5}
	solve := func(in Instrument) []Resonance {
		list, err := mustModel(t, in, a).Resonances(fingerings, 10)
		if err != nil || len(list) != 20 {
			t.Fatalf("%d resonances, %v", len(list), err)
		}
		return list
	}
	peaks, m := solve(base), mustModel(t, base, a)
	compare := func(name string, change func(in *Instrument, mm float64), of func(g Gradient) float64) {
		const h = 0.01 // mm
		moved := func(mm float64) []Resonance {
			in := Instrument{slices.Clone(base.Bore), base.Loops}
			change(&in, mm)
			return solve(in)
		}
		up, down := moved(h), moved(-h)
		for i, r := range peaks {
			want := 1200 * math.Log2(up[i].FrequencyHz/down[i].FrequencyHz) / (2 * h)
			// A wall that gets a slope is cut otherwise: 1e-3 of the larger ones.
			if got := of(m.Gradient(r)); math.Abs(got-want) > 1e-3*math.Abs(want)+0.02 {
				t.Errorf("%s, %v: %.5f cents a mm, by differences %.5f", name, r.Slot, got, want)
			}
		}
	}
	for i := range base.Bore {
		compare("length", func(in *Instrument, mm float64) { in.Bore[i].LengthMM += mm }, func(g Gradient) float64 { return g.Length[i] })
		compare("start", func(in *Instrument, mm float64) { in.Bore[i].StartMM += mm }, func(g Gradient) float64 { return g.Start[i] })
		compare("end", func(in *Instrument, mm float64) { in.Bore[i].EndMM += mm }, func(g Gradient) float64 { return g.End[i] })
	}
	for i := range 3 {
		compare("loop", func(in *Instrument, mm float64) { in.Loops[i] += mm }, func(g Gradient) float64 { return g.Loops[i] })
	}
}

// Sensitivities of random setups against resonances that are solved anew: half a
// per cent of a dimension to either side.
func TestSensitivitiesAgainstSolving(t *testing.T) {
	a := dryAir(25)
	base := genericSetup(t)
	slots := []pitch.Slot{{Valves: 0, Partial: 2}, {Valves: 0, Partial: 8}, {Valves: 5, Partial: 3}, {Valves: 7, Partial: 6}}
	rapid.Check(t, func(t *rapid.T) {
		s := drawSetup(t, base)
		d := rapid.SampledFrom(slices.Concat(CupDimensions, []Dimension{BackboreShape, Gap}, HornDimensions)).Draw(t, "dimension")
		got, err := s.Sensitivities(a, []Dimension{d}, slots)
		if err != nil {
			t.Fatal(err)
		}
		const h = 0.005
		less, err := s.With(d, *d.Of(&s)*math.Exp(-h)).Model(a)
		if err != nil {
			t.Fatal(err)
		}
		more, err := s.With(d, *d.Of(&s)*math.Exp(h)).Model(a)
		if err != nil {
			t.Fatal(err)
		}
		shift, err := Shift(less, more, slots)
		if err != nil {
			t.Fatal(err)
		}
		for j, cents := range shift {
			if want := cents / (2 * h); math.Abs(got[0][j]-want) > 0.01*math.Abs(want)+0.2 {
				t.Fatalf("%s, %v: %.3f cents, by solving %.3f", d.Name, slots[j], got[0][j], want)
			}
		}
	})
}

// What is known from theory: a longer tube lowers every resonance of a closed
// cylinder by 1200/ln 2 dL/(L + 0.6133 r). The wave's speed, which rises by
// 1.045/(2 rv) of itself with ln f (Keefe 1984), adds 1 % at 170 Hz.
func TestGradientOfCylinder(t *testing.T) {
	a := dryAir(20)
	b := Bore{{Tube, 1480, 11.66, 11.66}}
	m := mustModel(t, Instrument{Bore: b}, a)
	for _, r := range openPeaks(t, b, a, 8) {
		rv := 0.00583 * math.Sqrt(2*math.Pi*r.FrequencyHz*a.DensityKgM3/a.ViscosityPaS)
		want := -1200 / math.Ln2 / (1480 + 0.6133*5.83) * (1 + 1.045/(2*rv))
		if got := m.Gradient(r).Length[0]; math.Abs(got/want-1) > 3e-3 {
			t.Errorf("partial %d: %.6f cents a mm, expected %.6f", r.Slot.Partial, got, want)
		}
	}
}

// Effects of a bore's stretches add up to that of the whole bore 1 % wider.
func TestStretchesAddUp(t *testing.T) {
	a := dryAir(25)
	in := genericSetup(t).Instrument()
	slots := []pitch.Slot{{Valves: 0, Partial: 2}, {Valves: 0, Partial: 6}, {Valves: 3, Partial: 5}}
	effects, err := in.Effects(a, slots, 75)
	if err != nil {
		t.Fatal(err)
	}
	sums, lengths := make([]float64, len(slots)), make([]float64, len(slots))
	for _, e := range effects {
		for j, cents := range e.Cents {
			switch {
			case e.What == "diameter":
				sums[j] += cents
			case e.Part != "":
				lengths[j] += cents
			}
		}
	}
	const share = 1e-4
	wide, long := slices.Clone(in.Bore), slices.Clone(in.Bore)
	for i := range wide {
		wide[i].StartMM *= 1 + share
		wide[i].EndMM *= 1 + share
	}
	shift := func(b Bore) []float64 {
		out, err := Shift(mustModel(t, in, a), mustModel(t, Instrument{b, in.Loops}, a), slots)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	for j, cents := range shift(wide) {
		if want := cents / share * 0.01; math.Abs(sums[j]-want) > 0.01*math.Abs(want)+0.01 {
			t.Errorf("%v: stretches add up to %.4f cents, the whole does %.4f", slots[j], sums[j], want)
		}
	}
	total := map[Part]float64{}
	for _, p := range in.Bore {
		total[p.Part] += p.LengthMM
	}
	for i := range long {
		long[i].LengthMM *= 1 + share/total[long[i].Part]*100
	}
	for j, cents := range shift(long) {
		if want := cents / share / 100; math.Abs(lengths[j]-want) > 0.01*math.Abs(want)+0.01 {
			t.Errorf("%v: a mm more of each part does %.4f cents, all together %.4f", slots[j], lengths[j], want)
		}
	}
}
