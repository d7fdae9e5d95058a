package recording

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

const bFlat = -2 // transposition of a B-flat trumpet

func slots(t testing.TB, text string) []pitch.Slot {
	t.Helper()
	list, err := ParseNotes(text, 3)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// played makes tones of written notes, with a deviation after a colon if wanted:
// "C4 C#4:55".
func played(t testing.TB, text string, sharp float64) []Tone {
	t.Helper()
	var out []Tone
	for _, word := range strings.Fields(text) {
		name, off := word, 0.0
		if note, cents, ok := strings.Cut(word, ":"); ok {
			name = note
			if _, err := fmt.Sscan(cents, &off); err != nil {
				t.Fatal(err)
			}
		}
		n, err := pitch.ParseNote(name)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, Tone{Hz: pitch.Shift((n + bFlat).Hz(440), off+sharp)})
	}
	return out
}

// taken writes matches as notes, "-" for none and "?" behind those in doubt.
func taken(a Alignment) string {
	var out []string
	for _, m := range a.Matches {
		switch {
		case !m.Placed:
			out = append(out, "-")
		case len(m.Others) > 0:
			out = append(out, m.Slot.Note().String()+"?")
		default:
			out = append(out, m.Slot.Note().String())
		}
	}
	return strings.Join(out, " ")
}

// Scales as they are played: with notes left out, repeated, wrong, very sharp, as
// a whole too flat, begun in the middle, twice.
func TestAlignment(t *testing.T) {
	for _, tc := range []struct {
		name, expected, played string
		sharp                  float64
		want, missing          string
	}{
		{name: "as expected", expected: "C4-E4", played: "C4 C#4 D4 Eb4 E4", want: "C4 C#4 D4 Eb4 E4"},
		// Low notes on 123 and 13 are 30 to 55 cents sharp when no slide is thrown
		// (see published sharpness of combinations in the tests of pitch).
		{name: "sharp combinations", expected: "C4-F4", played: "C4 C#4:55 D4:35 Eb4:15 E4 F4", want: "C4 C#4 D4 Eb4 E4 F4"},
		{name: "nearer to the next note", expected: "C4-F4", played: "C4 C#4:58 D4:40 Eb4:15 E4 F4", want: "C4 C#4 D4 Eb4 E4 F4"},
		{name: "a note left out", expected: "C4-F4", played: "C4 C#4:50 Eb4:10 E4 F4", want: "C4 C#4 Eb4 E4 F4", missing: "D4"},
		{name: "two left out", expected: "C4-F4", played: "C4 Eb4:10 F4", want: "C4 Eb4 F4", missing: "C#4 D4 E4"},
		{name: "a note again", expected: "C4-F4", played: "C4 C#4:50 C#4:48 D4:20 Eb4 E4 F4", want: "C4 C#4 C#4 D4 Eb4 E4 F4"},
		{name: "a wrong note", expected: "C4-F4", played: "C4 C#4:40 G4 D4:20 Eb4 E4 F4", want: "C4 C#4 - D4 Eb4 E4 F4"},
		{name: "flat as a whole", expected: "C4-F4", played: "C4 C#4:40 D4:20 Eb4 E4 F4", sharp: -45, want: "C4 C#4 D4 Eb4 E4 F4"},
		{name: "sharp as a whole", expected: "C4-C5", played: "C4 C#4:30 D4:20 Eb4 E4 F4 F#4 G4 Ab4 A4 Bb4 B4 C5", sharp: 55, want: "C4 C#4 D4 Eb4 E4 F4 F#4 G4 Ab4 A4 Bb4 B4 C5"},
		{name: "twice", expected: "C4-E4", played: "C4 C#4 D4 Eb4 E4 C4 C#4 D4 Eb4 E4", want: "C4 C#4 D4 Eb4 E4 C4 C#4 D4 Eb4 E4"},
		{name: "up and down, expected and played", expected: "C4-E4 Eb4-C4", played: "C4 C#4:50 D4 Eb4 E4 Eb4 D4 C#4:52 C4", want: "C4 C#4 D4 Eb4 E4 Eb4 D4 C#4 C4"},
		{name: "only up, twice", expected: "F#3-C5 B4-F#3", played: "C4 C#4:50 D4:20 Eb4 E4 F4 F#4 G4 C4 C#4:48 D4:20 Eb4 E4 F4 F#4 G4",
			want: "C4 C#4 D4 Eb4 E4 F4 F#4 G4 C4 C#4 D4 Eb4 E4 F4 F#4 G4", missing: "F#3 G3 Ab3 A3 Bb3 B3 Ab4 A4 Bb4 B4 C5"},
		{name: "the top once more", expected: "C4-E4 Eb4-C4", played: "C4 C#4 D4 Eb4 E4 E4 Eb4 D4 C#4 C4", want: "C4 C#4 D4 Eb4 E4 E4 Eb4 D4 C#4 C4"},
		{name: "halfway between two, in no order", expected: "F#3-C6", played: "C4 A5 F4:50 C5 F#3", want: "C4 A5 F#4? C5 F#3"},
		{name: "nothing", expected: "C4-E4", played: "", want: "", missing: "C4 C#4 D4 Eb4 E4"},
		{name: "an octave higher", expected: "C4-E4", played: "C5 C#5 D5", want: "- - -", missing: "C4 C#4 D4 Eb4 E4"},
	} {
		a := Align([][]Tone{played(t, tc.played, tc.sharp)}, Expected{Slots: slots(t, tc.expected), Transposition: bFlat, A4Hz: 440})
		got := taken(a)
		if tc.name == "halfway between two, in no order" {
			got = strings.Replace(got, "F4?", "F#4?", 1) // either will do
		}
		if got != tc.want {
			t.Errorf("%s: taken for %s, want %s", tc.name, got, tc.want)
		}
		var missing []string
		for _, s := range a.Missing {
			missing = append(missing, s.Note().String())
		}
		if tc.name != "halfway between two, in no order" && strings.Join(missing, " ") != tc.missing {
			t.Errorf("%s: missing %s, want %s", tc.name, missing, tc.missing)
		}
		for i, m := range a.Matches {
			if want := pitch.Cents(played(t, tc.played, tc.sharp)[i].Hz, (m.Slot.Note() + bFlat).Hz(440)); m.Placed && math.Abs(m.Cents-want) > 1e-9 {
				t.Errorf("%s: tone %d deviates by %v, want %v", tc.name, i, m.Cents, want)
			}
		}
	}
}

