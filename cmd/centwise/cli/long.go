package cli

import (
	"strings"

	"centwise/cmd/centwise/show"
)

// helpWidth is the width that help texts are set to.
const helpWidth = 80

// long sets the paragraphs of a help text. Those whose lines are indented, and
// EXIT STATUS, stay as they are.
func long(paragraphs ...string) string {
	var out []string
	for _, p := range paragraphs {
		if !strings.Contains(p, "\n  ") {
			p = show.Wrap(p, helpWidth, "", "")
		}
		out = append(out, p)
	}
	return strings.Join(out, "\n\n")
}
