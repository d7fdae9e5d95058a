package pitch

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Equal-tempered chromatic scale, A4 = 440 Hz, in Hz to three decimals, as
// tabulated under "Musical scales" in the CRC Handbook of Chemistry and Physics
// (from memory).
var handbookHz = map[string]float64{
	"C0": 16.352, "A0": 27.500, "C1": 32.703, "E2": 82.407, "A2": 110.000, "C3": 130.813,
	"C4": 261.626, "C#4": 277.183, "D4": 293.665, "D#4": 311.127, "E4": 329.628, "F4": 349.228,
	"F#4": 369.994, "G4": 391.995, "G#4": 415.305, "A4": 440.000, "A#4": 466.164, "B4": 493.883,
	"C5": 523.251, "A5": 880.000, "C6": 1046.502, "C7": 2093.005, "C8": 4186.009,
}

func TestFrequenciesOfHandbook(t *testing.T) {
	for name, want := range handbookHz {
		n := mustNote(t, name)
		if got := n.Hz(440); math.Abs(got-want) > 0.0006 { // half of the last printed digit
			t.Errorf("%s is %.4f Hz, the handbook has %.3f", name, got, want)
		}
	}
}

// ISO 16:1975, Acoustics - Standard tuning frequency: the A in the treble stave
// is 440 Hz.
func TestStandardTuningFrequency(t *testing.T) {
	if got := mustNote(t, "A4").Hz(440); got != 440 {
		t.Errorf("A4 = %v Hz, want 440", got)
	}
	if n, cents := Nearest(440, 440); n.String() != "A4" || cents != 0 {
		t.Errorf("440 Hz reads as %s %+.2f cents, want A4 +0.00", n, cents)
	}
}

// The open B-flat trumpet's resonances lie close to multiples of 116.5 Hz:
// Acoustics Today, Summer 2021, p. 15, Fig. 4 (after Campbell, Gilbert & Myers
// 2021, The Science of Brass Instruments).
func TestFundamentalOfBFlatTrumpet(t *testing.T) {
	pedal := Slot{Valves: 0, Partial: 1}.Note()
	sounding := pedal + Note(KeyBb.Semitones())
	if got := sounding.Hz(440); math.Abs(got-116.5) > 0.05 { // one printed decimal
		t.Errorf("written %s of a B-flat instrument sounds at %.2f Hz, want 116.5", pedal, got)
	}
}

func TestEnharmonicSpellings(t *testing.T) {
	for want, spellings := range map[string][]string{
		"F#3": {"Gb3", "F♯3", "G♭3", "f#3", " F#3 ", "E##3", "E𝄪3"},
		"Ab4": {"G#4", "A♭4"},
		"Bb4": {"A#4", "bb4", "B♭4", "Cbb5", "C𝄫5"},
		"A4":  {"Bbb4", "G##4", "A♮4"},
		"C4":  {"B#3", "Dbb4", "c4"},
		"B3":  {"Cb4", "A##3"},
		"C-1": {"Dbb-1"},
	} {
		for _, text := range spellings {
			got, err := ParseNote(text)
			if err != nil || got.String() != want {
				t.Errorf("ParseNote(%q) = %v, %v, want %v", text, got, err, want)
			}
		}
	}
}

func TestBadNotes(t *testing.T) {
	for _, text := range []string{"", "C", "4", "H4", "C10", "C-2", "C+4", "C04", "C#b4", "C###4", "C 4", "4C", "C4.5",
		"C４", "Cb-1", "B#9", "F #3", "#4", "♯", "C-0", "nan"} {
		if n, err := ParseNote(text); err == nil {
			t.Errorf("ParseNote(%q) = %s, want an error", text, n)
		}
	}
}

func TestNoteRoundTrip(t *testing.T) {
	for n := lowestNote; n <= highestNote; n++ {
		if got, err := ParseNote(n.String()); err != nil || got != n {
			t.Errorf("note %d is written %s and read as %d, %v", n, n, got, err)
		}
	}
}

func TestNearestUndoesShift(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := Note(rapid.IntRange(int(lowestNote), int(highestNote)).Draw(t, "note"))
		cents := rapid.Float64Range(-49.9, 49.9).Draw(t, "cents")
		a4 := rapid.Float64Range(400, 480).Draw(t, "a4")
		f := Shift(n.Hz(a4), cents)
		got, deviation := Nearest(f, a4)
		if got != n || math.Abs(deviation-cents) > 1e-9 {
			t.Fatalf("%s %+.6f cents at A4 = %.2f reads as %s %+.6f", n, cents, a4, got, deviation)
		}
		if back := Cents(f, n.Hz(a4)); math.Abs(back-cents) > 1e-9 {
			t.Fatalf("Cents gives %v, want %v", back, cents)
		}
	})
}

func FuzzParseNote(f *testing.F) {
	for _, text := range []string{"F#3", "B♭4", "Cb-1", "B#9", "bb4", "C𝄪4", "\xff4", "E#5"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		n, err := ParseNote(text)
		if err != nil {
			return
		}
		if again, err := ParseNote(n.String()); err != nil || again != n {
			t.Fatalf("%q is %d, written %s, read as %d, %v", text, n, n, again, err)
		}
	})
}

func mustNote(t *testing.T, text string) Note {
	t.Helper()
	n, err := ParseNote(text)
	if err != nil {
		t.Fatal(err)
	}
	return n
}
