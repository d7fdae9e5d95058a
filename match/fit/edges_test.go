package fit

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// meanSD is the root mean square of the standard deviations.
func meanSD(p Prediction) float64 {
	sum := 0.0
	for _, v := range p.SD {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(p.SD)))
}

// wantSane checks that a prediction has finite numbers, shares that add up,
// draws as wide as it says, and no mean over the usual notes.
func wantSane(t *testing.T, m *Model, s Setup) Prediction {
	t.Helper()
	p := predict(t, m, s, usualSlots())
	if len(p.Draws) != m.Report.Draws || len(p.Draws) < 2 {
		t.Fatalf("%d draws, the report says %d", len(p.Draws), m.Report.Draws)
	}
	total := 0.0
	for j := range p.Slots {
		sum, spread := p.Common[j]+p.Horn[j]+p.Mouthpiece[j]+p.Player[j]+p.Pair[j], 0.0
		for _, d := range p.Draws {
			spread += (d[j] - p.Mean[j]) * (d[j] - p.Mean[j])
		}
		spread = math.Sqrt(spread / float64(len(p.Draws)))
		if !(math.Abs(sum-p.Mean[j]) < 1e-9) || !(math.Abs(spread-p.SD[j]) < 1e-9) {
			t.Fatalf("%+v, %s: shares add up to %v of %v, draws spread %v of %v", s, p.Slots[j], sum, p.Mean[j], spread, p.SD[j])
		}
		if !(math.Abs(p.Mean[j]) < 150) || !(p.SD[j] > 0.1 && p.SD[j] < 40) {
			t.Fatalf("%+v, %s: %v with a standard deviation of %v is not sane", s, p.Slots[j], p.Mean[j], p.SD[j])
		}
		total += p.Mean[j]
	}
	if math.Abs(total) > 1e-6 {
		t.Fatalf("%+v: the relative profile adds up to %v", s, total)
	}
	return p
}

func wantConverged(t *testing.T, m *Model) {
	t.Helper()
	if !m.Report.Converged || math.IsNaN(m.Report.Change) || m.Report.Steps < 1 {
		t.Errorf("the report does not say that the fit went well: %+v", m.Report)
	}
}

// With gear but no session there is only the prior, and it says so.
func TestNothingMeasured(t *testing.T) {
	for _, n := range []int{1, 30} { // solved exactly, and not
		s := newShelf(labels("horn", n), labels("mouthpiece", n), labels("player", n))
		m := s.fit(t, Options{Draws: 20})
		wantConverged(t, m)
		p := wantSane(t, m, setup("horn001", "mouthpiece001", "player001"))
		if p.Evidence != (Evidence{Basis: BasisPrior}) || p.Linked {
			t.Errorf("nothing was measured, yet the evidence is %+v, linked %v", p.Evidence, p.Linked)
		}
		if sd := meanSD(p); sd < 6 {
			t.Errorf("nothing was measured, yet the standard deviation is %.2f", sd)
		}
		if m.Report.Parts != 0 || m.Report.Sessions != 0 {
			t.Errorf("the report counts %d parts and %d sessions", m.Report.Parts, m.Report.Sessions)
		}
	}
	empty := newShelf(nil, nil, nil).fit(t, Options{Draws: 5})
	wantConverged(t, empty)
	wantSane(t, empty, Setup{})
}

// Dimensions of gear that nobody measured are no trouble.
func TestDescribedButNotMeasured(t *testing.T) {
	s := newShelf([]string{"Alder"}, []string{"Curlew"}, nil)
	for i := range 6 {
		s.addMouthpiece(catalog.Mouthpiece{Label: fmt.Sprintf("Plover %d", i), RimMM: 15.5 + 0.3*float64(i), ThroatMM: 3.5 + 0.05*float64(i*i%4)})
	}
	m := s.fit(t, Options{Draws: 20})
	if p := wantSane(t, m, setup("Alder", "Plover 2", "")); p.Evidence.Basis != BasisPrior {
		t.Errorf("a horn that nobody measured, and the basis is %q", p.Evidence.Basis)
	}
	if p := wantSane(t, m, setup("", "Plover 2", "")); p.Evidence.Basis != BasisDimensions {
		t.Errorf("a mouthpiece of which the dimensions are known rests on %q", p.Evidence.Basis)
	}
	if p := wantSane(t, m, setup("", "Curlew", "")); p.Evidence.Basis != BasisPrior {
		t.Errorf("a mouthpiece of which nothing is known rests on %q", p.Evidence.Basis)
	}
}

