package show

import (
	"bytes"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/match"
	"centwise/match/fit"
)

// explained is a prediction of a few notes whose sums come out.
func explained(player string) *match.Explanation {
	support := 0.73
	line := func(note, concert, valves string, partial int, horn, mouthpiece, who, pair, sd, slide, throw float64) match.NoteLine {
		sum := horn + mouthpiece + who + pair
		return match.NoteLine{Note: note, Concert: concert, Valves: valves, Partial: partial,
			Horn: horn, Mouthpiece: mouthpiece, Player: who, Pair: pair, Cents: sum, SD: sd, Low: sum - 1.28*sd, High: sum + 1.28*sd,
			Slide: slide, Throw: throw, Reach: 20, Left: sum - slide - throw, Weight: 1, Help: &support}
	}
	return &match.Explanation{
		Horn: "Alder", Mouthpiece: "Plover 16.2", Player: player, Temperament: "equal", ToleranceCents: 10,
		Verdict:    match.Verdict{ErrorCents: 5.2, Low: 3.9, High: 6.8, Support: &support, Worst: match.NoteCents{Note: "E5", Cents: -9.1}},
		SlideCents: 2.5, SlideMM: 1.07, Linked: true, Basis: fit.BasisMeasured,
		Notes: []match.NoteLine{
			line("F#3", "E3", "123", 2, 31.25, 2.5, 0.75, 0.25, 4, 1.75, 20),
			line("C4", "Bb3", "0", 2, -4.5, 0.5, 0, -0.25, 3.5, 2.5, 0),
			line("E5", "D5", "0", 5, -9, 2.25, -0.5, 0.5, 3, 2.5, 0),
			line("C6", "Bb5", "0", 8, 2, -6.5, 0.25, 0, 12, 2.5, 0),
		},
		Cures: []match.Change{}, Spoils: []match.Change{},
		Words: []string{"Plover 16.2 helps C6 (9 sharp with a typical mouthpiece, 2 sharp with this one)."},
	}
}

func TestExplanation(t *testing.T) {
	for _, tc := range []struct {
		name    string
		style   Style
		player  string
		concert bool
	}{
		{"explanation_60.txt", Style{Terminal: true, Width: 60}, "", false},
		{"explanation_100.txt", Style{Terminal: true, Width: 100, Unicode: true}, "", false},
		{"explanation_140_player.txt", Style{Terminal: true, Width: 140, Unicode: true, Colour: true}, "reed-otter", true},
	} {
		var b bytes.Buffer
		if err := Explanation(&b, tc.style, explained(tc.player), tc.concert); err != nil {
			t.Fatal(err)
		}
		golden(t, tc.name, b.String())
	}
}

// A program gets every number of every note in full.
func TestNoteTableCSV(t *testing.T) {
	var b bytes.Buffer
	if err := NoteTable(explained(""), false).WriteCSV(&b); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(b.String(), "\n")
	if want := "note,concert,valves,partial,horn,mouthpiece,player,pair,cents,sd,low,high,target,slide,throw,left,support,support_measured"; lines[0] != want {
		t.Errorf("heading %q, want %q", lines[0], want)
	}
	if want := "F#3,E3,123,2,31.25,2.5,0.75,0.25,34.75,4,29.63,39.87,0,1.75,20,13,0.73,"; lines[1] != want {
		t.Errorf("first row %q, want %q", lines[1], want)
	}
}

func TestExplanationSaysWhenIntervalsAreWide(t *testing.T) {
	x := explained("")
	if text := wideLine(x); text != "" {
		t.Errorf("narrow intervals: %q", text)
	}
	x.TypicalSD = 7
	if text := wideLine(x); !strings.Contains(text, "plus or minus 9 cents") {
		t.Errorf("wide intervals: %q", text)
	}
}

