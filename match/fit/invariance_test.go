package fit

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"testing"

	"centwise/catalog"
)

// quickFit learns and solves as a fit does, in fewer steps and with fewer draws.
func quickFit(t testing.TB, d *Data, seed uint64, steps, draws int) *Model {
	t.Helper()
	p := planFor(d)
	p.steps, p.draws, p.settled = steps, draws, 0
	e := newEngine(d, DefaultComponents(len(d.Sources)), seed, p.fine)
	report := Report{Sessions: d.Sessions(), Readings: d.Readings(), Unknowns: e.sys.unknowns}
	var err error
	if report.Steps, report.Change, err = e.learn(t.Context(), p, func(int) {}); err != nil {
		t.Fatal(err)
	}
	tables, err := e.conclude(t.Context(), p, &report, catalog.NoCounter{})
	if err != nil {
		t.Fatal(err)
	}
	return e.finish(tables, report)
}

// answers are everything a model says of some setups, means and draws.
func answers(t testing.TB, m *Model, setups []Setup) [][]float64 {
	t.Helper()
	predictions, err := m.PredictMany(setups, usualSlots())
	if err != nil {
		t.Fatal(err)
	}
	var out [][]float64
	for _, p := range predictions {
		out = append(out, p.Common, p.Horn, p.Mouthpiece, p.Player, p.Pair, p.Mean, p.SD)
		out = append(out, p.Draws...)
	}
	return out
}

// same numbers, bit for bit.
func wantSame(t *testing.T, what string, got, want [][]float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: %d rows, want %d", what, len(got), len(want))
	}
	for k := range want {
		for i := range want[k] {
			if math.Float64bits(got[k][i]) != math.Float64bits(want[k][i]) {
				worst, _ := farthest(got, want)
				t.Errorf("%s: row %d, note %d is %v, want %v; farthest apart %.2g", what, k, i, got[k][i], want[k][i], worst)
				return
			}
		}
	}
}

// Neither the order in which sessions were recorded nor that in which gear is
// listed changes an answer, not by a bit.
func TestOrderDoesNotMatter(t *testing.T) {
	for _, fine := range []bool{true, false} {
		s := mixedShelf(4, 5, 3, 14, 8)
		if !fine {
			s = mixedShelf(20, 24, 12, 150, 8)
		}
		d := s.load(t)
		if (d.Readings() < 3000) != fine {
			t.Fatalf("%d readings", d.Readings())
		}
		want := answers(t, quickFit(t, d, 7, 2, 4), someSetups(s))
		digest := d.Digest
		setups := someSetups(s)
		rng := seeded(2)
		for _, shuffle := range []struct {
			what string
			do   func()
		}{
			{"sessions", func() {
				rng.Shuffle(len(s.sessions), func(i, j int) { s.sessions[i], s.sessions[j] = s.sessions[j], s.sessions[i] })
				for i := range s.sessions {
					s.sessions[i].Sequence = int64(i + 1)
				}
			}},
			{"horns, mouthpieces and players", func() {
				slices.Reverse(s.horns)
				slices.Reverse(s.mouthpieces)
				slices.Reverse(s.players)
			}},
		} {
			shuffle.do()
			d := s.load(t)
			if d.Digest != digest {
				t.Fatalf("the test's own digest depends on the order of %s", shuffle.what)
			}
			wantSame(t, fmt.Sprintf("other order of %s, %d readings", shuffle.what, d.Readings()), answers(t, quickFit(t, d, 7, 2, 4), setups), want)
		}
	}
}

