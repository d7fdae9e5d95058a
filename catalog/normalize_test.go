package catalog_test

import (
	"math"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

func TestNormalLabel(t *testing.T) {
	for in, want := range map[string]string{
		" Alder ": "Alder", "Alder\t\n 2": "Alder 2", "E\u0301b": "Éb", "\u00a0Plover\u00a016.2": "Plover 16.2", "": "", " \u2003 ": "",
	} {
		if got := catalog.NormalLabel(in); got != want {
			t.Errorf("%q becomes %q, want %q", in, got, want)
		}
	}
}

func TestFold(t *testing.T) {
	for _, same := range [][2]string{{"Alder", "aLDER"}, {"Straße", "STRASSE"}, {"Éb", "e\u0301B"}, {"Plover １６", "plover 16"}, {" a  b", "A B"}} {
		if catalog.Fold(same[0]) != catalog.Fold(same[1]) {
			t.Errorf("%q and %q fold to %q and %q", same[0], same[1], catalog.Fold(same[0]), catalog.Fold(same[1]))
		}
	}
	for _, other := range [][2]string{{"Alder", "Adler"}, {"a b", "ab"}, {"16.2", "16.3"}} {
		if catalog.Fold(other[0]) == catalog.Fold(other[1]) {
			t.Errorf("%q and %q fold alike", other[0], other[1])
		}
	}
}

// Normal labels stay as they are, and looking one up finds it however it was
// written.
func TestNormalLabelProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text")
		normal := catalog.NormalLabel(text)
		if again := catalog.NormalLabel(normal); again != normal {
			t.Fatalf("%q, then %q", normal, again)
		}
		if catalog.Fold(text) != catalog.Fold(normal) {
			t.Fatalf("%q folds to %q, its normal form to %q", text, catalog.Fold(text), catalog.Fold(normal))
		}
	})
}

func TestDefaults(t *testing.T) {
	for _, tc := range []struct {
		in   catalog.Horn
		want catalog.Horn
	}{
		{catalog.Horn{}, catalog.Horn{Instrument: catalog.Trumpet, Key: pitch.KeyBb, Valves: 3, Receiver: catalog.ShankTrumpet}},
		{catalog.Horn{Instrument: catalog.Cornet}, catalog.Horn{Instrument: catalog.Cornet, Key: pitch.KeyBb, Valves: 3, Receiver: catalog.ShankCornet}},
		{catalog.Horn{Instrument: catalog.Flugelhorn}, catalog.Horn{Instrument: catalog.Flugelhorn, Key: pitch.KeyBb, Valves: 3, Receiver: catalog.ShankFlugelhorn}},
		{catalog.Horn{Instrument: catalog.Piccolo}, catalog.Horn{Instrument: catalog.Piccolo, Key: pitch.KeyBb, Valves: 4, Receiver: catalog.ShankTrumpet}},
		{catalog.Horn{Instrument: catalog.Piccolo, Key: pitch.KeyA, Valves: 3, Receiver: catalog.ShankCornet},
			catalog.Horn{Instrument: catalog.Piccolo, Key: pitch.KeyA, Valves: 3, Receiver: catalog.ShankCornet}},
	} {
		got := tc.in
		got.Normalize()
		tc.want.Number = 1
		if !reflect.DeepEqual(got, tc.want) {
			t.Errorf("%+v becomes %+v, want %+v", tc.in, got, tc.want)
		}
	}
	var m catalog.Mouthpiece
	m.Normalize()
	if m.Shank != catalog.ShankTrumpet {
		t.Errorf("shank %q", m.Shank)
	}
}

