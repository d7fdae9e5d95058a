package cli

import (
	"strings"
	"testing"

	"centwise/catalog/pitch"
	"centwise/importers/score"
)

func TestPartOptions(t *testing.T) {
	for line, want := range map[string]partOptions{
		"march.mid":                           {file: "march.mid", valves: 3},
		"march.mid 2 --lowest":                {file: "march.mid", part: "2", lowest: true, valves: 3},
		"a.mxl P1 --key Eb --valves 4 --json": {file: "a.mxl", part: "P1", key: "Eb", valves: 4, output: outputFlags{json: true}},
		"a.mxl --save w.csv --force --csv":    {file: "a.mxl", save: "w.csv", force: true, valves: 3, output: outputFlags{csv: true}},
	} {
		f := closedFactory(t)
		var got partOptions
		if err := parse(newPartCmd(f, func(o *partOptions) error { got = *o; return nil }), strings.Fields(line)...); err != nil {
			t.Errorf("%s: %v", line, err)
			continue
		}
		want.factory = f
		if got != want {
			t.Errorf("%s: %+v, want %+v", line, got, want)
		}
	}
}

// What a written C sounds on each instrument (common practice, no source).
func TestPartTransposition(t *testing.T) {
	for text, want := range map[string]int{"Bb": -2, "b♭": -2, "C": 0, "Eb": 3, "A": -3, "Bb piccolo": 10, "Piccolo in A": 9, "piccolo bb": 10} {
		got, err := partTransposition("key", text)
		if err != nil || got == nil || *got != want {
			t.Errorf("%q: %v, %v, want %d", text, got, err, want)
		}
	}
	if got, err := partTransposition("key", ""); got != nil || err != nil {
		t.Errorf("none: %v, %v", got, err)
	}
	for _, text := range []string{"H", "piccolo", "Bb4", "Bb Bb"} {
		if _, err := partTransposition("key", text); codeOf(err) != exitUsage {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// Clicks shorter than the least weight are left out.
func TestPartWeights(t *testing.T) {
	got := partWeights(&score.Part{Durations: map[pitch.Note]float64{60: 2, 62: 5e-7}})
	if len(got) != 1 || got[60] != 2 {
		t.Errorf("weights %v", got)
	}
}

func TestCountedRemarks(t *testing.T) {
	p := &score.Part{
		Skipped: []score.Skipped{{What: "grace notes", Times: 2}, {What: "notes under a higher one", Seconds: 0.25}, {What: "cue notes", Times: 1, Seconds: 2}},
		Remarks: []string{"Something else."},
	}
	for n := pitch.Note(40); n < 52; n++ {
		p.Beyond = append(p.Beyond, score.Beyond{Note: n, Times: 2, Seconds: 0.5})
	}
	want := []string{
		"Not counted, beyond the range of the instrument: E2, F2, F#2, G2, Ab2, A2, Bb2, B2, 4 more (24, 6.0 s).",
		"Not counted: grace notes (2).", "Not counted: notes under a higher one (0.2 s).", "Not counted: cue notes (1, 2.0 s).", "Something else.",
	}
	if got := countedRemarks(p); strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got\n%s", strings.Join(got, "\n"))
	}
}
