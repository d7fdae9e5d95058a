package match

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

func explain(t *testing.T, e Engine, o Of, c Criteria) *Explanation {
	t.Helper()
	x, err := Explain(e, o, c, false)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func noteLine(t *testing.T, x *Explanation, note string) NoteLine {
	t.Helper()
	for _, n := range x.Notes {
		if n.Note == note {
			return n
		}
	}
	t.Fatalf("no line for %s", note)
	return NoteLine{}
}

// Alder leaves G4 6 sharp and G5 6 flat; what all horns share adds 1 and -1,
// Plover -9 and +9, the pair 2 and -2, the player 4 and -4. Sums 4, 0, -4.
func TestExplainShares(t *testing.T) {
	ends := func(x float64) vector { return byNote(map[string]float64{"G4": x, "G5": -x}) }
	player := catalog.Player{ID: "p", Label: "blue-kite", ToleranceCents: 4}
	e := &fakeEngine{
		common: ends(1),
		items:  map[catalog.ID]vector{"alder": ends(6), "Plover 16.2": ends(-9), "p": ends(4)},
		pair:   map[fit.Setup]vector{{Horn: "alder", Mouthpiece: "Plover 16.2"}: ends(2)},
		sd:     2,
	}
	x := explain(t, e, Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2"), Player: &player}, threeOpen())
	n := noteLine(t, x, "G4")
	for what, c := range map[string][2]float64{
		"common": {n.Common, 1}, "horn": {n.Horn, 7}, "mouthpiece": {n.Mouthpiece, -9}, "player": {n.Player, 4},
		"pair": {n.Pair, 2}, "sum": {n.Cents, 4}, "sd": {n.SD, 2}, "left": {n.Left, 4}, "slide": {n.Slide, 0},
		"low": {n.Low, 4 - 2*1.2815516}, "high": {n.High, 4 + 2*1.2815516},
	} {
		near(t, what, c[0], c[1], 1e-6)
	}
	if n.Concert != "F4" || n.Valves != "0" || n.Partial != 3 {
		t.Errorf("G4 sounds %s, is played %s/%d", n.Concert, n.Valves, n.Partial)
	}
	near(t, "error", x.ErrorCents, math.Sqrt(32/3.), 1e-9)
	if x.Player != "blue-kite" || x.ToleranceCents != 4 || x.ChanceTolerable != 1 || x.Temperament != "equal" {
		t.Errorf("player %q, tolerance %g, chance %g, temperament %q", x.Player, x.ToleranceCents, x.ChanceTolerable, x.Temperament)
	}
	// With a typical mouthpiece, and so without the pair's own: 11, 0, -11.
	if len(x.Cures) != 2 || len(x.Spoils) != 0 {
		t.Fatalf("cures %v, spoils %v", x.Cures, x.Spoils)
	}
	near(t, "G4 with a typical mouthpiece", x.Cures[0].Typical, 11, 1e-9)
	near(t, "gain", x.Cures[0].Gain, 7, 1e-9)
	if want := "Plover 16.2 cures G4 (11 sharp with a typical mouthpiece, 4 sharp with this one) and G5 (11 flat with a typical mouthpiece, 4 flat with this one)."; !slices.Contains(x.Words, want) {
		t.Errorf("words %q lack %q", x.Words, want)
	}
}

func TestExplainAddsUp(t *testing.T) {
	e, hs, ms := manyPairs(2, 2, 12)
	e.sd = 3
	just, err := pitch.Just("F")
	if err != nil {
		t.Fatal(err)
	}
	hs[1].Throw1MM, hs[1].Throw3MM = 12, 18
	x := explain(t, e, Of{Horn: hs[1], Mouthpiece: ms[1], Player: nil}, Criteria{Temperament: just})
	if len(x.Notes) != 31 {
		t.Fatalf("%d notes", len(x.Notes))
	}
	thrown := 0.0
	for _, n := range x.Notes {
		near(t, n.Note+" shares", n.Horn+n.Mouthpiece+n.Player+n.Pair, n.Cents, 1e-9)
		near(t, n.Note+" left", n.Cents-n.Target-n.Slide-n.Throw, n.Left, 1e-9)
		thrown += n.Throw
	}
	if thrown == 0 {
		t.Error("no throw is used")
	}
	near(t, "slide in mm", pitch.LengthModel{OpenMM: 1480}.PulledCents(0, x.SlideMM), -x.SlideCents, 1e-9)
}

// A change within its own uncertainty is not named: Plover gains 6 on G4 in the
// first world and loses 2 in the second, while G5's gain is there in both.
func TestExplainNamesOnlyClearChanges(t *testing.T) {
	e, q := twoWorlds()
	e.worlds["Plover 16.2"][1] = byNote(map[string]float64{"G4": 8})
	e.items["alder"] = byNote(map[string]float64{"G4": 6, "G5": -6, "C5": 0})
	c := Criteria{Low: 67, High: 79, Weights: q.Criteria.Weights}
	// The weight on C5 holds the slide, so that the notes are judged apart.
	c.Weights = map[pitch.Note]float64{67: 1, 72: 1000, 79: 1}
	x := explain(t, e, Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2"), Player: nil}, c)
	if len(x.Cures) != 1 || x.Cures[0].Note != "G5" || len(x.Spoils) != 0 {
		t.Errorf("cures %v, spoils %v", x.Cures, x.Spoils)
	}
	y := explain(t, e, Of{Horn: alder(), Mouthpiece: mouthpiece("Dunlin 16.6"), Player: nil}, c)
	if len(y.Cures) != 0 || len(y.Spoils) != 2 || y.Spoils[0].Gain > -2.9 {
		t.Errorf("Dunlin cures %v, spoils %v", y.Cures, y.Spoils)
	}
	e.items["Dunlin 16.6"] = nought
	z := explain(t, e, Of{Horn: alder(), Mouthpiece: mouthpiece("Dunlin 16.6"), Player: nil}, c)
	if !slices.ContainsFunc(z.Words, func(s string) bool { return strings.Contains(s, "changes no note") }) {
		t.Errorf("words %q", z.Words)
	}
}

func TestExplainSaysWhatItRestsOn(t *testing.T) {
	for name, c := range map[string]struct {
		evidence fit.Evidence
		unlinked bool
		want     []string
	}{
		"measured together": {fit.Evidence{Pair: 2, Horn: 4, Mouthpiece: 3, HornPlayers: 2, Basis: fit.BasisMeasured}, false,
			[]string{"This very setup was measured in 2 sessions."}},
		"never together": {fit.Evidence{Horn: 1, Mouthpiece: 3, HornPlayers: 1, Basis: fit.BasisMeasured}, true,
			[]string{"predicted from 1 session with the horn and 3 sessions with the mouthpiece", "No chain of sessions links", "Only one player"}},
		"design": {fit.Evidence{Horn: 1, HornPlayers: 2, MouthpieceDesign: 2, Basis: fit.BasisDesign}, false,
			[]string{"no session with the mouthpiece", "judged by others of its design"}},
		"dimensions": {fit.Evidence{Basis: fit.BasisDimensions}, false, []string{"judged by its dimensions alone"}},
		"nothing":    {fit.Evidence{Basis: fit.BasisPrior}, false, []string{"nothing is known"}},
	} {
		e, _ := twoWorlds()
		e.evidence = func(fit.Setup) fit.Evidence { return c.evidence }
		e.unlinked = map[catalog.ID]bool{"alder": c.unlinked}
		x := explain(t, e, Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2"), Player: nil}, threeOpen())
		text := strings.Join(x.Words, " ")
		for _, want := range c.want {
			if !strings.Contains(text, want) {
				t.Errorf("%s: %q lacks %q", name, text, want)
			}
		}
		if x.Linked == c.unlinked {
			t.Errorf("%s: linked is %v", name, x.Linked)
		}
	}
}

func TestExplainAtTheStop(t *testing.T) {
	e := &fakeEngine{items: map[catalog.ID]vector{"alder": func(pitch.Slot) float64 { return 90 }}}
	x := explain(t, e, Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2"), Player: nil}, threeOpen())
	if !x.SlideStop || !slices.ContainsFunc(x.Words, func(s string) bool { return strings.Contains(s, "end of its travel") }) {
		t.Errorf("at the stop %v, words %q", x.SlideStop, x.Words)
	}
}

func TestExplainErrors(t *testing.T) {
	e, _ := twoWorlds()
	cornet := mouthpiece("Dunlin 16.6")
	cornet.Shank = catalog.ShankCornet
	o := Of{Horn: alder(), Mouthpiece: cornet, Player: nil}
	if _, err := Explain(e, o, Criteria{}, false); catalog.KindOf(err) != catalog.Invalid || !strings.Contains(err.Error(), "adapter") {
		t.Errorf("a cornet shank: %v", err)
	}
	x, err := Explain(e, o, Criteria{}, true)
	if err != nil || !x.Adapter {
		t.Errorf("with an adapter: %v", err)
	}
	e.fail = errors.New("no fit")
	if _, err := Explain(e, o, Criteria{}, true); !errors.Is(err, e.fail) {
		t.Errorf("a failing engine: %v", err)
	}
}

func TestCriteriaFollowThePlayer(t *testing.T) {
	p := &catalog.Player{RangeLow: 60, RangeHigh: 79, ToleranceCents: 6}
	if c := (Criteria{}).For(p); c.Low != 60 || c.High != 79 || c.ToleranceCents != 6 {
		t.Errorf("%+v", c)
	}
	if c := (Criteria{Low: 62, ToleranceCents: 3}).For(p); c.Low != 62 || c.High != 79 || c.ToleranceCents != 3 {
		t.Errorf("%+v", c)
	}
	if c := (Criteria{}).For(nil); c.Low != 0 || c.High != 0 || c.Weights != nil || c.ToleranceCents != DefaultToleranceCents {
		t.Errorf("%+v", c)
	}
}

// shortEngine breaks the contract.
type shortEngine struct{ *fakeEngine }

func (e shortEngine) PredictMany(s []fit.Setup, slots []pitch.Slot) ([]fit.Prediction, error) {
	out, err := e.fakeEngine.PredictMany(s, slots)
	out[len(out)-1].Draws = out[len(out)-1].Draws[:1]
	return out, err
}

func TestAnEngineThatBreaksItsContractIsAnError(t *testing.T) {
	e, q := twoWorlds()
	if _, err := Rank(t.Context(), shortEngine{e}, q); err == nil || !strings.Contains(err.Error(), "1 draws instead of 2") {
		t.Errorf("%v", err)
	}
}

func TestPairs(t *testing.T) {
	e, _ := twoWorlds()
	e.sd = 1.5
	e.unlinked = map[catalog.ID]bool{"Dunlin 16.6": true}
	e.pair = map[fit.Setup]vector{{Horn: "alder", Mouthpiece: "Plover 16.2"}: byNote(map[string]float64{"G4": 0.25})}
	e.items["p"] = byNote(map[string]float64{"G4": 8})
	slots := []pitch.Slot{{Partial: 3}, {Valves: 5, Partial: 3}}
	rows := []PairRow{
		{"Alder", "Plover 16.2", fit.Setup{Horn: "alder", Mouthpiece: "Plover 16.2", Player: "p"}},
		{"Alder", "Dunlin 16.6", fit.Setup{Horn: "alder", Mouthpiece: "Dunlin 16.6"}},
	}
	var got []PairCents
	for line, err := range Pairs(e, rows, slots) {
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, line)
	}
	want := []PairCents{
		{"Alder", "Plover 16.2", "0", 3, 8.25, 1.5, true}, {"Alder", "Plover 16.2", "13", 3, 0, 1.5, true},
		{"Alder", "Dunlin 16.6", "0", 3, 9, 1.5, false}, {"Alder", "Dunlin 16.6", "13", 3, 0, 1.5, false},
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestPairsInBatches(t *testing.T) {
	e, _ := twoWorlds()
	rows := make([]PairRow, 2*batchSize+3)
	for i := range rows {
		rows[i].Setup = fit.Setup{Horn: "alder", Mouthpiece: "Plover 16.2"}
	}
	n := 0
	for range Pairs(e, rows, fit.StandardSlots()) {
		n++
	}
	if want := 45 * len(rows); n != want {
		t.Errorf("%d lines, want %d", n, want)
	}
	for range Pairs(e, rows, fit.StandardSlots()) {
		break // must not go on
	}
	e.fail = errors.New("no fit")
	for _, err := range Pairs(e, rows, fit.StandardSlots()) {
		if !errors.Is(err, e.fail) {
			t.Errorf("a failing engine: %v", err)
		}
	}
}
