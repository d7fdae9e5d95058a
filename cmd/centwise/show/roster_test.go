package show

import (
	"strings"
	"testing"

	"centwise/match"
)

func someRoster() *match.Roster {
	cents := 5.0
	line := match.RosterLine{Student: "reed-otter", Horn: "Hazel", Mouthpiece: "Plover 16.2", Own: true, NowHorn: "Rowan", NowCents: &cents, Moved: true,
		Gain: &match.Gain{Cents: 1.25, Low: 0.5, High: 2, ChanceBetter: 0.95}, RunnerUp: &match.RunnerUp{Horn: "Elm", CostCents: 0.31}}
	line.ErrorCents, line.Low, line.High = 3.75, 3, 4.5
	line.Worst = match.NoteCents{Note: "G4", Cents: 9}
	r := &match.Roster{Lines: []match.RosterLine{line}, MeanCents: 3.75, WorstCents: 3.75, WorstOf: "reed-otter", Moved: 1,
		Gain: &match.ClassGain{Students: 1, Gain: *line.Gain, WorseOff: 0.1}, Spare: []string{"Rowan", "Elm"}}
	r.Unserved = []match.Unserved{
		{Student: "a", Students: []string{"a", "b"}, Horns: []string{"H"}},
		{Student: "c", Students: []string{"b", "c"}, Horns: []string{"H"}},
		{Student: "d", Reason: "no horn will do"}, {Student: "e", Students: []string{"e", "f", "g"}, Mouthpieces: []string{"M", "M"}}}
	return r
}

func TestRosterSentences(t *testing.T) {
	r := someRoster()
	r.WhatIf = &match.WhatIfOutcome{TotalCents: -1.5, Different: 2, Served: 1}
	text := strings.Join(RosterSentences(r), "\n")
	for _, want := range []string{
		"3.8 cents are left to the lip on average, 3.8 for reed-otter",
		"1.2 cents a student less than what is played now by all of them (80 % chance that it falls by +0.5 to +2.0); 1 student gets another horn",
		"What if: the total falls by 1.5 cents, changes counted, and 2 students get something else; 1 student more can be served.",
		"a, c get no horn: 3 students can have no more than 1 horn between them (a, b, c: H).",
		"d gets no horn: no horn will do.",
		"e gets no horn: 3 students can have no more than 2 mouthpieces between them (e, f, g: M, M).",
		"Horns left over: Rowan, Elm.",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in\n%s", want, text)
		}
	}
}

// Names are in no output unless they are asked for, whatever the form.
func TestRosterNames(t *testing.T) {
	r := someRoster()
	for _, names := range []map[string]string{nil, {"reed-otter": "R. Sedge"}} {
		var b strings.Builder
		if err := RosterTable(r, names).WriteCSV(&b); err != nil {
			t.Fatal(err)
		}
		if err := RosterTable(r, names).Write(&b, Style{Terminal: true, Width: 100}); err != nil {
			t.Fatal(err)
		}
		if err := JSON(&b, NamedRoster(r, names)); err != nil {
			t.Fatal(err)
		}
		if n := strings.Count(b.String(), "R. Sedge"); n != 3*len(names) {
			t.Errorf("%d names with %v:\n%s", n, names, b.String())
		}
	}
}

func TestRosterWithoutNow(t *testing.T) {
	r := someRoster()
	style := Style{Terminal: true, Width: 100}
	if !RosterTable(r, nil).Shows(style, "gain") {
		t.Error("no gain is shown")
	}
	r.Lines[0].NowHorn = ""
	if table := RosterTable(r, nil); table.Shows(style, "gain") || table.Shows(style, "now") {
		t.Error("a gain over nothing is shown")
	}
}
