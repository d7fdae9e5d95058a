package twins

import (
	"unicode/utf8"

	"github.com/hbollon/go-edlib"
)

// alike is how alike two spellings are, from 0 to 1: the share of letters that a
// slip of the pen has not touched, as words are laid beside each other in any
// order, split or run together. Spellings with different marks are not alike, nor
// are those of which a word has more slips than people make.
func alike(a, b spelling) float64 {
	switch {
	case a.marks != b.marks:
		return 0
	case a.letters == b.letters:
		return 1
	case a.letters == "" || b.letters == "":
		return 0
	}
	longest := max(utf8.RuneCountInString(a.letters), utf8.RuneCountInString(b.letters))
	slips := min(laidBeside(a.words, b.words), laidBeside(b.words, a.words))
	return max(0, 1-float64(slips)/float64(longest))
}

// tolerable is how many slips a word of so many letters may have.
func tolerable(letters int) int {
	switch {
	case letters < 4:
		return 0
	case letters < 9:
		return 1
	case letters < 14:
		return 2
	}
	return 3
}

// slipsOf counts letters left out, put in, taken for another or exchanged with
// their neighbour (optimal string alignment).
func slipsOf(a, b string) int {
	if a == b {
		return 0
	}
	return edlib.OSADamerauLevenshteinDistance(a, b)
}

// laidBeside counts the slips when each word of a is laid beside the word of b, or
// two of them, that is nearest. A word without one counts by its letters.
func laidBeside(a, b []string) int {
	total := 0
	used := make([]bool, len(b))
	for _, word := range a {
		best, at, both := utf8.RuneCountInString(word), -1, false
		for j := range b {
			if used[j] {
				continue
			}
			if d, ok := slipsOfWords(word, b[j]); ok && d < best {
				best, at, both = d, j, false
			}
			if j+1 < len(b) && !used[j+1] {
				if d, ok := slipsOfWords(word, b[j]+b[j+1]); ok && d < best {
					best, at, both = d, j, true
				}
			}
		}
		total += best
		if at >= 0 {
			used[at] = true
			if both {
				used[at+1] = true
			}
		}
	}
	for j, word := range b {
		if !used[j] {
			total += utf8.RuneCountInString(word)
		}
	}
	return total
}

func slipsOfWords(a, b string) (int, bool) {
	shorter, longer := utf8.RuneCountInString(a), utf8.RuneCountInString(b)
	if shorter > longer {
		shorter, longer = longer, shorter
	}
	allowed := tolerable(shorter)
	if longer-shorter > allowed {
		return 0, a == b
	}
	d := slipsOf(a, b)
	return d, d <= allowed
}

// namedLike compares makers and models. Known is false where either says too
// little: no model. A maker that is not stated may be the other's.
func (d design) namedLike(e design) (likeness float64, known bool) {
	if d.model.empty() || e.model.empty() {
		return 0, false
	}
	likeness = alike(d.both, e.both)
	// A model that is nothing but a number could be anybody's.
	if d.maker.empty() != e.maker.empty() && d.model.letters != "" {
		likeness = max(likeness, noMaker*alike(d.model, e.model))
	}
	return likeness, true
}

// noMaker is what a likeness is worth when one maker is not stated.
const noMaker = 0.93

// design is what a record says of its design.
type design struct{ maker, model, both spelling }

func newDesign(maker, model string) design {
	d := design{maker: spell(maker, false), model: newSpelling(model)}
	d.both = d.maker.with(d.model)
	return d
}
