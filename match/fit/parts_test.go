package fit

import (
	"fmt"
	"strings"
	"testing"
)

// describe writes parts as "sessions: horns + mouthpieces".
func describe(parts []Part) string {
	var out []string
	for _, p := range parts {
		var horns, mouthpieces []string
		for _, h := range p.Horns {
			horns = append(horns, h.Label)
		}
		for _, m := range p.Mouthpieces {
			mouthpieces = append(mouthpieces, m.Label)
		}
		out = append(out, fmt.Sprintf("%d: %s + %s", p.Sessions, strings.Join(horns, ", "), strings.Join(mouthpieces, ", ")))
	}
	return strings.Join(out, "; ")
}

// Parts list what was measured, the most measured first, and become one with
// the session that joins them; gear without sessions is in none.
func TestPartsAreListed(t *testing.T) {
	slots := usualSlots()[5:9]
	s := newShelf([]string{"Alder", "Aspen", "Hazel", "Rowan"}, []string{"Dunlin 16.6", "Knot 16.4", "Plover 16.2", "Stilt 16.7"}, labels("player", 1))
	measure := func(horn, mouthpiece string) {
		s.measure(horn, mouthpiece, "player001", slots, func(int) float64 { return 1 })
	}
	check := func(want string) {
		t.Helper()
		if got := describe(s.fit(t, Options{Draws: 2}).Parts()); got != want {
			t.Errorf("parts %q, want %q", got, want)
		}
	}
	check("")
	measure("Rowan", "Dunlin 16.6")
	measure("Alder", "Plover 16.2")
	measure("Aspen", "Knot 16.4")
	measure("Aspen", "Plover 16.2")
	check("3: Aspen, Alder + Plover 16.2, Knot 16.4; 1: Rowan + Dunlin 16.6")
	measure("Rowan", "Knot 16.4")
	check("5: Aspen, Rowan, Alder + Knot 16.4, Plover 16.2, Dunlin 16.6")
}