func TestOneSession(t *testing.T) {
	s := solo()
	s.addHorn(catalog.Horn{Label: "Rowan"})
	s.addMouthpiece(catalog.Mouthpiece{Label: "Dunlin 16.6"})
	m := s.fit(t, Options{Draws: 60})
	wantConverged(t, m)
	known, half, unknown := wantSane(t, m, setup("Alder", "Plover 16.2", "")), wantSane(t, m, setup("Alder", "Dunlin 16.6", "")), wantSane(t, m, setup("Rowan", "Dunlin 16.6", ""))
	if known.Evidence != (Evidence{Pair: 1, Horn: 1, Mouthpiece: 1, HornPlayers: 1, Basis: BasisMeasured}) || !known.Linked {
		t.Errorf("the measured pair rests on %+v, linked %v", known.Evidence, known.Linked)
	}
	if half.Evidence.Basis != BasisPrior || half.Linked || unknown.Linked {
		t.Errorf("a mouthpiece nobody measured rests on %+v, linked %v", half.Evidence, half.Linked)
	}
	if a, b, c := meanSD(known), meanSD(half), meanSD(unknown); !(a < b && b < c) || a < 2 {
		t.Errorf("standard deviations of %.2f measured, %.2f with another mouthpiece, %.2f with another horn too: want them to rise, from more than 2", a, b, c)
	}
}

// One note only, readings all equal, readings that can hardly be: sane answers.
func TestPoorReadings(t *testing.T) {
	slots := usualSlots()
	for name, cents := range map[string][]float64{"one note": {25}, "all equal": make([]float64, 31), "all at the limit": limits(31)} {
		s := newShelf([]string{"Alder"}, []string{"Dunlin 16.6", "Plover 16.2"}, []string{"reed-otter"})
		s.measure("Alder", "Plover 16.2", "reed-otter", slots[:len(cents)], func(j int) float64 { return cents[j] })
		m := s.fit(t, Options{Draws: 40})
		wantConverged(t, m)
		measured, other := wantSane(t, m, setup("Alder", "Plover 16.2", "")), wantSane(t, m, setup("Alder", "Dunlin 16.6", ""))
		most := 1.15 // one note says nothing of the relative profile; 40 draws scatter
		if name == "all equal" {
			most = 0.9
		}
		if meanSD(measured) > most*meanSD(other) {
			t.Errorf("%s: the measured pair is known to %.2f cents, another one to %.2f", name, meanSD(measured), meanSD(other))
		}
	}
}

func limits(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = []float64{catalog.MinCents, catalog.MaxCents}[i%2]
	}
	return out
}

