package fit

import (
	"math"
	"slices"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit/simulate"

	"gonum.org/v1/gonum/mat"
)

// influenceShelf has horns and mouthpieces of designs, two keys, a pair measured
// three times, one that was measured once, gross errors, and a bench.
func influenceShelf() *shelf {
	s := newShelf(nil, nil, []string{"blue-kite", "moss-heron", "reed-otter"})
	for i, key := range []pitch.Key{"Bb", "Bb", "C", "Bb"} {
		s.addHorn(catalog.Horn{Label: labels("horn ", 4)[i], Maker: "Tidewright", Model: []string{"Skerry", "Skerry", "Lamplight in C", "Foreland"}[i], Key: key})
	}
	for i, label := range labels("piece ", 5) {
		s.addMouthpiece(catalog.Mouthpiece{Label: label, Maker: "Northlamp", Model: []string{"Plover", "Plover", "Dunlin", "Knot", "Stilt"}[i],
			RimMM: []float64{16.2, 16.2, 16.6, 16.4, 0}[i], CupCM3: []float64{1.1, 1.1, 1.24, 1.02, 0}[i]})
	}
	rng := seeded(3)
	slots := usualSlots()
	truth := map[string][]float64{}
	for i, x := range [][3]int{{0, 0, 0}, {0, 0, 1}, {0, 0, 0}, {0, 1, 0}, {0, 2, 2}, {1, 2, 1}, {1, 3, 1}, {2, 3, 2}, {2, 0, 2}, {3, 4, 0}, {3, 1, 1}, {1, 4, 2}, {2, 2, 0}} {
		horn, piece, player := s.horns[x[0]].Label, s.mouthpieces[x[1]].Label, s.players[x[2]].Label
		for _, label := range []string{horn, piece} {
			if truth[label] == nil {
				truth[label] = randomProfile(rng, len(slots), 5)
			}
		}
		some := slots
		if i%3 == 1 {
			some = slots[4:16]
		}
		m := s.measure(horn, piece, player, some, func(j int) float64 {
			gross := 0.0
			if i == 4 && j == 7 {
				gross = 40
			}
			return truth[horn][j] + truth[piece][j] + 3*rng.NormFloat64() + gross
		})
		if i == 8 {
			m.Player, m.Method = "", catalog.MethodImpedance
		}
	}
	return s
}

// settled are a fit's equations with the weights that influences are worked out
// with: the model's answer is that of just these weights.
type settled struct {
	e *engine
	m *Model
}

// settle solves with the weights of a hood until they no longer change.
func settle(t *testing.T, s *shelf) *settled {
	t.Helper()
	out := &settled{m: s.fit(t, Options{Draws: 8})}
	for range 4 {
		d := s.load(t)
		h, err := out.m.newHood(t.Context(), d, setupPlace{-1, -1, -1, -1, 0, bbTransposition}, 1e9)
		if err != nil {
			t.Fatal(err)
		}
		out.e = newEngine(d, &out.m.Components, 1, true)
		for _, l := range out.e.sys.levels {
			for _, known := range out.m.learned {
				if known.Name == l.name {
					l.setCovariance(square{known.P, known.Covariance})
				}
			}
		}
		for _, x := range h.near {
			profile := h.profile(h.placeOf(x.row))
			part := make([]float64, len(profile))
			times(h.smooth, h.m.tables[effectPair].mean(h.placeOf(x.row).pair), part)
			add(part, profile)
			y, d := h.weigh(x.row, profile)
			at := x.row * len(profile)
			copy(out.e.sys.d[at:], d)
			for j, w := range d {
				if w > 0 {
					out.e.y[at+j] = y[j] - out.e.prior.of(x.row)[j]
				}
			}
		}
		out.m = out.solve(t, "")
	}
	return out
}

// solve gives the answer of the equations, without one session unless its name is
// empty.
func (x *settled) solve(t *testing.T, without string) *Model {
	t.Helper()
	defer x.leaveOut(without)()
	e := x.e
	if _, err := e.solveOne(t.Context(), 0, 1e-12, 4000, &e.answer); err != nil {
		t.Fatal(err)
	}
	tables := e.newTables(x.m.Report.Draws)
	e.recordMean(&tables)
	return e.finish(tables, x.m.Report)
}

// leaveOut takes a session out of the equations; what it returns puts it back.
func (x *settled) leaveOut(without string) func() {
	e, j := x.e, x.e.sys.slots
	kept := slices.Clone(e.sys.d)
	for s, row := range e.data.sessions {
		if row.name == without {
			clear(e.sys.d[s*j:][:j])
		}
	}
	e.refresh()
	return func() { e.sys.d = kept }
}

