package score

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog/pitch"
)

func mustMelody(t testing.TB, content, which string, o Options) *Melody {
	t.Helper()
	m, err := mustRead(t, content).Melody(which, o)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// line writes notes with their times: "C4:0-1 D4:1-1.5".
func line(notes []Played) string {
	var out []string
	for _, n := range notes {
		out = append(out, fmt.Sprintf("%s:%.6g-%.6g", n.Note, n.Start, n.End))
	}
	return strings.Join(out, " ")
}

// By hand: a quarter note is a division and lasts a second.
func TestMelody(t *testing.T) {
	const second = "<voice>2</voice>"
	back := func(n string) string { return "<backup><duration>" + n + "</duration></backup>" }
	for _, c := range []struct {
		name, measures string
		lowest         bool
		want           string
	}{
		{"notes and rests", tone("C4", 1) + rest(2) + tone("D4", 0.5) + tone("C4", 1.5), false, "C4:0-1 D4:3-3.5 C4:3.5-5"},
		{"struck again", tone("C4", 1) + tone("C4", 1), false, "C4:0-1 C4:1-2"},
		{"tied", tone("C4", 2, `<tie type="start"/>`) + tone("C4", 1, `<tie type="stop"/>`) + tone("D4", 1), false, "C4:0-3 D4:3-4"},
		{"a chord", tone("C4", 2) + tone("E4", 2, "<chord/>") + tone("D4", 1), false, "E4:0-2 D4:2-3"},
		{"its lowest", tone("C4", 2) + tone("E4", 2, "<chord/>") + tone("D4", 1), true, "C4:0-2 D4:2-3"},
		{"a note that is passed over for a while", tone("C4", 4) + back("3") + tone("G4", 1, second), false, "C4:0-1 G4:1-2 C4:2-4"},
		{"a note under a long one", tone("G4", 4) + back("3") + tone("C4", 1, second), false, "G4:0-4"},
		{"unison, one struck later", tone("G4", 4) + back("3") + tone("G4", 1, second), false, "G4:0-1 G4:1-4"},
		{"a repeat", `<barline location="left"><repeat direction="forward"/></barline>` + tone("C4", 1) + tone("D4", 1) + `<barline location="right"><repeat direction="backward"/></barline>`, false,
			"C4:0-1 D4:1-2 C4:2-3 D4:3-4"},
		{"outside the instrument", tone("C2", 1) + tone("C4", 1), false, "C2:0-1 C4:1-2"},
	} {
		m := mustMelody(t, solo(c.measures), "", Options{Lowest: c.lowest})
		if got := line(m.Notes); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
		if last := m.Notes[len(m.Notes)-1].End; last > m.Seconds+1e-9 {
			t.Errorf("%s: the last note ends at %g of %g s", c.name, last, m.Seconds)
		}
	}
}

func TestMelodyOfAnotherInstrument(t *testing.T) {
	up := 0 // an instrument in C reads what sounds
	written := `<attributes><transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose></attributes>` + tone("D4", 1)
	if got := line(mustMelody(t, solo(written), "", Options{Transposition: &up}).Notes); got != "C4:0-1" {
		t.Errorf("read in C: %s", got)
	}
}

func TestMelodyErrors(t *testing.T) {
	for _, c := range []struct{ content, which, want string }{
		{solo(rest(4)), "", "no part with pitched notes"},
		{solo(tone("D4", 2, "<cue/>")), "1", "nothing but cue notes"},
		{scoreOf("", partOf("P1", tone("C4", 1)), partOf("P2", tone("C4", 1))), "", "several parts"},
	} {
		_, err := mustRead(t, c.content).Melody(c.which, Options{})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("error %v, want %q", err, c.want)
		}
	}
}

// Whatever sounds: one note at a time, in order, and at every moment the highest
// (the lowest) of those that sound.
func TestSingleLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lowest := rapid.Bool().Draw(t, "lowest")
		intervals := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) interval {
			start := rapid.IntRange(0, 20).Draw(t, "start")
			return interval{float64(start) / 4, float64(start+rapid.IntRange(0, 8).Draw(t, "length")) / 4,
				pitch.Note(rapid.IntRange(60, 64).Draw(t, "note")), rapid.Bool().Draw(t, "struck")}
		}), 0, 12).Draw(t, "intervals")
		notes, _ := singleLine(intervals, lowest)
		for i, n := range notes {
			if !(n.End > n.Start) || i > 0 && n.Start < notes[i-1].End {
				t.Fatalf("%s", line(notes))
			}
		}
		for moment := 0.125; moment < 8; moment += 0.25 {
			var want, got pitch.Note
			for _, v := range intervals {
				if v.start < moment && moment < v.end && (want == 0 || v.note > want != lowest) {
					want = v.note
				}
			}
			for _, n := range notes {
				if n.Start < moment && moment < n.End {
					got = n.Note
				}
			}
			if got != want {
				t.Fatalf("at %g s %s sounds in %s, want %s", moment, got, line(notes), want)
			}
		}
	})
}
