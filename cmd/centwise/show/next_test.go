package show

import (
	"strings"
	"testing"

	"centwise/match"
)

// A legend speaks of the columns that there is room for.
func TestNextLegend(t *testing.T) {
	n := &match.Next{
		Sessions: []match.NextSession{{Rank: 1, Horn: "Alder", Mouthpiece: "Plover 16.2", Player: "reed-otter", ForHorn: "Hawthorn", ForPlayer: "silver-eel"}},
		Choices:  []match.ChoiceState{{Horn: "Alder", Player: "silver-eel", Best: "Curlew 17.0 second"}},
	}
	for columns, want := range map[int]bool{60: false, 120: true} {
		var out strings.Builder
		if err := Next(&out, Style{Terminal: true, Width: columns}, n); err != nil {
			t.Fatal(err)
		}
		if got := strings.Contains(out.String(), "sessions:"); got != want {
			t.Errorf("%d columns: sessions explained %t, want %t:\n%s", columns, got, want, &out)
		}
		if !strings.Contains(out.String(), "saves:") || !strings.Contains(out.String(), "regret:") {
			t.Errorf("%d columns: columns that are always there are not explained:\n%s", columns, &out)
		}
	}
}