// What a session is said to move is what the equations solved without it say, for
// a setup that was measured several times, once, or never; with its player and
// without; on an instrument in another key; for a session of the same setup and
// for one that shares nothing.
func TestInfluenceIsThatOfTheEquationsWithoutTheSession(t *testing.T) {
	s := influenceShelf()
	x := settle(t, s)
	slots := usualSlots()
	setups := map[string]Setup{
		"measured three times": setup("horn 001", "piece 001", "reed-otter"),
		"measured once":        setup("horn 004", "piece 005", ""),
		"never measured":       setup("horn 001", "piece 004", "moss-heron"),
		"in C":                 setup("horn 003", "piece 005", "blue-kite"),
		"with any mouthpiece":  setup("horn 002", "", ""),
		"with any horn":        setup("", "piece 003", ""),
	}
	said := map[string]map[string]Influence{}
	for name, su := range setups {
		in, err := x.m.influences(t.Context(), s, su, slots, catalog.NoCounter{}, 1e9)
		if err != nil {
			t.Fatal(err)
		}
		if !in.Whole || len(in.List) != len(s.sessions) || in.Left != 0 {
			t.Fatalf("%s: %d of %d sessions are listed, %d left; want all of a small catalog", name, len(in.List), len(s.sessions), in.Left)
		}
		said[name] = map[string]Influence{}
		for _, got := range in.List {
			said[name][got.Session] = got
		}
	}
	moved := 0.0
	for _, left := range s.sessions {
		model := x.solve(t, left.Name)
		for name, su := range setups {
			got, with, without := said[name][left.Name], predict(t, x.m, su, slots), predict(t, model, su, slots)
			for j := range slots {
				want := without.Mean[j] - with.Mean[j]
				moved = max(moved, math.Abs(want))
				if math.Abs(got.Shift[j]-want) > 2e-3+1e-3*math.Abs(want) {
					t.Errorf("%s without %s: %s moves by %.4f cents, said %.4f", name, left.Name, slots[j], want, got.Shift[j])
					break
				}
			}
		}
	}
	if moved < 1 {
		t.Errorf("no session moves any setup by more than %.2f cents: the test sees nothing", moved)
	}
}

// covariance of a prediction whose pair nobody measured, from the inverse of the
// whole matrix.
func (x *settled) covariance(t *testing.T, su Setup, n int, without string) *mat.SymDense {
	t.Helper()
	defer x.leaveOut(without)()
	var chol mat.Cholesky
	if !chol.Factorize(x.e.sys.matrix()) {
		t.Fatal("the matrix is not positive definite")
	}
	place, err := x.m.place(su)
	if err != nil {
		t.Fatal(err)
	}
	f, err := x.m.newFrame(usualSlots(), n, place.transposition)
	if err != nil {
		t.Fatal(err)
	}
	rows := mat.NewDense(n, x.e.sys.unknowns, nil)
	_, classes := x.e.data.classes()
	for _, l := range x.e.sys.levels {
		item := place.item(l.into)
		if item < 0 && l.into != effectCommon {
			continue
		}
		block, class := l.block(max(0, item)), 0
		if block < 0 {
			continue
		}
		if len(l.coef) > 1 {
			class = int(classes[place.horn])
		}
		for i, row := range slices.Collect(slices.Chunk(x.m.centred(l.basis[class], f.index), l.p)) {
			for k := range l.q() {
				v := row[k%l.p]
				if l.loads != nil {
					v *= l.itemLoads[item][k/l.p]
				}
				rows.Set(i, l.first+block*l.q()+k, v)
			}
		}
	}
	var solved, out mat.Dense
	if err := chol.SolveTo(&solved, rows.T()); err != nil {
		t.Fatal(err)
	}
	out.Mul(rows, &solved)
	sym := mat.NewSymDense(n, nil)
	for i := range n {
		for j := range i + 1 {
			sym.SetSym(i, j, out.At(i, j))
		}
	}
	return sym
}

// How much wider a prediction is said to become is what the inverses of the two
// matrices say.
func TestWideningIsThatOfTheEquationsWithoutTheSession(t *testing.T) {
	s := influenceShelf()
	x := settle(t, s)
	slots := usualSlots()
	for _, su := range []Setup{setup("horn 001", "piece 004", "moss-heron")} {
		in, err := x.m.influences(t.Context(), s, su, slots, catalog.NoCounter{}, 1e9)
		if err != nil {
			t.Fatal(err)
		}
		with := x.covariance(t, su, len(slots), "")
		for _, k := range []int{3, 7, 9} {
			got := in.List[k]
			without := x.covariance(t, su, len(slots), got.Session)
			for i := range slots {
				for j := range slots {
					want, have := without.At(i, j)-with.At(i, j), 0.0
					for _, w := range got.Widening {
						have += w[i] * w[j]
					}
					if math.Abs(have-want) > 0.005*math.Sqrt(without.At(i, i)*without.At(j, j)) {
						t.Fatalf("without %s the covariance of %s and %s grows by %.4f, said %.4f", got.Session, slots[i], slots[j], want, have)
					}
				}
			}
		}
	}
}

// In a catalog that is too large for its whole equations, those of the
// neighbourhood say nearly the same.
func TestInfluenceInANeighbourhood(t *testing.T) {
	w := simulate.Generate(simulate.Harder, simulate.Small, 2)
	s := worldShelf(w)
	m := s.fit(t, Options{})
	slots := usualSlots()
	var missed, all float64
	for _, pair := range w.HeldOut[simulate.Measured][:1] {
		su := Setup{Horn: w.HornID(pair.Horn), Mouthpiece: w.MouthpieceID(pair.Mouthpiece)}
		whole, err := m.influences(t.Context(), s, su, slots, catalog.NoCounter{}, 4000)
		if err != nil {
			t.Fatal(err)
		}
		near, err := m.influences(t.Context(), s, su, slots, catalog.NoCounter{}, 500)
		if err != nil {
			t.Fatal(err)
		}
		if !whole.Whole || near.Whole {
			t.Fatalf("whole is %v and %v; want true and false", whole.Whole, near.Whole)
		}
		for _, x := range near.List {
			at := slices.IndexFunc(whole.List, func(y Influence) bool { return y.Session == x.Session })
			for j := range slots {
				d := x.Shift[j] - whole.List[at].Shift[j]
				missed += d * d
				all += whole.List[at].Shift[j] * whole.List[at].Shift[j]
			}
		}
	}
	t.Logf("off by %.1f %% of what sessions move", 100*math.Sqrt(missed/all))
	if missed > 0.15*0.15*all {
		t.Errorf("the neighbourhood's answer is %.1f %% off the whole catalog's", 100*math.Sqrt(missed/all))
	}
}
