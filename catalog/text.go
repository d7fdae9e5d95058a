package catalog

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
)

// Longest texts accepted, in characters (bytes for [MaxGeometryBytes]).
const (
	MaxLabelLength   = 100
	MaxRemarkLength  = 4000
	MaxSourceLength  = 4000
	MaxTags          = 50
	MaxGeometryBytes = 1 << 20
)

// NormalLabel gives text as labels are kept: Unicode NFC, without spaces at the
// ends, each run of spaces inside one plain space.
func NormalLabel(text string) string {
	return norm.NFC.String(strings.Join(strings.Fields(text), " "))
}

// Fold gives the form in which two labels are the same but for case, width
// variants and spaces. For comparing only.
func Fold(text string) string {
	// A Caser may not be shared between goroutines, so each call has its own.
	return cases.Fold().String(norm.NFKC.String(NormalLabel(text)))
}

// normalText is the form of free text: NFC, trimmed, line ends as \n.
func normalText(text string) string {
	text = strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(text)
	return norm.NFC.String(strings.TrimSpace(text))
}

// normalList normalises every entry, drops empty ones and sorts.
func normalList(list []string) []string {
	out := make([]string, 0, len(list))
	for _, entry := range list {
		if entry = NormalLabel(entry); entry != "" {
			out = append(out, entry)
		}
	}
	slices.Sort(out)
	out = slices.Compact(out)
	if len(out) == 0 {
		return nil
	}
	return out
}

// label checks a name that identifies something.
func (c *check) label(field, text string) {
	if text == "" {
		c.add(field, "is empty", "give it a name")
		return
	}
	c.handle(field, text)
	if looksLikeID(text) {
		c.addf(field, "choose a name that is not written like an id", "%q could be mistaken for a record's id", text)
	}
}

// handle checks a short text that may be empty: one line, as labels are.
func (c *check) handle(field, text string) {
	if !c.clean(field, text, "") {
		return
	}
	if n := utf8.RuneCountInString(text); n > MaxLabelLength {
		c.addf(field, "shorten it", "has %d characters, more than %d", n, MaxLabelLength)
	}
	if text != NormalLabel(text) {
		c.addf(field, "write it with single spaces, none at the ends, in Unicode normal form NFC", "%q is not in normal form", text)
	}
}

// text checks free text, which may have several lines.
func (c *check) text(field, text string, limit int) {
	if !c.clean(field, text, "\n\t") {
		return
	}
	if n := utf8.RuneCountInString(text); n > limit {
		c.addf(field, "shorten it", "has %d characters, more than %d", n, limit)
	}
}

// labels checks a list of labels.
func (c *check) labels(field string, list []string) {
	if len(list) > MaxTags {
		c.addf(field, "use fewer", "has %d entries, more than %d", len(list), MaxTags)
		return
	}
	for i, entry := range list {
		if entry == "" {
			c.add(field, "has an empty entry", "remove it")
		} else {
			c.handle(field, entry)
		}
		if slices.Contains(list[:i], entry) {
			c.addf(field, "name it once", "names %q twice", entry)
		}
	}
}

// clean refuses text that is not UTF-8 or holds characters nobody can see.
func (c *check) clean(field, text, allowed string) bool {
	if !utf8.ValidString(text) {
		c.add(field, "is not UTF-8 text", "save the file as UTF-8")
		return false
	}
	for i, r := range text {
		if hidden(r) && !strings.ContainsRune(allowed, r) {
			c.addf(field, "remove that character", "holds the invisible character %s at byte %d", codePoint(r), i+1)
			return false
		}
	}
	return true
}

// hidden reports control characters, line and paragraph separators, marks that
// reorder text, zero-width spaces and byte order marks. Joiners that scripts
// and emoji need are allowed.
func hidden(r rune) bool {
	switch {
	case unicode.IsControl(r), r == '\u2028', r == '\u2029', r == '\u200b', r == '\ufeff':
		return true
	}
	return r >= '\u202a' && r <= '\u202e' || r >= '\u2066' && r <= '\u2069'
}

func codePoint(r rune) string { return fmt.Sprintf("U+%04X", r) }
