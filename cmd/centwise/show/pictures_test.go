package show

import (
	"fmt"
	"strings"
	"testing"

	"centwise/match"
)

func TestProfilePicture(t *testing.T) {
	for _, tc := range []struct {
		name, player string
		concert      bool
	}{{"profile.svg", "", false}, {"profile_player.svg", "reed-otter", true}} {
		p := ProfilePicture(explained(tc.player), tc.concert)
		svg := drawnSVG(t, p)
		golden(t, tc.name, svg)
		for _, never := range []string{"NaN", "Inf"} {
			if strings.Contains(svg, never) {
				t.Errorf("%s holds %q", tc.name, never)
			}
		}
		wantInk(t, p)
	}
}

func TestRankPicture(t *testing.T) {
	for name, horn := range map[string]string{"ranking.svg": "Alder", "ranking_pairs.svg": ""} {
		p := RankPicture(ranked(horn), 10)
		golden(t, name, drawnSVG(t, p))
		wantInk(t, p)
	}
}

// Draws make nothing certain, in pictures and on narrow sheets too.
func TestNothingIsCertain(t *testing.T) {
	r := ranked("Alder")
	r.Pairings[0].ChanceBest = 1
	if svg := drawnSVG(t, RankPicture(r, 10)); strings.Contains(svg, "100 %") || !strings.Contains(svg, "over 99 %") {
		t.Error("a picture calls the first the best for certain")
	}
	v := visitReport().Visit
	v.Tries[0].ChanceBetter = 1
	var b strings.Builder
	if err := VisitSheet(&b, Style{}, v); err != nil || strings.Contains(b.String(), "100 %") || !strings.Contains(b.String(), "over 99 %") {
		t.Errorf("a sheet calls a try better for certain (%v):\n%s", err, b.String())
	}
}

// A long list is drawn as far as it can be read, and says so; long names are
// cut, and what users wrote is harmless.
func TestRankPictureOfMuch(t *testing.T) {
	r := &match.Ranking{Considered: 500}
	for k := range 500 {
		r.Pairings = append(r.Pairings, match.Pairing{Rank: k + 1, Horn: "Alder", Mouthpiece: fmt.Sprintf("<b>\x1b[31m no. %d %s", k, strings.Repeat("w", 60)),
			Verdict: match.Verdict{ErrorCents: 5, Low: 4, High: 6}})
	}
	svg := drawnSVG(t, RankPicture(r, 10))
	if !strings.Contains(svg, "The first 60 of 500.") || !strings.Contains(svg, "no. 59 ") || strings.Contains(svg, "no. 60 ") {
		t.Error("not the first 60 are drawn")
	}
	if strings.Contains(svg, "\x1b") || strings.Contains(svg, "<b>") || strings.Contains(svg, strings.Repeat("w", 60)) {
		t.Error("a label is drawn as it came")
	}
}
