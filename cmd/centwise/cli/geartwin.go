package cli

import (
	"fmt"
	"strings"
	"unicode"

	"github.com/agnivade/levenshtein"

	"centwise/catalog"
)

// nearDuplicates names the records that a new one may be a second entry of: the
// same specimen of a design, or a label that differs by a slip of the pen.
func (k *gearKind[T]) nearDuplicates(item T, others []T) []string {
	var out []string
	for _, other := range others {
		label := *k.name(&other)
		switch {
		case k.sameSpecimen(item, other):
			_, serial := k.specimen(other)
			out = append(out, fmt.Sprintf("%q (same maker, model and serial number %s)", label, serial))
		case nearLabels(*k.name(&item), label):
			out = append(out, fmt.Sprintf("%q", label))
		}
	}
	return out
}

func (k *gearKind[T]) sameSpecimen(a, b T) bool {
	specimen := catalog.Specimen(k.specimen(a))
	return specimen != "" && specimen == catalog.Specimen(k.specimen(b))
}

// nearLabels reports whether two labels differ only in case, spaces and
// punctuation, or by one letter in words of four letters and more. Labels whose
// digits differ are different: they tell sizes and copies apart.
func nearLabels(a, b string) bool {
	if a == b {
		return false // the catalog itself refuses equal labels
	}
	lettersA, digitsA := split(a)
	lettersB, digitsB := split(b)
	if digitsA != digitsB {
		return false
	}
	shorter := min(len([]rune(lettersA)), len([]rune(lettersB)))
	return lettersA == lettersB || shorter >= 4 && levenshtein.ComputeDistance(lettersA, lettersB) == 1
}

// split sorts the characters of a label into letters and digits.
func split(label string) (letters, digits string) {
	var l, d strings.Builder
	for _, r := range catalog.Fold(label) {
		switch {
		case unicode.IsDigit(r):
			d.WriteRune(r)
		case unicode.IsLetter(r):
			l.WriteRune(r)
		}
	}
	return l.String(), d.String()
}