// Two horns, three mouthpieces, one player: wide intervals, which shrink as
// sessions are added; the tool knows that horn and player can't be told apart.
func TestTwoHornsThreeMouthpieces(t *testing.T) {
	rng := seeded(7)
	slots := usualSlots()
	horns, mouthpieces := []string{"Alder", "Rowan"}, []string{"Dunlin 16.6", "Knot 16.4", "Plover 16.2"}
	s := newShelf(horns, mouthpieces, []string{"reed-otter"})
	of := map[string][]float64{}
	for _, label := range append(append([]string{}, horns...), mouthpieces...) {
		of[label] = randomProfile(rng, len(slots), 4)
	}
	play := func(horn, mouthpiece string) {
		s.measure(horn, mouthpiece, "reed-otter", slots, func(j int) float64 { return of[horn][j] + of[mouthpiece][j] + 3*rng.NormFloat64() })
	}
	for _, m := range mouthpieces {
		play("Alder", m)
	}
	play("Rowan", "Plover 16.2")
	target := setup("Rowan", "Dunlin 16.6", "")
	first := wantSane(t, s.fit(t, Options{Draws: 150}), target)
	if first.Evidence != (Evidence{Horn: 1, Mouthpiece: 1, HornPlayers: 1, Basis: BasisMeasured}) || !first.Linked {
		t.Errorf("evidence %+v, linked %v", first.Evidence, first.Linked)
	}
	if sd := meanSD(first); sd < 2.5 || sd > 12 {
		t.Errorf("four sessions by one player: a standard deviation of %.2f", sd)
	}
	for range 3 {
		play("Rowan", "Plover 16.2")
		play("Alder", "Dunlin 16.6")
	}
	second := wantSane(t, s.fit(t, Options{Draws: 150}), target)
	play("Rowan", "Dunlin 16.6")
	play("Rowan", "Dunlin 16.6")
	third := wantSane(t, s.fit(t, Options{Draws: 150}), target)
	if a, b, c := meanSD(first), meanSD(second), meanSD(third); !(a > b && b > c) {
		t.Errorf("standard deviations of %.2f, %.2f with more sessions, %.2f once it was measured: want them to fall", a, b, c)
	}
	if third.Evidence.Pair != 2 || third.Evidence.HornPlayers != 1 {
		t.Errorf("evidence %+v", third.Evidence)
	}
}

// A horn that one player alone has played is less known than one that several
// have, with as many readings: it can't be told from the player.
func TestHornOfOnePlayer(t *testing.T) {
	slots := usualSlots()
	s := newShelf([]string{"Alder", "Rowan"}, []string{"Plover 16.2"}, labels("player", 4))
	rng := seeded(3)
	for i := range 4 {
		s.measure("Alder", "Plover 16.2", labels("player", 4)[i], slots, func(int) float64 { return 4 * rng.NormFloat64() })
		s.measure("Rowan", "Plover 16.2", "player001", slots, func(int) float64 { return 4 * rng.NormFloat64() })
	}
	d := s.load(t)
	e := newEngine(d, DefaultComponents(len(d.Sources)), 1, false)
	m := solved(t, e, plan{draws: 300}, true)
	many, one := wantSane(t, m, setup("Alder", "Plover 16.2", "")), wantSane(t, m, setup("Rowan", "Plover 16.2", ""))
	if many.Evidence.HornPlayers != 4 || one.Evidence.HornPlayers != 1 || one.Evidence.Horn != 4 {
		t.Errorf("evidence %+v and %+v; want 4 players and 1", many.Evidence, one.Evidence)
	}
	if a, b := meanSD(many), meanSD(one); b < 1.05*a {
		t.Errorf("known to %.2f cents by one player, to %.2f by four", b, a)
	}
}

