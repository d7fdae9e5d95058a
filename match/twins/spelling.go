// Package twins finds what was entered twice: one horn or mouthpiece under two
// labels, one design under two spellings. It compares texts and what is measured;
// nobody but the users can know, so it proposes, with its evidence.
package twins

import (
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"centwise/catalog"
)

// spelling is a text without what people write differently: case, punctuation,
// accents, order, "Mk II" for "mark 2", words that say nothing.
type spelling struct {
	words []string // of three letters and more, in order
	// marks are the numbers and the short codes, sorted: they tell models and
	// copies apart, so a slip in them can't be told from another model.
	marks   string
	letters string // the words without spaces
}

// empty reports whether nothing is left.
func (s spelling) empty() bool { return s.letters == "" && s.marks == "" }

// same reports whether two spellings differ in nothing but what is no difference.
func (s spelling) same(t spelling) bool { return s.marks == t.marks && s.letters == t.letters }

// withoutMarks is the spelling without the marks that another one has too, unless
// nothing would be left: a label may name the model in full or by its word alone.
func (s spelling) withoutMarks(t spelling) spelling {
	marks := strings.Fields(s.marks)
	for _, m := range strings.Fields(t.marks) {
		if at := slices.Index(marks, m); at >= 0 {
			marks = slices.Delete(marks, at, at+1)
		}
	}
	if len(s.words) == 0 && len(marks) == 0 {
		return s
	}
	return made(s.words, marks)
}

// fillers say nothing of a name. After those that are true, a single i, v or x is
// a number.
var fillers = map[string]bool{
	"mark": true, "mk": true, "no": true, "nr": true, "num": true, "number": true, "model": true, "mod": true, "type": true,
	"size": true, "series": true, "version": true, "gen": true,
	"the": false, "and": false, "of": false, "by": false, "co": false, "company": false, "ltd": false, "limited": false, "inc": false,
	"corp": false, "gmbh": false, "kg": false, "ag": false,
}

// numerals are numbers that people write as words or in the Roman way.
var numerals = map[string]string{
	"one": "1", "two": "2", "three": "3", "four": "4", "five": "5", "six": "6", "seven": "7", "eight": "8", "nine": "9", "ten": "10",
	"eleven": "11", "twelve": "12",
	"ii": "2", "iii": "3", "iv": "4", "vi": "6", "vii": "7", "viii": "8", "ix": "9", "xi": "11", "xii": "12",
}

// singleNumerals are numbers only where a number is expected.
var singleNumerals = map[string]string{"i": "1", "v": "5", "x": "10"}

// plainLetters writes letters that no normal form takes apart.
var plainLetters = strings.NewReplacer("æ", "ae", "œ", "oe", "ø", "o", "ł", "l", "đ", "d", "ð", "d", "þ", "th", "ı", "i")

// longestCode is the length up to which letters are a code.
const longestCode = 2

func newSpelling(text string) spelling { return spell(text, true) }

// spell takes short words for codes, or for words as those of makers are: O'Haligan.
func spell(text string, codes bool) spelling {
	var s spelling
	var marks []string
	numberNext, afterNumber := false, false
	for _, token := range tokens(text) {
		expected, behind := numberNext, afterNumber
		numberNext, afterNumber = false, false
		strong, filler := fillers[token]
		number, isNumeral := numerals[token]
		single, isSingle := singleNumerals[token]
		switch {
		case token[0] >= '0' && token[0] <= '9':
			marks, afterNumber = append(marks, plainNumber(token)), true
		case filler:
			numberNext = strong
		case behind && ordinal[token]:
		case isNumeral:
			marks = append(marks, number)
		case expected && isSingle:
			marks = append(marks, single)
		case codes && len([]rune(token)) <= longestCode:
			marks = append(marks, token)
		default:
			s.words = append(s.words, token)
		}
	}
	return made(s.words, marks)
}

func made(words, marks []string) spelling {
	slices.Sort(marks)
	return spelling{words, strings.Join(marks, " "), strings.Join(words, "")}
}

// with is both spellings, one behind the other.
func (s spelling) with(t spelling) spelling {
	return made(slices.Concat(s.words, t.words), append(strings.Fields(s.marks), strings.Fields(t.marks)...))
}

// without is the spelling without some words, unless nothing would be left.
func (s spelling) without(drop func(word string) bool) spelling {
	words := slices.DeleteFunc(slices.Clone(s.words), drop)
	if len(words) == 0 && s.marks == "" {
		return s
	}
	return made(words, strings.Fields(s.marks))
}

// ordinal endings say nothing behind a number.
var ordinal = map[string]bool{"st": true, "nd": true, "rd": true, "th": true}

// tokens cuts a text into runs of letters and numbers. A point or comma between
// digits belongs to the number.
func tokens(text string) []string {
	runes := []rune(plainLetters.Replace(norm.NFD.String(catalog.Fold(text))))
	var out []string
	var token []rune
	end := func() {
		if len(token) > 0 {
			out = append(out, splitMark(string(token))...)
		}
		token = token[:0]
	}
	digit := func(i int) bool { return i >= 0 && i < len(runes) && unicode.IsDigit(runes[i]) }
	for i, r := range runes {
		switch {
		case unicode.Is(unicode.Mn, r), r == '\'', r == '’':
		case unicode.IsDigit(r):
			if len(token) > 0 && !unicode.IsDigit(token[0]) {
				end()
			}
			token = append(token, asciiDigit(r))
		case (r == '.' || r == ',') && digit(i-1) && digit(i+1):
			token = append(token, '.')
		case unicode.IsLetter(r):
			if len(token) > 0 && unicode.IsDigit(token[0]) {
				end()
			}
			token = append(token, r)
		default:
			end()
		}
	}
	end()
	return out
}

// asciiDigit is a digit of any script as 0 to 9; others become 0.
func asciiDigit(r rune) rune {
	// Decimal digits of a script stand in a row of ten that begins at a multiple
	// of their block (The Unicode Standard, section 4.6).
	for d := range rune(10) {
		if !unicode.IsDigit(r-d-1) || d == 9 {
			return '0' + d
		}
	}
	return '0'
}

// splitMark takes "mkii" apart.
func splitMark(token string) []string {
	for _, mark := range []string{"mark", "mk"} {
		rest, ok := strings.CutPrefix(token, mark)
		if _, roman := numerals[rest]; ok && (roman || singleNumerals[rest] != "") {
			return []string{mark, rest}
		}
	}
	return []string{token}
}

// plainNumber is a number without noughts that say nothing.
func plainNumber(text string) string {
	whole, fraction, _ := strings.Cut(text, ".")
	if whole = strings.TrimLeft(whole, "0"); whole == "" {
		whole = "0"
	}
	if fraction = strings.TrimRight(fraction, "0"); fraction != "" {
		return whole + "." + fraction
	}
	return whole
}