func TestExplanationShowsATarget(t *testing.T) {
	x := explained("")
	x.Temperament = "just in C"
	var b bytes.Buffer
	if err := Explanation(&b, Style{Terminal: true, Width: 140}, x, false); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(b.String(), "target") || !strings.Contains(b.String(), "sum - target - slide - throw") {
		t.Errorf("no target in:\n%s", b.String())
	}
}

func TestSlideLine(t *testing.T) {
	for mm, want := range map[float64]string{1.07: "1.1 mm further out", -1.07: "1.1 mm further in", 0.4: "", -0.4: ""} {
		got := slideLine(&match.Explanation{SlideMM: mm})
		if (want == "") != (got == "") || !strings.Contains(got, want) {
			t.Errorf("%v mm: %q, want %q", mm, got, want)
		}
	}
}

func ranked(horn string) *match.Ranking {
	support := 0.71
	return &match.Ranking{
		Horn: horn, SortedBy: match.SortError, Considered: 7,
		Pairings: []match.Pairing{
			{Rank: 1, Horn: "Alder", Mouthpiece: "Plover 16.2", ChanceBest: 0.62, Evidence: 9, PairSessions: 2, Basis: fit.BasisMeasured, Linked: true,
				Verdict: match.Verdict{ErrorCents: 4.26, Low: 3.4, High: 5.3, ChanceTolerable: 0.99, Support: &support, Worst: match.NoteCents{Note: "E5", Cents: -8.4}}},
			{Rank: 2, Horn: "Alder", Mouthpiece: "Dunlin 16.6", ChanceBest: 0.3, Evidence: 3, Basis: fit.BasisDesign, Linked: false,
				Verdict: match.Verdict{ErrorCents: 4.9, Low: 3.1, High: 7, ChanceTolerable: 0.97, Worst: match.NoteCents{Note: "C#4", Cents: 12}}},
			{Rank: 3, Horn: "Alder", Mouthpiece: "+Knot", ChanceBest: 0.08, Evidence: 0, Basis: fit.BasisPrior, Linked: false, Adapter: true,
				Verdict: match.Verdict{ErrorCents: 6.1, Low: 3.1, High: 9, ChanceTolerable: 0.9, Worst: match.NoteCents{Note: "A5", Cents: 3.2}}},
		},
		Notes: []string{"2 of 7 pairings are not linked: no chain of sessions connects horn and mouthpiece."},
	}
}

func TestRanking(t *testing.T) {
	for _, tc := range []struct {
		name, horn string
		style      Style
	}{
		{"ranking_60.txt", "Alder", Style{Terminal: true, Width: 60}},
		{"ranking_100.txt", "Alder", Style{Terminal: true, Width: 100}},
		{"ranking_pairs_120.txt", "", Style{Terminal: true, Width: 120, Colour: true}},
	} {
		var b bytes.Buffer
		if err := Ranking(&b, tc.style, ranked(tc.horn), 10); err != nil {
			t.Fatal(err)
		}
		golden(t, tc.name, b.String())
	}
}

func TestRankTableCSV(t *testing.T) {
	var b bytes.Buffer
	if err := RankTable(ranked("Alder")).WriteCSV(&b); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(b.String(), "\n")
	if want := "rank,horn,mouthpiece,error_cents,low,high,chance_best,chance_tolerable,worst_note,worst_cents,support,evidence,basis,linked"; lines[0] != want {
		t.Errorf("heading %q, want %q", lines[0], want)
	}
	if want := "1,Alder,Plover 16.2,4.26,3.4,5.3,0.62,0.99,E5,-8.4,0.71,9,measured,true"; lines[1] != want {
		t.Errorf("first row %q, want %q", lines[1], want)
	}
	if want := "3,Alder,'+Knot,6.1,3.1,9,0.08,0.9,A5,3.2,,0,prior only,false"; lines[3] != want {
		t.Errorf("third row %q, want %q", lines[3], want)
	}
}