// The same answer, bit for bit, on one processor and on two or more.
func TestProcessorsDoNotMatter(t *testing.T) {
	for _, s := range []*shelf{mixedShelf(4, 5, 3, 14, 8), mixedShelf(20, 24, 12, 150, 8)} {
		d := s.load(t)
		before := runtime.GOMAXPROCS(1)
		one := answers(t, quickFit(t, d, 7, 2, 6), someSetups(s))
		runtime.GOMAXPROCS(2)
		two := answers(t, quickFit(t, d, 7, 2, 6), someSetups(s))
		runtime.GOMAXPROCS(5)
		five := answers(t, quickFit(t, d, 7, 2, 6), someSetups(s))
		runtime.GOMAXPROCS(before)
		wantSame(t, "two processors", two, one)
		wantSame(t, "five processors", five, one)
	}
}

// relabelled gives every horn, mouthpiece, player and session another label;
// ids stay, so that setups can be compared.
func relabelled(s *shelf, name func(label string, i, n int) string) *shelf {
	out := &shelf{}
	for i, h := range s.horns {
		h.Label = name(h.Label, i, len(s.horns))
		out.horns = append(out.horns, h)
	}
	for i, m := range s.mouthpieces {
		m.Label = name(m.Label, i, len(s.mouthpieces))
		out.mouthpieces = append(out.mouthpieces, m)
	}
	for i, p := range s.players {
		p.Label = name(p.Label, i, len(s.players))
		out.players = append(out.players, p)
	}
	for i, m := range s.sessions {
		m.Name = name(m.Name, i, len(s.sessions))
		out.sessions = append(out.sessions, m)
	}
	return out
}

// Labels mean nothing. Other labels in the same alphabetical order leave the
// answer as it is, bit for bit; in another order the random numbers fall on
// other items, and the answer moves by Monte-Carlo error alone.
func TestLabelsDoNotMatter(t *testing.T) {
	s := mixedShelf(12, 14, 8, 110, 8)
	setups := someSetups(s)
	m := quickFit(t, s.load(t), 7, 6, 40)
	same := relabelled(s, func(label string, _, _ int) string { return "x" + label + " and more" })
	wantSame(t, "other labels in the same order", answers(t, quickFit(t, same.load(t), 7, 6, 40), setups), answers(t, m, setups))

	other := relabelled(s, func(_ string, i, n int) string { return fmt.Sprintf("%04d", (i*7+3)%9967+n-i) })
	turned := quickFit(t, other.load(t), 7, 6, 40)
	want, err := m.PredictMany(setups, usualSlots())
	if err != nil {
		t.Fatal(err)
	}
	got, err := turned.PredictMany(setups, usualSlots())
	if err != nil {
		t.Fatal(err)
	}
	for i := range setups {
		moved, spread, ratio := 0.0, 0.0, 0.0
		for j := range usualSlots() {
			d := got[i].Mean[j] - want[i].Mean[j]
			moved += d * d
			spread += want[i].SD[j] * want[i].SD[j]
			ratio += got[i].SD[j] / want[i].SD[j] / float64(len(usualSlots()))
		}
		if math.Sqrt(moved/spread) > 0.1 {
			t.Errorf("setup %d: with other labels the prediction moves by %.2f of its standard deviation", i, math.Sqrt(moved/spread))
		}
		if math.Abs(ratio-1) > 0.15 {
			t.Errorf("setup %d: with other labels the standard deviations are %.2f times as large", i, ratio)
		}
	}
}

// A seed gives the same draws again; another seed other draws about the same
// mean.
func TestSeeds(t *testing.T) {
	s := mixedShelf(4, 5, 3, 14, 8)
	d, setups := s.load(t), someSetups(s)
	one := answers(t, quickFit(t, d, 7, 2, 5), setups)
	wantSame(t, "the same seed", answers(t, quickFit(t, d, 7, 2, 5), setups), one)
	if worst, _ := farthest(answers(t, quickFit(t, d, 8, 2, 5), setups), one); worst == 0 {
		t.Error("another seed gives the same draws")
	}
	if a, b := seedOf("0123"), seedOf("0124"); a == b || a == 0 || b == 0 {
		t.Errorf("digests give the seeds %d and %d; want two that differ, none zero", a, b)
	}
}
