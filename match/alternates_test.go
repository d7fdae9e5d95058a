package match

import (
	"math"
	"slices"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// bySlot is a profile given for some slots, nought on all others.
func bySlot(values map[string]float64) vector {
	at := map[pitch.Slot]float64{}
	for text, v := range values {
		s, err := pitch.ParseSlot(text)
		if err != nil {
			panic(err)
		}
		at[s] = v
	}
	return func(s pitch.Slot) float64 { return at[s] }
}

// manyOpen judges E5 among notes that hold the slide at nought: G4 and G5 have a
// weight a thousand times its own.
func manyOpen() Criteria {
	return Criteria{Low: 67, High: 79, Weights: map[pitch.Note]float64{67: 1000, 79: 1000, 76: 1}}
}

// By hand: E5 open is 14 flat, on 12 (partial 6) 4 flat, on 3 (partial 6) 9 flat,
// on 123 (partial 7) 30 flat; the slide stays where it is, since G4 and G5 hold
// it. 12 is better by 10.
func TestAlternateByHand(t *testing.T) {
	e := &fakeEngine{items: map[catalog.ID]vector{"alder": bySlot(map[string]float64{"0/5": -14, "12/6": -4, "3/6": -9, "123/7": -30})}}
	c := manyOpen()
	x := explain(t, e, Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2")}, c)
	if len(x.Alternates) != 1 || len(x.NoAlternate) != 0 {
		t.Fatalf("alternates %+v, none for %v", x.Alternates, x.NoAlternate)
	}
	a := x.Alternates[0]
	if a.Note != "E5" || a.InsteadOf != "0" || a.Valves != "12" || a.Partial != 6 {
		t.Errorf("%+v", a)
	}
	near(t, "left", a.Left, -4, 0.02)
	near(t, "gain", a.Gain, 10, 0.02)
	if a.Low != a.Gain || a.High != a.Gain || !a.Sure() {
		t.Errorf("without draws %+v", a)
	}
	if want := "Fingering: E5 is left 14 flat on 0; on 12 it should be 4 flat, better by 10 (80 % chance of 10 to 10)."; !slices.Contains(x.Words, want) {
		t.Errorf("words %q", x.Words)
	}

	// Within the tolerance nobody asks; with no better one that is said.
	c.ToleranceCents = 15
	if x := explain(t, e, Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2")}, c); len(x.Alternates)+len(x.NoAlternate) != 0 {
		t.Errorf("within the tolerance: %+v, %v", x.Alternates, x.NoAlternate)
	}
	c.ToleranceCents = 0
	e.items["alder"] = bySlot(map[string]float64{"0/5": -14, "12/6": -13.5, "3/6": 14, "123/7": -30})
	x = explain(t, e, Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2")}, c)
	if len(x.Alternates) != 0 || !slices.Equal(x.NoAlternate, []string{"E5"}) || !strings.Contains(strings.Join(x.Words, " "), "for E5, left more than 10 cents out, no other one should be better") {
		t.Errorf("%+v, none for %v, words %q", x.Alternates, x.NoAlternate, x.Words)
	}
}

// Throws count for the other fingering too: E5 on 3 is 12 sharp, and the third
// slide of 20 mm takes all of it.
func TestAlternateWithThrow(t *testing.T) {
	e := &fakeEngine{items: map[catalog.ID]vector{"alder": bySlot(map[string]float64{"0/5": -14, "12/6": -13, "3/6": 12, "123/7": -30})}}
	h := alder()
	h.Throw3MM = 20
	x := explain(t, e, Of{Horn: h, Mouthpiece: mouthpiece("Plover 16.2")}, manyOpen())
	if len(x.Alternates) != 1 || x.Alternates[0].Valves != "3" || math.Abs(x.Alternates[0].Left) > 0.02 {
		t.Errorf("%+v", x.Alternates)
	}
	c := manyOpen()
	c.NoThrows = true
	x = explain(t, e, Of{Horn: h, Mouthpiece: mouthpiece("Plover 16.2")}, c)
	if len(x.Alternates) != 1 || x.Alternates[0].Valves != "3" || math.Abs(x.Alternates[0].Left-12) > 0.02 {
		t.Errorf("without throws %+v", x.Alternates)
	}
}

// The interval is that of the paired difference. In both worlds open E5 and 12
// are off by the same 8 more, so that the gain is sure though neither is known;
// where only 12 moves, it is not.
func TestAlternateIntervalIsPaired(t *testing.T) {
	base := map[string]float64{"0/5": -24, "12/6": -14, "3/6": -60, "123/7": -60}
	e := &fakeEngine{items: map[catalog.ID]vector{"alder": bySlot(base)}, draws: 2, worlds: map[catalog.ID][]vector{
		"alder": {bySlot(map[string]float64{"0/5": 8, "12/6": 8}), bySlot(map[string]float64{"0/5": -8, "12/6": -8})}}}
	x := explain(t, e, Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2")}, manyOpen())
	if len(x.Alternates) != 1 {
		t.Fatalf("%+v", x.Alternates)
	}
	near(t, "gain", x.Alternates[0].Gain, 10, 0.05)
	near(t, "its width", x.Alternates[0].High-x.Alternates[0].Low, 0, 0.05)
	// 12 alone moves by 16 either way: it is left +2 or -30, so the gain is 22 or -6.
	e.worlds["alder"] = []vector{bySlot(map[string]float64{"12/6": 16}), bySlot(map[string]float64{"12/6": -16})}
	a := explain(t, e, Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2")}, manyOpen()).Alternates[0]
	near(t, "gain", a.Gain, 8, 0.05)
	near(t, "low", a.Low, -6+0.1*28, 0.05)
	near(t, "high", a.High, 22-0.1*28, 0.05)
	if a.Sure() != (a.Low > 0) || a.Sure() {
		t.Errorf("sure of %+v", a)
	}
}

// Only fingerings that the engine answers for are looked at, notes without
// weight are not, and the support does not depend on them.
func TestAlternatesOnlyWhereThereAreAnswers(t *testing.T) {
	e := &fakeEngine{items: map[catalog.ID]vector{"alder": bySlot(map[string]float64{"0/5": -14, "1/6": 13})}}
	some := someEngine{e, slices.DeleteFunc(fit.StandardSlots(), func(s pitch.Slot) bool { return s.String() == "12/6" })}
	c := manyOpen()
	x := explain(t, some, Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2")}, c)
	if len(x.Alternates) != 0 || !slices.Equal(x.NoAlternate, []string{"E5"}) {
		t.Errorf("%+v, none for %v", x.Alternates, x.NoAlternate)
	}
	r := rank(t, e, Question{FromHorn: &[]catalog.Horn{alder()}[0], Mouthpieces: []catalog.Mouthpiece{mouthpiece("Plover 16.2")}, Criteria: c})
	y := explain(t, e, Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2")}, c)
	near(t, "support", *y.Support, *r.Pairings[0].Support, 1e-12)
}