func TestSessionNormalize(t *testing.T) {
	if got := (catalog.Session{}).Pitch(); got != 440 { // ISO 16:1975
		t.Errorf("A4 is %g Hz", got)
	}
	if got := (catalog.Session{A4Hz: 442}).Pitch(); got != 442 {
		t.Errorf("A4 is %g Hz", got)
	}
	zone := time.FixedZone("", 3600)
	s := catalog.Session{Name: " a ", At: time.Date(2026, 3, 14, 13, 0, 0, 1234567, zone), Remark: "\r\none\r\ntwo\rthree\n",
		Readings: []catalog.Reading{{Slot: pitch.Slot{Partial: 6}, Cents: math.Copysign(0, -1)}, {Slot: pitch.Slot{Partial: 2}, Repeat: 2}, {Slot: pitch.Slot{Partial: 2}, Repeat: 1}}}
	s.Normalize()
	want := catalog.Session{Name: "a", At: time.Date(2026, 3, 14, 12, 0, 0, 1e6, time.UTC), Remark: "one\ntwo\nthree", A4Hz: 440, Method: catalog.MethodTuner,
		Readings: []catalog.Reading{{Slot: pitch.Slot{Partial: 2}, Repeat: 1}, {Slot: pitch.Slot{Partial: 2}, Repeat: 2}, {Slot: pitch.Slot{Partial: 6}, Repeat: 1}}}
	if !reflect.DeepEqual(s, want) {
		t.Errorf("got %+v\nwant %+v", s, want)
	}
	if math.Signbit(s.Readings[2].Cents) {
		t.Error("minus zero stayed")
	}
}

// Normalising is safe on anything, does not change its input, and once is
// enough.
func TestNormalizedChanges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := catalog.Session{Name: rapid.String().Draw(t, "name"), Remark: rapid.String().Draw(t, "remark"), A4Hz: rapid.Float64().Draw(t, "a4")}
		for range rapid.IntRange(0, 6).Draw(t, "n") {
			s.Readings = append(s.Readings, catalog.Reading{
				Slot:   pitch.Slot{Valves: pitch.Valves(rapid.Uint8().Draw(t, "valves")), Partial: rapid.IntRange(-3, 20).Draw(t, "partial")},
				Repeat: rapid.IntRange(-1, 3).Draw(t, "repeat"), Cents: rapid.Float64().Draw(t, "cents"),
			})
		}
		h := catalog.Horn{Label: rapid.String().Draw(t, "label"), Tags: rapid.SliceOfN(rapid.String(), 0, 4).Draw(t, "tags")}
		c := catalog.Changes{Horns: []catalog.Horn{h}, Sessions: []catalog.Session{s}}
		c.Sessions[0].Readings = append([]catalog.Reading(nil), s.Readings...)
		now := time.Now()
		once := c.Normalized(now)
		if !reflect.DeepEqual(c.Horns[0], h) || !reflect.DeepEqual(c.Sessions[0].Readings, s.Readings) {
			t.Fatal("the changes were altered")
		}
		if twice := once.Normalized(now.Add(time.Hour)); !reflect.DeepEqual(once, twice) {
			t.Fatalf("once %+v\ntwice %+v", once, twice)
		}
		_ = once.Validate() // must not panic
	})
}

func TestDesign(t *testing.T) {
	h := goodHorn()
	h.Maker, h.Model = "Tidewright", "Heron  Two"
	same := h
	same.Maker, same.Model, same.Serial, same.Label = " TIDEWRIGHT", "heron two", "9", "Rowan"
	if h.Design() == "" || h.Design() != same.Design() {
		t.Errorf("%q and %q", h.Design(), same.Design())
	}
	for _, change := range []func(*catalog.Horn){
		func(h *catalog.Horn) { h.Model = "Heron Three" }, func(h *catalog.Horn) { h.Maker = "Northlamp" },
		func(h *catalog.Horn) { h.Key = pitch.KeyC }, func(h *catalog.Horn) { h.Instrument = catalog.Cornet },
		func(h *catalog.Horn) { h.Maker, h.Model = "", "Tidewright Heron Two" },
	} {
		other := h
		change(&other)
		if other.Design() == h.Design() {
			t.Errorf("%+v has the design of another", other)
		}
	}
	h.Model = " "
	m := goodMouthpiece()
	m.Maker = "Northlamp"
	if h.Design() != "" || m.Design() != "" {
		t.Errorf("designs without a model: %q, %q", h.Design(), m.Design())
	}
	m.Model = "Plover"
	other := m
	other.Shank = catalog.ShankCornet
	if m.Design() == "" || m.Design() == other.Design() {
		t.Errorf("%q and %q", m.Design(), other.Design())
	}
}
