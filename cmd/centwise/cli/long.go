package cli

import (
	"strings"

	"github.com/spf13/cobra"

	"centwise/cmd/centwise/show"
)

// helpWidth is the width that help texts are set to.
const helpWidth = 80

// paragraphEnd stands between the paragraphs of a help text.
const paragraphEnd = "\n\n"

// long makes a help text of paragraphs. Lines are set by setLong when somebody
// reads it: to set all texts would take a tenth of the start of every command.
func long(paragraphs ...string) string { return strings.Join(paragraphs, paragraphEnd) }

// setLong sets the lines of a command's help text. Paragraphs whose lines are
// indented, and EXIT STATUS, stay as they are.
func setLong(cmd *cobra.Command) {
	var out []string
	for _, p := range strings.Split(cmd.Long, paragraphEnd) {
		if !strings.Contains(p, "\n  ") {
			p = show.Wrap(p, helpWidth, "", "")
		}
		out = append(out, p)
	}
	cmd.Long = strings.Join(out, paragraphEnd)
}

// setEveryLong sets the help texts of a command and of those below it.
func setEveryLong(cmd *cobra.Command) {
	setLong(cmd)
	for _, c := range cmd.Commands() {
		setEveryLong(c)
	}
}
