package match

import (
	"slices"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/tuning"
)

// Flags go before the player's wishes, those before the usual.
func TestWhoseWeightsCount(t *testing.T) {
	p := &catalog.Player{Label: "reed-otter", Weights: catalog.Weights{67: 2}}
	for name, c := range map[string]struct {
		given  Criteria
		player *catalog.Player
		from   string
		g4, a4 float64
	}{
		"nothing given":        {Criteria{}, nil, "even", 1, 1},
		"the player's":         {Criteria{}, p, "player reed-otter", 2, 0},
		"a register before it": {Criteria{Register: tuning.RegisterLow}, p, "low", 1, 1},
		"even before it":       {Criteria{Register: tuning.RegisterEven}, p, "even", 1, 1},
		"a file before all":    {Criteria{Register: tuning.RegisterLow, Weights: tuning.Weights{69: 5}, WeightsFrom: "file a.csv"}, p, "file a.csv", 0, 5},
		"without weights":      {Criteria{}, &catalog.Player{Label: "blue-kite"}, "even", 1, 1},
	} {
		got := c.given.For(c.player)
		w := got.weights(60, 72)
		if got.weighting() != c.from || w.Of(67) != c.g4 || w.Of(69) != c.a4 {
			t.Errorf("%s: by %q, G4 %g, A4 %g", name, got.weighting(), w.Of(67), w.Of(69))
		}
	}
}

func TestRangeJudged(t *testing.T) {
	d6 := tuning.Weights{86: 1, 60: 2, 52: 0}
	for name, c := range map[string]struct {
		given     Criteria
		kind      catalog.Instrument
		low, high string
	}{
		"a trumpet":                   {Criteria{}, catalog.Trumpet, "F#3", "C6"},
		"a cornet":                    {Criteria{}, catalog.Cornet, "F#3", "Bb5"},
		"a flugelhorn":                {Criteria{}, catalog.Flugelhorn, "F#3", "A5"},
		"a piccolo":                   {Criteria{}, catalog.Piccolo, "F#3", "A5"},
		"as far as weights reach":     {Criteria{Weights: d6}, catalog.Flugelhorn, "F#3", "D6"},
		"no farther than asked for":   {Criteria{Weights: d6, Low: 60, High: 72}, catalog.Trumpet, "C4", "C5"},
		"a bound on one side":         {Criteria{High: 72}, catalog.Piccolo, "F#3", "C5"},
		"registers leave it as it is": {Criteria{Register: tuning.RegisterHigh}, catalog.Cornet, "F#3", "Bb5"},
	} {
		low, high := c.given.For(nil).span(c.kind)
		if low.String() != c.low || high.String() != c.high {
			t.Errorf("%s: %s..%s, want %s..%s", name, low, high, c.low, c.high)
		}
	}
	own := &catalog.Player{RangeLow: 57, RangeHigh: 77}
	if low, high := (Criteria{Weights: d6}).For(own).span(catalog.Flugelhorn); low != 57 || high != 77 {
		t.Errorf("the player's own: %s..%s", low, high)
	}
	if low, high := (Criteria{Low: 60, High: 62}).For(own).span(catalog.Flugelhorn); low != 60 || high != 62 {
		t.Errorf("asked for before the player's: %s..%s", low, high)
	}
}

// Weights that can't be used are named: G6 lies outside the range asked for.
func TestWeightsInWords(t *testing.T) {
	e := &fakeEngine{}
	c := Criteria{Low: 60, High: 72, Weights: tuning.Weights{60: 1, 64: 6, 67: 3, 91: 10}, WeightsFrom: "file march.csv"}
	x := explain(t, e, Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2"), Player: nil}, c)
	text := strings.Join(x.Words, " ")
	for _, want := range []string{"by the weights of file march.csv: 3 of 13 count at all, most of all E4 (60 %), G4 (30 %) and C4 (10 %).", "although they have a weight: G6."} {
		if !strings.Contains(text, want) {
			t.Errorf("%q lacks %q", text, want)
		}
	}
	if x.Weighting != "file march.csv" || noteLine(t, x, "D4").Weight != 0 || noteLine(t, x, "E4").Weight != 6 {
		t.Errorf("weights %q, E4 %g", x.Weighting, noteLine(t, x, "E4").Weight)
	}
	x = explain(t, e, Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2"), Player: nil}, Criteria{Register: tuning.RegisterLow})
	if !slices.Contains(x.Words, "The low register counts 3 times as much as the others.") || x.Weighting != "low" {
		t.Errorf("weights %q, words %q", x.Weighting, x.Words)
	}
	c.Low, c.High = pitch.RangeLow, 58
	if _, err := Explain(e, Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2"), Player: nil}, c, false); catalog.KindOf(err) != catalog.Invalid || !strings.Contains(err.Error(), "no note in the range has a weight") {
		t.Errorf("error %v", err)
	}
}
