package show

import (
	"bytes"
	"strings"
	"testing"

	"centwise/match"
)

// compared is a ranking against Alder with Plover 16.2.
func compared() *match.Ranking {
	support := 0.7
	return &match.Ranking{Horn: "Alder", Considered: 2,
		Against: &match.Against{Horn: "Alder", Mouthpiece: "Plover 16.2", Answer: "Yes: Dunlin 16.6 should leave less."},
		Notes:   []string{"A note."},
		Pairings: []match.Pairing{
			{Rank: 1, Horn: "Alder", Mouthpiece: "Dunlin 16.6", SupportMeasured: &support,
				Gain: &match.Gain{Cents: 2.25, Low: -0.5, High: 5.04, ChanceBetter: 0.875}},
			{Rank: 2, Horn: "Alder", Mouthpiece: "Plover 16.2", Now: true},
		}}
}

func TestRankingAgainst(t *testing.T) {
	var b bytes.Buffer
	if err := Ranking(&b, Style{Terminal: true, Width: 120}, compared(), 10); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	answer, list := strings.Index(text, "Yes: Dunlin 16.6 should leave less."), strings.Index(text, "rank ")
	if answer < 0 || answer > list {
		t.Errorf("the answer does not come before the list:\n%s", text)
	}
	for _, want := range []string{"+2.2  ", "-0.5..+5.0", "88 %", "now", "0.70", "gain: how much less", "measured: support"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing:\n%s", want, text)
		}
	}
	if got := RankSentences(compared()); len(got) != 2 || got[0] != "Yes: Dunlin 16.6 should leave less." {
		t.Errorf("sentences %q", got)
	}
	b.Reset()
	if err := RankTable(compared()).WriteCSV(&b); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(b.String(), "\n")
	for i, want := range []string{",gain_cents,gain_low,gain_high,chance_better,support_measured", ",2.25,-0.5,5.04,0.875,0.7", ",,,,,"} {
		if !strings.HasSuffix(lines[i], want) {
			t.Errorf("line %d is %q, want an end of %q", i, lines[i], want)
		}
	}
	// A list that was not compared has none of this.
	plain := compared()
	plain.Against, plain.Pairings[0].SupportMeasured = nil, nil
	b.Reset()
	if err := RankTable(plain).WriteCSV(&b); err != nil || strings.Contains(b.String(), "gain") || strings.Contains(b.String(), "measured,") {
		t.Errorf("error %v:\n%s", err, b.String())
	}
}

// On narrow terminals the gains stay and what matters less goes.
func TestRankingAgainstWhereRoomIsShort(t *testing.T) {
	var b bytes.Buffer
	if err := Ranking(&b, Style{Terminal: true, Width: 60}, compared(), 10); err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(b.String(), "\n") {
		if Width(line) > 60 {
			t.Errorf("%d columns: %q", Width(line), line)
		}
	}
	if !strings.Contains(b.String(), "-0.5..+5.0") {
		t.Errorf("the interval of the gain is gone:\n%s", b.String())
	}
}