// Sessions without a player come from a bench, whose resonances lie beside played
// notes along the range. They count for horn and mouthpiece, what they have in
// common is laid to the bench, and nobody's evidence as a player grows.
func TestBenchSessions(t *testing.T) {
	slots := usualSlots()
	trend := func(j int) float64 { return 30 * float64(j-15) / 15 } // of the bench, cents
	quirk := func(j int) float64 { return 12 * float64(j%3-1) }     // of Rowan, cents
	s := newShelf([]string{"Alder", "Rowan", "Hazel"}, []string{"Plover 16.2"}, []string{"reed-otter"})
	for range 2 {
		s.measure("Alder", "Plover 16.2", "reed-otter", slots, func(int) float64 { return 0 })
		s.measure("Hazel", "Plover 16.2", "reed-otter", slots, func(int) float64 { return 0 })
	}
	for _, horn := range []string{"Alder", "Rowan", "Hazel", "Rowan", "Alder", "Rowan"} {
		m := s.measure(horn, "Plover 16.2", "", slots, func(j int) float64 {
			if horn == "Rowan" {
				return trend(j) + quirk(j)
			}
			return trend(j)
		})
		m.Player, m.Method = "", catalog.MethodImpedance
	}
	d := s.load(t)
	e := newEngine(d, DefaultComponents(len(d.Sources)), 1, false)
	m := solved(t, e, plan{draws: 100}, true)
	alder, rowan := wantSane(t, m, setup("Alder", "Plover 16.2", "reed-otter")), wantSane(t, m, setup("Rowan", "Plover 16.2", "reed-otter"))
	if !rowan.Linked || rowan.Evidence.Horn != 3 || rowan.Evidence.Player != 4 || alder.Evidence.HornPlayers != 2 {
		t.Errorf("evidence %+v of Rowan, %+v of Alder; want 3 sessions, 4 of the player, 2 players", rowan.Evidence, alder.Evidence)
	}
	// Rowan's own quirk is seen, the bench's trend of 60 cents mostly is not.
	end := rowan.Mean[30] - rowan.Mean[0]
	if own := (rowan.Mean[14] + rowan.Mean[17] - rowan.Mean[12] - rowan.Mean[15]) / 4; own < 3 || math.Abs(end) > 30 {
		t.Errorf("Rowan's quirk is %.1f of 12 cents, the trend laid to it %.1f of 60", own, end)
	}
	without := wantSane(t, m, setup("Rowan", "Plover 16.2", ""))
	if without.Evidence.Player != 0 {
		t.Errorf("a typical player has %+v", without.Evidence)
	}
}

// Parts of the catalog that nothing connects are told; a design in both, or a
// session across, connects them.
func TestIslands(t *testing.T) {
	slots := usualSlots()[5:9]
	s := newShelf(nil, nil, labels("player", 2))
	s.addHorn(catalog.Horn{Label: "Alder", Model: "Heron"})
	s.addHorn(catalog.Horn{Label: "Hazel"})
	s.addHorn(catalog.Horn{Label: "Rowan"})
	for _, label := range []string{"Dunlin 16.6", "Knot 16.4", "Plover 16.2"} {
		s.addMouthpiece(catalog.Mouthpiece{Label: label})
	}
	s.measure("Alder", "Plover 16.2", "player001", slots, func(int) float64 { return 1 })
	s.measure("Alder", "Knot 16.4", "player001", slots, func(int) float64 { return 1 })
	s.measure("Rowan", "Dunlin 16.6", "player002", slots, func(int) float64 { return 2 })
	check := func(what string, parts int, linked map[string]bool) {
		t.Helper()
		d := s.load(t)
		m := solved(t, newEngine(d, DefaultComponents(len(d.Sources)), 1, false), plan{draws: 2}, true)
		if m.Report.Parts != parts {
			t.Errorf("%s: %d parts, want %d", what, m.Report.Parts, parts)
		}
		for pair, want := range linked {
			horn, mouthpiece, _ := strings.Cut(pair, "+")
			if p := predict(t, m, setup(horn, mouthpiece, ""), slots); p.Linked != want {
				t.Errorf("%s: %s linked %v, want %v", what, pair, p.Linked, want)
			}
		}
	}
	check("two islands", 2, map[string]bool{"Alder+Plover 16.2": true, "Alder+Knot 16.4": true, "Rowan+Dunlin 16.6": true,
		"Alder+Dunlin 16.6": false, "Rowan+Plover 16.2": false, "Hazel+Plover 16.2": false, "Hazel+Dunlin 16.6": false})
	s.addHorn(catalog.Horn{Label: "Willow", Model: "Heron"})
	check("a copy that nobody measured", 2, map[string]bool{"Willow+Plover 16.2": true, "Willow+Dunlin 16.6": false})
	s.measure("Willow", "Dunlin 16.6", "player002", slots, func(int) float64 { return 3 })
	check("a copy measured on the other island", 1, map[string]bool{"Alder+Dunlin 16.6": true, "Rowan+Plover 16.2": true, "Hazel+Plover 16.2": false})
	s.measure("Hazel", "Plover 16.2", "player001", slots, func(int) float64 { return 3 })
	check("a session more", 1, map[string]bool{"Hazel+Dunlin 16.6": true})
}