func TestPairWriter(t *testing.T) {
	line := match.PairCents{Horn: "Alder", Mouthpiece: "=Plover\x1b[0m", Fingering: "13", Partial: 3, Cents: -1.5, SD: 2.25, Linked: true}
	for _, tc := range []struct {
		name      string
		json, csv bool
		want      string
	}{
		{"csv", false, true, "horn,mouthpiece,fingering,partial,cents,sd,linked\nAlder,'=Plover,13,3,-1.5,2.25,true\nAlder,'=Plover,13,3,-1.5,2.25,true\n"},
		{"tabs", false, false, "horn\tmouthpiece\tfingering\tpartial\tcents\tsd\tlinked\nAlder\t=Plover\t13\t3\t-1.5\t2.25\ttrue\nAlder\t=Plover\t13\t3\t-1.5\t2.25\ttrue\n"},
		{"json", true, false, `{
  "predictions": [
    {"horn":"Alder","mouthpiece":"=Plover\u001b[0m","fingering":"13","partial":3,"cents":-1.5,"sd":2.25,"linked":true},
    {"horn":"Alder","mouthpiece":"=Plover\u001b[0m","fingering":"13","partial":3,"cents":-1.5,"sd":2.25,"linked":true}
  ]
}
`},
	} {
		var b bytes.Buffer
		w := NewPairWriter(&b, tc.json, tc.csv)
		for range 2 {
			if err := w.Write(line); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		if b.String() != tc.want {
			t.Errorf("%s: %q, want %q", tc.name, b.String(), tc.want)
		}
	}
}

func TestPairWriterOfNothing(t *testing.T) {
	var a, b bytes.Buffer
	if err := NewPairWriter(&a, true, false).Close(); err != nil || a.String() != "{\n  \"predictions\": []\n}\n" {
		t.Errorf("JSON %q (%v)", a.String(), err)
	}
	if err := NewPairWriter(&b, false, true).Close(); err != nil || b.String() != "horn,mouthpiece,fingering,partial,cents,sd,linked\n" {
		t.Errorf("CSV %q (%v)", b.String(), err)
	}
}

func TestFinding(t *testing.T) {
	var b bytes.Buffer
	f := catalog.Finding{Kind: "sign-flipped", Session: "bay-014", Detail: "every note is the other way round than expected, as if sharp had been written as flat", Certainty: 0.97, Repair: "centwise session retract bay-014"}
	if err := Finding(&b, Style{Terminal: true, Width: 60}, f); err != nil {
		t.Fatal(err)
	}
	want := `sign-flipped bay-014 (97 % sure)
  every note is the other way round than expected, as if
  sharp had been written as flat
  next: centwise session retract bay-014
`
	if b.String() != want {
		t.Errorf("got:\n%s", b.String())
	}
}

// Where a support comes from is said, whichever of the two is known.
func TestSupportSaysWhereItIsFrom(t *testing.T) {
	predicted, measured := 0.731, 0.556
	for want, x := range map[string]*match.Explanation{
		"":                             {},
		"Harmonic support 0.73 of 1: ": {Verdict: match.Verdict{Support: &predicted}},
		"Harmonic support 0.56 of 1 by the resonances measured in 1 impedance session: ": {Impedance: &match.ImpedanceSupport{Support: &measured, Sessions: 1}},
		"Harmonic support 0.73 of 1 by the predicted notes, 0.56 by the resonances measured in 2 impedance sessions: ": {
			Verdict: match.Verdict{Support: &predicted}, Impedance: &match.ImpedanceSupport{Support: &measured, Sessions: 2}},
	} {
		got := supportLine(x)
		if head, _, _ := strings.Cut(got, ": "); got != "" && head+": " != want || got == "" && want != "" {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if supportLine(&match.Explanation{Verdict: match.Verdict{Support: &predicted}, Impedance: &match.ImpedanceSupport{Sessions: 1}}) != supportLine(&match.Explanation{Verdict: match.Verdict{Support: &predicted}}) {
		t.Error("sessions without support change the sentence")
	}
}
