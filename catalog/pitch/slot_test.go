package pitch

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Harmonic series against equal temperament, exact: 1200 log2 n minus the
// nearest note in use, in cents, rounded to two decimals (derived).
func TestHarmonicSeriesCents(t *testing.T) {
	want := map[int]float64{1: 0, 2: 0, 3: 1.96, 4: 0, 5: -13.69, 6: 1.96, 7: -31.17, 8: 0, 9: 3.91, 10: -13.69,
		11: -48.68, 12: 1.96}
	for n := 1; n <= MaxPartial; n++ {
		if got := HarmonicCents(n); math.Abs(got-want[n]) > 0.005 {
			t.Errorf("harmonic %d lies %+.3f cents from its note, want %+.2f", n, got, want[n])
		}
	}
}

// Teaching chart for trumpet, E. Schafer, University of Tennessee at
// Chattanooga: harmonics 2..8 at 0, +2, 0, -14, +2, -31, 0 cents.
func TestHarmonicSeriesOfTeachingChart(t *testing.T) {
	for i, want := range []float64{0, 2, 0, -14, 2, -31, 0} {
		if got := math.Round(HarmonicCents(i + 2)); got != want {
			t.Errorf("harmonic %d: %+.0f cents, the chart has %+.0f", i+2, got, want)
		}
	}
}

// Written notes of the open partials 2..12 (common practice, no source).
func TestOpenPartials(t *testing.T) {
	want := strings.Fields("C4 G4 C5 E5 G5 Bb5 C6 D6 E6 F#6 G6")
	for i, name := range want {
		if got := (Slot{0, i + 2}).Note().String(); got != name {
			t.Errorf("open partial %d is written %s, want %s", i+2, got, name)
		}
	}
}

// Usual fingerings of three valves, each row a partial (common practice, no source).
const usualChart = `
2:  F#3 123, G3 13, Ab3 23, A3 12, Bb3 1, B3 2, C4 0
3:  C#4 123, D4 13, Eb4 23, E4 12, F4 1, F#4 2, G4 0
4:  Ab4 23, A4 12, Bb4 1, B4 2, C5 0
5:  C#5 12, D5 1, Eb5 2, E5 0
6:  F5 1, F#5 2, G5 0
8:  Ab5 23, A5 12, Bb5 1, B5 2, C6 0
10: C#6 12, D6 1, Eb6 2, E6 0
12: F6 1, F#6 2, G6 0`

func TestUsualFingerings(t *testing.T) {
	count := 0
	for _, row := range strings.Split(strings.TrimSpace(usualChart), "\n") {
		partial, entries, _ := strings.Cut(row, ":")
		for _, entry := range strings.Split(entries, ",") {
			name, fingering, _ := strings.Cut(strings.TrimSpace(entry), " ")
			want, err := ParseSlot(fingering + "/" + partial)
			if err != nil {
				t.Fatal(err)
			}
			if got, ok := UsualSlot(mustNote(t, name), 3); !ok || got != want {
				t.Errorf("usual slot of %s is %s (%v), want %s", name, got, ok, want)
			}
			count++
		}
	}
	if all := UsualSlots(lowestNote, highestNote, 3); len(all) != count {
		t.Errorf("%d notes have a usual slot, the chart has %d", len(all), count)
	}
	if n := len(UsualSlots(RangeLow, RangeHigh, 3)); n != 31 {
		t.Errorf("the default range has %d notes, want 31", n)
	}
}

// Alternate fingerings (common practice, no source).
func TestAlternates(t *testing.T) {
	for name, want := range map[string]string{
		"A4":  "12/4 3/4",
		"Bb4": "1/4 123/5",
		"C#5": "12/5 3/5 123/6",
		"E5":  "0/5 12/6 3/6 123/7",
		"D5":  "1/5 13/6",
		"G4":  "0/3 13/4",
		"F#3": "123/2",
		"G6":  "0/12",
	} {
		var got []string
		for _, s := range SlotsFor(mustNote(t, name), 3) {
			got = append(got, s.String())
		}
		if strings.Join(got, " ") != want {
			t.Errorf("slots of %s: %s, want %s", name, strings.Join(got, " "), want)
		}
	}
	if got := SlotsFor(mustNote(t, "C3"), 3); len(got) != 0 {
		t.Errorf("C3 has slots %v on three valves, want none", got)
	}
}