// Copies of a design share what is known: a copy nobody measured is better
// known than a stranger, less well than a measured one.
func TestCopiesOfADesign(t *testing.T) {
	rng := seeded(19)
	s := newShelf(nil, []string{"Plover 16.2"}, []string{"blue-kite", "reed-otter"})
	for _, label := range []string{"Alder", "Aspen", "Birch"} {
		s.addHorn(catalog.Horn{Label: label, Maker: "Tidewright", Model: "Heron"})
	}
	s.addHorn(catalog.Horn{Label: "Rowan", Maker: "Northlamp", Model: "Bittern"})
	for i := range 6 {
		s.measure([]string{"Alder", "Aspen"}[i%2], "Plover 16.2", s.players[i/3].Label, usualSlots(), func(int) float64 { return 4 * rng.NormFloat64() })
	}
	d := s.load(t)
	m := solved(t, newEngine(d, DefaultComponents(len(d.Sources)), 1, false), plan{draws: 400}, true)
	measured, copied, stranger := wantSane(t, m, setup("Alder", "Plover 16.2", "")), wantSane(t, m, setup("Birch", "Plover 16.2", "")), wantSane(t, m, setup("Rowan", "Plover 16.2", ""))
	if measured.Evidence.Basis != BasisMeasured || copied.Evidence.Basis != BasisDesign || stranger.Evidence.Basis != BasisPrior {
		t.Errorf("bases %q, %q, %q", measured.Evidence.Basis, copied.Evidence.Basis, stranger.Evidence.Basis)
	}
	if measured.Evidence.HornDesign != 3 || copied.Evidence.HornDesign != 6 || stranger.Evidence.HornDesign != 0 {
		t.Errorf("sessions with other copies: %d, %d, %d; want 3, 6, 0", measured.Evidence.HornDesign, copied.Evidence.HornDesign, stranger.Evidence.HornDesign)
	}
	if a, b, c := meanSD(measured), meanSD(copied), meanSD(stranger); !(1.1*a < b && 1.1*b < c) {
		t.Errorf("a measured copy is known to %.2f cents, another to %.2f, a stranger to %.2f", a, b, c)
	}
}

// Trumpets in B flat and C, a piccolo with four valves, an alternate fingering:
// all are fitted together, and each answers on the slots it has.
func TestKeysValvesAndAlternates(t *testing.T) {
	rng := seeded(23)
	s := newShelf(nil, []string{"Dunlin 16.6", "Plover 16.2"}, []string{"reed-otter"})
	s.addHorn(catalog.Horn{Label: "Alder"})
	s.addHorn(catalog.Horn{Label: "Hazel", Key: pitch.KeyC})
	s.addHorn(catalog.Horn{Label: "Wren", Instrument: catalog.Piccolo})
	alternate := slot(t, "3/5")
	fourth := pitch.UsualSlots(pitch.RangeLow-3, pitch.RangeLow+4, 4)
	noise := func(int) float64 { return 4 * rng.NormFloat64() }
	s.measure("Alder", "Plover 16.2", "reed-otter", append(usualSlots(), alternate), noise)
	s.measure("Hazel", "Plover 16.2", "reed-otter", usualSlots(), noise)
	s.measure("Wren", "Dunlin 16.6", "reed-otter", fourth, noise)
	d := s.load(t)
	m := solved(t, newEngine(d, DefaultComponents(len(d.Sources)), 1, true), plan{draws: 40, tolerance: 1e-8, drawTolerance: 1e-6, limit: 1000}, true)
	wantConverged(t, &Model{Report: Report{Converged: m.Report.Converged, Steps: 1}})
	for _, horn := range []string{"Alder", "Hazel", "Wren"} {
		for _, mouthpiece := range []string{"Dunlin 16.6", "Plover 16.2"} {
			wantSane(t, m, setup(horn, mouthpiece, "reed-otter"))
			p := predict(t, m, setup(horn, mouthpiece, ""), append([]pitch.Slot{alternate}, fourth...))
			for j, v := range p.Mean {
				if math.IsNaN(v) || !(p.SD[j] > 0.5) {
					t.Errorf("%s with %s on %s: %v, standard deviation %v", horn, mouthpiece, p.Slots[j], v, p.SD[j])
				}
			}
		}
	}
	// The same mouthpiece on a shorter instrument sounds higher notes, on a shorter tube.
	bFlat, c := predict(t, m, setup("Alder", "Plover 16.2", ""), usualSlots()), predict(t, m, setup("Hazel", "Plover 16.2", ""), usualSlots())
	if centredDistance(usualSlots(), bFlat.Mouthpiece, c.Mouthpiece) == 0 {
		t.Error("a mouthpiece has the same share on instruments of two lengths")
	}
}

