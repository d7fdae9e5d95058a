package catalog

import (
	"cmp"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/agnivade/levenshtein"
)

// Near lists up to n of the labels in have that want may have been meant for,
// the nearest first: those equal but for case, those that begin with it or hold
// it, and those a few slips of the finger away.
func Near(want string, have []string, n int) []string {
	type candidate struct {
		label    string
		distance int
	}
	folded := Fold(want)
	if folded == "" || n <= 0 {
		return nil
	}
	limit := max(2, utf8.RuneCountInString(folded)/3)
	var found []candidate
	for _, label := range have {
		f := Fold(label)
		d := levenshtein.ComputeDistance(folded, f)
		switch {
		case d <= limit && d < max(utf8.RuneCountInString(folded), utf8.RuneCountInString(f)):
		case utf8.RuneCountInString(folded) >= 2 && strings.Contains(f, folded):
			d = limit + 1
		default:
			continue
		}
		found = append(found, candidate{label, d})
	}
	slices.SortFunc(found, func(a, b candidate) int {
		return cmp.Or(cmp.Compare(a.distance, b.distance), cmp.Compare(a.label, b.label))
	})
	found = slices.CompactFunc(found, func(a, b candidate) bool { return a.label == b.label })
	out := make([]string, 0, min(n, len(found)))
	for _, c := range found[:min(n, len(found))] {
		out = append(out, c.label)
	}
	return out
}

// Missing is the NotFound error for a label, naming near ones.
func Missing(noun, want string, have []string) *Error {
	near := Near(want, have, 3)
	hint := "list what is there with: centwise " + noun + " list"
	if len(near) > 0 {
		for i := range near {
			near[i] = "\"" + near[i] + "\""
		}
		hint = "did you mean " + strings.Join(near, " or ") + "?"
	}
	return Errorf(NotFound, hint, "no %s %q in the catalog", noun, want)
}
