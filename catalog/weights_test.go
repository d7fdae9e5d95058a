package catalog_test

import (
	"math"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

func TestWeightsAsText(t *testing.T) {
	for text, want := range map[string]string{
		"":                              "",
		" D4=3\tC4=12.5 ":               "C4=12.5 D4=3",
		"Gb3=1 B#3=2 Cb5=0.5 B♭4=1e2":   "F#3=1 C4=2 Bb4=100 B4=0.5",
		"C4=0 G6=1000000000 C#3=1.5e-6": "C#3=0.0000015 C4=0 G6=1000000000",
		"C4=-0 D4=1":                    "C4=0 D4=1",
	} {
		w, err := catalog.ParseWeights(text)
		if err != nil || w.String() != want || (w == nil) != (want == "") {
			t.Errorf("%q is %q, error %v, want %q", text, w, err, want)
		}
	}
	for text, word := range map[string]string{
		"C4": "C4=12.5", "C4=": "decimal point", "=3": "not a note", "H4=3": "not a note", "C4=NaN": "decimal point", "C4=inf": "decimal point",
		"C4=12,5": "decimal point", "C4=-1": "below nought", "C4=1 B#3=2": "C4 has two weights", "C4=0 D4=0": "all nought",
		"C4=1e-7": "outside", "C4=1e10": "outside", "C8=1": "no fingering", "C4=1=2": "decimal point", "C4=1;D4=1": "decimal point",
	} {
		if w, err := catalog.ParseWeights(text); err == nil || !strings.Contains(err.Error(), word) {
			t.Errorf("%q is %q, error %v, want one that says %q", text, w, err, word)
		}
	}
}

var someWeights = rapid.Custom(func(t *rapid.T) catalog.Weights {
	w := catalog.Weights{}
	for _, s := range rapid.SliceOfN(rapid.SampledFrom(pitch.UsualSlots(0, pitch.TopUsual, 4)), 1, 50).Draw(t, "notes") {
		w[s.Note()] = rapid.OneOf(rapid.Just(0.0), rapid.Float64Range(catalog.MinWeight, catalog.MaxWeight)).Draw(t, "weight")
	}
	w[60] = 1
	return w
})

func TestWeightsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := someWeights.Draw(t, "weights")
		if err := w.Validate(); err != nil {
			t.Fatal(err)
		}
		if got, err := catalog.ParseWeights(w.String()); err != nil || !reflect.DeepEqual(got, w) {
			t.Fatalf("%v is read back as %v, error %v", w, got, err)
		}
	})
}

func FuzzParseWeights(f *testing.F) {
	for _, text := range []string{"C4=12.5 D4=3", "Bb4=1e-6", "C4=0x1p-2", "B♭4=1 A#4=2", "C4=1_0"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		w, err := catalog.ParseWeights(text)
		if err != nil {
			return
		}
		if again, err := catalog.ParseWeights(w.String()); err != nil || !reflect.DeepEqual(again, w) {
			t.Fatalf("%q is %v, read back as %v, error %v", text, w, again, err)
		}
	})
}

func TestWeightsOfAPlayer(t *testing.T) {
	p := goodPlayer()
	p.Weights = catalog.Weights{60: 2, 62: 0}
	if err := p.Validate(); err != nil {
		t.Error(err)
	}
	for _, tc := range []struct {
		w     catalog.Weights
		words string
	}{
		{catalog.Weights{60: -1}, "of C4|below nought"}, {catalog.Weights{60: math.NaN()}, "of C4|finite"}, {catalog.Weights{60: math.Inf(1)}, "of C4|finite"},
		{catalog.Weights{60: 0}, "all nought"}, {catalog.Weights{}, "all nought"}, {catalog.Weights{60: 1, 96: 1}, "C7|fingering"},
	} {
		p.Weights = tc.w
		wantProblem(t, p.Validate(), "weights", strings.Split(tc.words, "|")...)
	}
	p.Weights = catalog.Weights{}
	if p.Normalize(); p.Weights != nil {
		t.Error("no weights are not nil")
	}
}