// Without an order the nearest note counts, and what lies between two is in doubt
// and says so.
func TestNearest(t *testing.T) {
	e := Expected{Slots: pitch.UsualSlots(54, 84, 3), Transposition: bFlat, A4Hz: 440, AnyOrder: true}
	a := Align([][]Tone{played(t, "A5 C4:-20 G4:45 Bb4 C4 E5:15 D5", 0)}, e)
	if got := taken(a); got != "A5 C4 G4? Bb4 C4 E5 D5" {
		t.Errorf("taken for %s", got)
	}
	if others := a.Matches[2].Others; len(others) != 1 || others[0].Note().String() != "Ab4" {
		t.Errorf("G4 and 45 cents may also be %v, want Ab4", others)
	}
}

// Two ways to play a note are told apart by their place in the order only; where
// that says nothing, both are named.
func TestAlternateFingerings(t *testing.T) {
	e := Expected{Slots: slots(t, "F4 0/3 13/4 A4 12/6 0/5"), Transposition: bFlat, A4Hz: 440}
	a := Align([][]Tone{played(t, "F4 G4 G4 A4 E5 E5", 0)}, e)
	var got []string
	for _, m := range a.Matches {
		got = append(got, m.Slot.String())
	}
	if strings.Join(got, " ") != "1/3 0/3 13/4 12/4 12/6 0/5" || strings.Contains(taken(a), "?") {
		t.Errorf("taken for %v, %s", got, taken(a))
	}
	e.AnyOrder = true
	if a = Align([][]Tone{played(t, "F4 G4 A4", 0)}, e); taken(a) != "F4 G4? A4" {
		t.Errorf("in any order: %s", taken(a))
	}
}

// Each file may begin anywhere.
func TestAlignmentOfFiles(t *testing.T) {
	e := Expected{Slots: slots(t, "C4-C5 B4-C4"), Transposition: bFlat, A4Hz: 442}
	var files [][]Tone
	for _, text := range []string{"C4 C#4:50 D4:30", "Bb4 A4 Ab4", "", "Eb4:12 E4 F4"} {
		files = append(files, played(t, text, pitch.Cents(442, 440)))
	}
	a := Align(files, e)
	if got := taken(a); got != "C4 C#4 D4 Bb4 A4 Ab4 Eb4 E4 F4" || math.Abs(a.OffsetCents) > 12 {
		t.Errorf("taken for %s, %.1f cents as a whole", got, a.OffsetCents)
	}
}