// Four valves: the fourth lowers a fourth, stands in for 13 (and with the second
// for 123) and fills the gap below F#3 (common practice, no source).
func TestFourValveFingerings(t *testing.T) {
	for name, want := range map[string]string{
		"G3": "4/2", "F#3": "24/2", "D4": "4/3", "C#4": "24/3", "F3": "14/2", "E3": "124/2", "Eb3": "234/2",
		"D3": "134/2", "C#3": "1234/2", "C4": "0/2", "Ab4": "23/4",
	} {
		if got, ok := UsualSlot(mustNote(t, name), 4); !ok || got.String() != want {
			t.Errorf("usual slot of %s on four valves is %s (%v), want %s", name, got, ok, want)
		}
	}
	if _, ok := UsualSlot(mustNote(t, "F3"), 3); ok {
		t.Error("F3 has a usual slot on three valves")
	}
	if s := UsualSlots(lowestNote, highestNote, 4); s[0].Note().String() != "C#3" {
		t.Errorf("the lowest usual note on four valves is %s, want C#3", s[0].Note())
	}
}

// Every combination of three valves answers for the partials 2, 3, 4, 5, 6 and
// 8, two octaves (common practice, no source).
func TestCombinationsSpanTwoOctaves(t *testing.T) {
	if n := len(ThreeValveCombinations); n != 8 {
		t.Fatalf("%d combinations, want 8", n)
	}
	for i, v := range ThreeValveCombinations {
		if i > 0 && v.Semitones() < ThreeValveCombinations[i-1].Semitones() {
			t.Errorf("%s comes after a longer tube", v)
		}
		if span := (Slot{v, 8}).Note() - (Slot{v, 2}).Note(); span != 24 {
			t.Errorf("%s spans %d semitones from partial 2 to 8, want 24", v, span)
		}
	}
}

func TestRatio(t *testing.T) {
	for fingering, want := range map[string]float64{
		"0": 1, "2": 1.059463, "1": 1.122462, "12": 1.189207, "3": 1.189207, "23": 1.259921, "13": 1.334840, "123": 1.414214,
		"4": 1.334840, "24": 1.414214, "1234": 1.887749,
	} { // 2^(s/12), s = semitones lowered (derived)
		if got := mustValves(t, fingering).Ratio(); math.Abs(got-want) > 5e-7 {
			t.Errorf("r(%s) = %.6f, want %.6f", fingering, got, want)
		}
	}
}

func TestParseValves(t *testing.T) {
	for text, want := range map[string]string{"0": "0", "13": "13", "31": "13", "1-3": "13", "1+2+3": "123", " 2 ": "2", "1 2": "12", "4": "4"} {
		if got, err := ParseValves(text); err != nil || got.String() != want {
			t.Errorf("ParseValves(%q) = %s, %v, want %s", text, got, err, want)
		}
	}
	for _, text := range []string{"", "5", "11", "-", "1,3", "01", "open", "1.0", "１", "13x"} {
		if got, err := ParseValves(text); err == nil {
			t.Errorf("ParseValves(%q) = %s, want an error", text, got)
		}
	}
}

func TestParseSlotRefuses(t *testing.T) {
	for _, text := range []string{"", "13", "/", "13/", "/3", "13/0", "13/13", "13/-1", "13/+3", "13/3/3", "13/3x", "13/1e0",
		"13/99999999999999999999", "5/2"} {
		if got, err := ParseSlot(text); err == nil || got != (Slot{}) {
			t.Errorf("ParseSlot(%q) = %s, %v, want an error and no slot", text, got, err)
		}
	}
}

func anySlot(t *rapid.T) Slot {
	return Slot{Valves(rapid.IntRange(0, 15).Draw(t, "valves")), rapid.IntRange(1, MaxPartial).Draw(t, "partial")}
}

func TestSlotProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, other := anySlot(t), anySlot(t)
		if got, err := ParseSlot(s.String()); err != nil || got != s {
			t.Fatalf("%s reads back as %s, %v", s, got, err)
		}
		if s.Partial >= 2 && s.Valves < 8 {
			found := false
			for _, x := range SlotsFor(s.Note(), 3) {
				found = found || x == s
				if x.Note() != s.Note() {
					t.Fatalf("%s is listed for %s but gives %s", x, s.Note(), x.Note())
				}
			}
			if !found {
				t.Fatalf("%s is missing from the slots of %s", s, s.Note())
			}
		}
		if c := s.Compare(other); c != 0 && (c < 0) == (other.Compare(s) < 0) || (c == 0) != (s == other) {
			t.Fatalf("%s and %s compare as %d and %d", s, other, c, other.Compare(s))
		}
	})
}

func FuzzParseSlot(f *testing.F) {
	for _, text := range []string{"13/3", "0/2", "1234/12", "3-1/ 4", "1/0x3", "2/٣"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := ParseSlot(text)
		if err != nil {
			return
		}
		if !s.Valid() {
			t.Fatalf("%q gives the invalid slot %#v", text, s)
		}
		if again, err := ParseSlot(s.String()); err != nil || again != s {
			t.Fatalf("%q is %s, read back as %s, %v", text, s, again, err)
		}
	})
}

func mustValves(t *testing.T, text string) Valves {
	t.Helper()
	v, err := ParseValves(text)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
