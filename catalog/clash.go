package catalog

import (
	"slices"
	"strings"
	"unicode/utf8"
)

// Stated is a record with the label, or name, that it was given.
type Stated struct {
	ID    ID
	Label string
}

// Distinct gives every record a label of its own. Of records that were given
// the same label, as happens when catalogs are pooled, the one that was made
// first (with the lowest id) keeps it; the others get the end of their id
// behind it. What a label becomes depends on the records alone, not on the
// order in which catalogs were merged. records must hold, of every label that
// several were given, all that were given it; taken reports whether a label
// was given to any record at all.
func Distinct(records []Stated, taken func(label string) (bool, error)) (map[ID]string, error) {
	sorted := slices.Clone(records)
	slices.SortFunc(sorted, func(a, b Stated) int { return strings.Compare(string(a.ID), string(b.ID)) })
	shown := make(map[ID]string, len(sorted))
	given, made := map[string]bool{}, map[string]bool{}
	for _, r := range sorted {
		if !given[r.Label] {
			given[r.Label] = true
			shown[r.ID] = r.Label
		}
	}
	for _, r := range sorted {
		if _, ok := shown[r.ID]; ok {
			continue
		}
		for try := 0; ; try++ {
			label := marked(r, try)
			used, err := taken(label)
			if err != nil {
				return nil, err
			}
			if !used && !made[label] {
				made[label], shown[r.ID] = true, label
				break
			}
		}
	}
	return shown, nil
}

// marked is a label with the end of the record's id behind it, all of the id
// if that is not enough, then with more and more signs behind that.
func marked(r Stated, try int) string {
	id := string(r.ID)
	mark := " (" + id + strings.Repeat("+", max(0, try-1)) + ")"
	if try == 0 {
		mark = " (" + id[max(0, len(id)-5):] + ")"
	}
	label := []rune(r.Label)
	room := max(0, MaxLabelLength-utf8.RuneCountInString(mark))
	return NormalLabel(string(label[:min(len(label), room)])) + mark
}
