package score

import (
	"context"
	"fmt"
	"strings"
	"testing"
)

// A part note by note: ties go on, what is struck again begins anew, and so does
// what comes out from under another.
func TestMelody(t *testing.T) {
	score := solo(tone("C4", 1, `<tie type="start"/>`)+tone("C4", 1, `<tie type="stop"/>`)+tone("C4", 1)+rest(1),
		tone("D4", 3)+`<backup><duration>2</duration></backup>`+tone("E4", 1, "<voice>2</voice>")+backBar)
	for lowest, want := range map[bool]string{
		false: "C4 0-2 C4 2-3 D4 4-5 E4 5-6 D4 6-7 C4 7-9 C4 9-10 D4 11-12 E4 12-13 D4 13-14",
		true:  "C4 0-2 C4 2-3 D4 4-7 C4 7-9 C4 9-10 D4 11-14",
	} {
		m, err := mustRead(t, score).Melody("", Options{Lowest: lowest})
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, n := range m.Notes {
			got = append(got, fmt.Sprintf("%s %g-%g", n.Note, n.Start, n.End))
		}
		if strings.Join(got, " ") != want || m.Seconds != 14 || m.Name != "Voice 1" {
			t.Errorf("%s in %v s, want %s", strings.Join(got, " "), m.Seconds, want)
		}
		struck := 0 // D4 leads when it is struck
		if lowest {
			struck = 2
		}
		if len(m.Skipped) != 1 || m.Skipped[0].Times != struck || m.Skipped[0].Seconds != 2 {
			t.Errorf("skipped %v", m.Skipped)
		}
	}
	s, err := Read(context.Background(), "pier", strings.NewReader(solo(tone("C4", 1, "<cue/>"))))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Melody("1", Options{}); err == nil || !strings.Contains(err.Error(), "nothing but cue notes") {
		t.Errorf("only cues: %v", err)
	}
}