// The least cost from the front is the least from the back, and every tone's best
// place costs as much: the tables agree, whatever was played.
func TestTablesAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 3))
		e := Expected{Transposition: bFlat, A4Hz: 440, AnyOrder: rapid.Bool().Draw(t, "any order")}
		for range rapid.IntRange(1, 12).Draw(t, "expected") {
			n := pitch.Note(54 + random.IntN(20))
			s, _ := pitch.UsualSlot(n, 3)
			e.Slots = append(e.Slots, s)
		}
		var files [][]Tone
		for range rapid.IntRange(1, 3).Draw(t, "files") {
			var list []Tone
			for range 1 + random.IntN(8) {
				list = append(list, Tone{Hz: pitch.Shift(440, float64(random.IntN(3000)-1500))})
			}
			files = append(files, list)
		}
		a := newAligner(files, e)
		least := a.forward()
		a.backward()
		for i := range a.pitches {
			best := a.leftOut(i)
			for j := range e.Slots {
				best = min(best, a.fits[i][j]+a.after[i][j])
			}
			if math.Abs(best-least) > 1e-9 {
				t.Fatalf("tone %d: at best %v, the whole costs %v", i, best, least)
			}
		}
		out := Align(files, e)
		if len(out.Matches) != len(a.pitches) {
			t.Fatalf("%d matches of %d tones", len(out.Matches), len(a.pitches))
		}
		for _, m := range out.Matches {
			if m.Placed && (!slices.Contains(e.Slots, m.Slot) || math.Abs(m.Cents) > catalog.MaxCents) || !m.Placed && len(m.Others) > 0 {
				t.Fatalf("match %+v", m)
			}
		}
	})
}

func TestParseNotes(t *testing.T) {
	for text, want := range map[string]string{
		"C4": "0/2", "C4-E4": "0/2 123/3 13/3 23/3 12/3", "E4-C4": "12/3 23/3 13/3 123/3 0/2", "C4, 13/4; Bb4\n": "0/2 13/4 1/4",
		"F♯3-G3": "123/2 13/2",
	} {
		var got []string
		for _, s := range slots(t, text) {
			got = append(got, s.String())
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%q: %s, want %s", text, got, want)
		}
	}
	for _, text := range []string{"", "X4", "C4-", "-C4", "C4-X5", "C2", "C4-C8", "24/2", "13/99", "C4--E4", strings.Repeat("F#3-C6 ", 17)} {
		if list, err := ParseNotes(text, 3); err == nil {
			t.Errorf("%q: %v, want an error", text, list)
		}
	}
	if list, err := ParseNotes("24/2", 4); err != nil || len(list) != 1 {
		t.Errorf("a fourth valve: %v, %v", list, err)
	}
	if got := fmt.Sprint(UpAndDown(60, 62, 3)); got != "[0/2 123/3 13/3 123/3 0/2]" {
		t.Errorf("up and down: %s", got)
	}
}

func FuzzParseNotes(f *testing.F) {
	for _, text := range []string{"F#3-C6 C6-F#3", "13/4, C4", "C-1-C-1", "♭-♭"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		list, err := ParseNotes(text, 3)
		if err == nil && (len(list) == 0 || len(list) > MostNotes) {
			t.Fatalf("%q gives %d notes", text, len(list))
		}
	})
}

// A reference of 440 Hz that is heard 3.2 cents low, as by a slow clock: it is
// found among notes near it that drift or have vibrato, taken out, and everything is put right.
func TestCalibrate(t *testing.T) {
	const slow = -3.2
	sound := quiet(15)
	sing(sound, testRate, heardNote{start: 0.5, seconds: 2, hz: 466.16, amplitude: 0.2, drift: 6})
	sing(sound, testRate, heardNote{start: 3.5, seconds: 2, hz: 415.3, amplitude: 0.2, vibrato: 8, rate: 5})
	sing(sound, testRate, heardNote{start: 7, seconds: 2, hz: pitch.Shift(440, slow), amplitude: 0.1, harmonics: []float64{1}})
	sing(sound, testRate, heardNote{start: 9.5, seconds: 2, hz: pitch.Shift(442, slow), amplitude: 0.2})
	sing(sound, testRate, heardNote{start: 12, seconds: 2, hz: pitch.Shift(233.08, slow), amplitude: 0.2, vibrato: 6, rate: 5})
	r := segments(t, sound)
	off, err := r.Calibrate(440)
	if err != nil || math.Abs(off-slow) > 0.05 {
		t.Fatalf("off by %v (%v), want %v", off, err, slow)
	}
	wantNotes(t, "put right", r, pitch.Shift(466.16, -slow), pitch.Shift(415.3, -slow), 442, 233.08)
	if c := r.Kept()[2].Contour; math.Abs(pitch.Cents(c[len(c)/2].Hz, 442)) > 0.5 {
		t.Errorf("the contour is not put right: %v", c[len(c)/2])
	}
	if _, err := r.Calibrate(1000); catalog.KindOf(err) != catalog.NotFound || !strings.Contains(err.Error(), "near 1000 Hz") {
		t.Errorf("no tone near 1000 Hz: %v", err)
	}
	// A file with the rate of 44.1 kHz that was recorded with 48.
	fast := make([]float64, 4*48000)
	sing(fast, 48000, heardNote{start: 0.3, seconds: 3, hz: 440, amplitude: 0.1, harmonics: []float64{1}})
	if off, err := listen(t, wavOf(44100, 16, fast)).Calibrate(440); err != nil || math.Abs(off-1200*math.Log2(44.1/48)) > 0.05 {
		t.Errorf("with the wrong rate off by %v (%v)", off, err)
	}
}
