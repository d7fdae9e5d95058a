package catalog

import (
	"strings"
	"unicode/utf8"
)

// How text stands in the cells of spreadsheets, both ways.

// formulaStarts are the characters at the start of a cell that spreadsheets
// take for a formula, and the apostrophe that keeps them from it.
const formulaStarts = "=+-@'"

// WriteCell writes text so that no spreadsheet runs it: what looks like a
// formula gets an apostrophe in front. [ReadCell] undoes it. Invisible characters,
// which no catalog takes in and only a file that was tampered with holds, are left
// out, for they might act on a terminal.
func WriteCell(text string) string {
	text = visible(text)
	if text != "" && strings.IndexByte(formulaStarts, text[0]) >= 0 {
		return "'" + text
	}
	return text
}

// visible is text without invisible characters but line ends and tabs.
func visible(text string) string {
	if !utf8.ValidString(text) {
		text = strings.ToValidUTF8(text, string(utf8.RuneError))
	}
	return strings.Map(func(r rune) rune {
		if hidden(r) && r != '\n' && r != '\t' {
			return -1
		}
		return r
	}, text)
}

// ReadCell reads the text of a cell, without spaces at its ends.
func ReadCell(cell string) string {
	s := strings.TrimSpace(cell)
	if len(s) > 1 && s[0] == '\'' && strings.IndexByte(formulaStarts, s[1]) >= 0 {
		return s[1:]
	}
	return s
}

// listEscapes are the characters that a backslash makes part of an entry.
const listEscapes = `,;\`

// WriteList writes a list as one cell, which [ReadList] reads.
func WriteList(list []string) string {
	escape := strings.NewReplacer(`\`, `\\`, `,`, `\,`, `;`, `\;`)
	parts := make([]string, len(list))
	for i, entry := range list {
		parts[i] = escape.Replace(entry)
	}
	return strings.Join(parts, "; ")
}

// ReadList reads entries separated by commas or semicolons; a backslash before
// one makes it part of the entry. Entries may be empty, which normalising takes
// away.
func ReadList(text string) []string {
	var out []string
	var entry strings.Builder
	for i := 0; i < len(text); i++ {
		switch c := text[i]; {
		case c == '\\' && i+1 < len(text) && strings.IndexByte(listEscapes, text[i+1]) >= 0:
			i++
			entry.WriteByte(text[i])
		case c == ',' || c == ';':
			out = append(out, strings.TrimSpace(entry.String()))
			entry.Reset()
		default:
			entry.WriteByte(c)
		}
	}
	return append(out, strings.TrimSpace(entry.String()))
}