func slot(t testing.TB, text string) pitch.Slot {
	t.Helper()
	s, err := pitch.ParseSlot(text)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// What the fit does not know is NotFound, by name, and never a crash.
func TestUnknownIDsAndSlots(t *testing.T) {
	m := solo().fit(t, Options{Draws: 3})
	known := setup("Alder", "Plover 16.2", "reed-otter")
	for _, s := range []Setup{{Horn: "nobody's"}, {Horn: known.Horn, Mouthpiece: "nobody's"}, {Player: "nobody's"}, {Horn: known.Mouthpiece}} {
		if _, err := m.PredictMany([]Setup{known, s}, usualSlots()); catalog.KindOf(err) != catalog.NotFound {
			t.Errorf("%+v gives %v, want not found", s, err)
		}
	}
	for _, text := range []string{"3/5", "4/2", "0/12", "0/1"} {
		unknown := slot(t, text)
		_, err := m.Predict(known, []pitch.Slot{usualSlots()[0], unknown})
		if catalog.KindOf(err) != catalog.NotFound || !strings.Contains(fmt.Sprint(err), text) {
			t.Errorf("slot %s gives %v, want not found by name", text, err)
		}
	}
	for _, impossible := range []pitch.Slot{{Partial: 0}, {Partial: -1}, {Partial: 13}, {Valves: 16, Partial: 3}} {
		if _, err := m.Predict(known, []pitch.Slot{impossible}); catalog.KindOf(err) != catalog.NotFound {
			t.Errorf("slot %+v gives %v, want not found", impossible, err)
		}
	}
	if p, err := m.PredictMany(nil, usualSlots()); err != nil || len(p) != 0 {
		t.Errorf("no setups give %v, %v", p, err)
	}
	if p, err := m.Predict(known, nil); err != nil || len(p.Mean) != 0 {
		t.Errorf("no slots give %v, %v", p, err)
	}
}

// The order of setups and of slots is the caller's; a setup's answer does not
// depend on what else is asked.
func TestAnswersStandAlone(t *testing.T) {
	s := mixedShelf(4, 5, 3, 10, 2)
	m := solved(t, newEngine(s.load(t), testComponents(23), 1, false), plan{draws: 5, tolerance: 1e-6, drawTolerance: 1e-6, limit: 500}, true)
	setups := someSetups(s)
	all, err := m.PredictMany(setups, usualSlots())
	if err != nil {
		t.Fatal(err)
	}
	slots := usualSlots()
	for i, x := range setups {
		alone := predict(t, m, x, slots)
		wantSame(t, "alone", append([][]float64{alone.Mean, alone.SD}, alone.Draws...), append([][]float64{all[i].Mean, all[i].SD}, all[i].Draws...))
		one := predict(t, m, x, []pitch.Slot{slots[30], slots[4], slots[4]})
		for k, j := range []int{30, 4, 4} {
			if one.Mean[k] != all[i].Mean[j] || one.SD[k] != all[i].SD[j] || one.Draws[3][k] != all[i].Draws[3][j] {
				t.Errorf("setup %d: asked for alone, %s is %v, else %v", i, slots[j], one.Mean[k], all[i].Mean[j])
			}
		}
		if all[i].Setup != x {
			t.Errorf("answer %d is for %+v", i, all[i].Setup)
		}
	}
}
