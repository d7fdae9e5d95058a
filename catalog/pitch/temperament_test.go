package pitch

import (
	"math"
	"testing"
)

// Five-limit just intervals above the tonic in cents, two decimals: A. J. Ellis,
// appendix XX to Helmholtz, On the Sensations of Tone, 1885 (from memory).
func TestJustIntervals(t *testing.T) {
	want := [12]float64{0, 111.73, 203.91, 315.64, 386.31, 498.04, 590.22, 701.96, 813.69, 884.36, 1017.60, 1088.27}
	for _, tonic := range []string{"C", "Eb", "F#", "Bb"} {
		temperament, err := Just(tonic)
		if err != nil {
			t.Fatal(err)
		}
		root := mustNote(t, tonic+"4")
		for i, cents := range want {
			n := root + Note(i)
			if got := 100*float64(i) + temperament.Target(n); math.Abs(got-cents) > 0.005 {
				t.Errorf("just in %s: %s lies %.3f cents above the tonic, want %.2f", tonic, n, got, cents)
			}
		}
	}
}

func TestJustNames(t *testing.T) {
	for tonic, want := range map[string]string{"C": "just in C", "d#": "just in Eb", "Cb": "just in B", "B#": "just in C", " A♭ ": "just in Ab"} {
		if got, err := Just(tonic); err != nil || got.Name != want {
			t.Errorf("Just(%q) is named %q, %v, want %q", tonic, got.Name, err, want)
		}
	}
	for _, tonic := range []string{"", "H", "C4", "C0", "C-", "4"} {
		if got, err := Just(tonic); err == nil {
			t.Errorf("Just(%q) = %s, want an error", tonic, got.Name)
		}
	}
}

// A note's own target goes before that of its pitch class.
func TestTargetsOfNotes(t *testing.T) {
	table := Temperament{Cents: [12]float64{4: -14, 7: 2}, Notes: map[Note]float64{76: -3, 60: 0}}
	for name, want := range map[string]float64{"E4": -14, "E5": -3, "E6": -14, "Fb4": -14, "G3": 2, "C4": 0, "C5": 0} {
		if got := table.Target(mustNote(t, name)); got != want {
			t.Errorf("the target of %s is %g, want %g", name, got, want)
		}
	}
}

func TestClasses(t *testing.T) {
	for text, want := range map[string]string{"C": "C", "b#": "C", "A♯": "Bb", " Cb ": "B", "E##": "F#"} {
		if got, err := ParseClass(text); err != nil || got.Name() != want {
			t.Errorf("ParseClass(%q) = %s, %v, want %s", text, got.Name(), err, want)
		}
	}
	for _, text := range []string{"", "H", "C4", "C-", "4", "C 4", "#"} {
		if got, err := ParseClass(text); err == nil {
			t.Errorf("ParseClass(%q) = %s, want an error", text, got.Name())
		}
	}
}

func TestEqualAsksNothing(t *testing.T) {
	for n := Note(-30); n < 150; n++ {
		if c := Equal.Target(n); c != 0 {
			t.Errorf("equal temperament moves %s by %v cents", n, c)
		}
	}
}

// What a written C sounds on each instrument (common practice, no source).
func TestKeys(t *testing.T) {
	for key, want := range map[Key]string{KeyBb: "Bb3", KeyC: "C4", KeyD: "D4", KeyEb: "Eb4", KeyF: "F4", KeyG: "G4", KeyA: "A3"} {
		if got := (mustNote(t, "C4") + Note(key.Semitones())).String(); got != want {
			t.Errorf("written C4 sounds %s in %s, want %s", got, key, want)
		}
	}
	if len(Keys) != len(keySemitones) {
		t.Errorf("%d keys are listed, %d have a transposition", len(Keys), len(keySemitones))
	}
}

func TestParseKey(t *testing.T) {
	for text, want := range map[string]Key{"Bb": KeyBb, "B♭": KeyBb, "bb": KeyBb, "B-flat": KeyBb, "b flat": KeyBb, " Eb ": KeyEb,
		"Eflat": KeyEb, "c": KeyC, "A": KeyA, "F": KeyF, "G": KeyG, "D": KeyD} {
		if got, err := ParseKey(text); err != nil || got != want || !got.Valid() {
			t.Errorf("ParseKey(%q) = %q, %v, want %q", text, got, err, want)
		}
	}
	for _, text := range []string{"", "H", "B", "Ab", "F#", "Bb4", "Bbb"} {
		if got, err := ParseKey(text); err == nil || got.Valid() {
			t.Errorf("ParseKey(%q) = %q, want an error", text, got)
		}
	}
}

func FuzzParseKey(f *testing.F) {
	f.Add("B♭")
	f.Add("e-FLAT")
	f.Fuzz(func(t *testing.T, text string) {
		if k, err := ParseKey(text); err == nil {
			if again, err := ParseKey(string(k)); err != nil || again != k {
				t.Fatalf("%q is %q, read back as %q, %v", text, k, again, err)
			}
		}
	})
}
