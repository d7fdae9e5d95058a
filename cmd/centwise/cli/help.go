package cli

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/cmd/centwise/topic"
)

func newHelpCmd(f *Factory) *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND...|TOPIC]",
		Short: "Explain a command, or a topic such as measuring",
		Long:  long("Explain centwise or one of its commands, like --help does, or one of the topics that no single command is about:", topicList()),
		Example: `  centwise help
  centwise help measuring
  centwise help horn add`,
		Args:              args(0, -1),
		ValidArgsFunction: completeHelp,
		RunE: func(cmd *cobra.Command, names []string) error {
			if len(names) == 1 {
				if page, ok := topic.Page(names[0]); ok {
					return printTopic(f.Streams.Out, f.Streams.Style, page)
				}
			}
			return helpOn(cmd.Root(), names)
		},
	}
}

// topicList is a paragraph of the names of topics and what they are about.
func topicList() string {
	var b strings.Builder
	b.WriteString("TOPICS\n")
	for _, t := range topic.All {
		fmt.Fprintf(&b, "  %-10s %s\n", t.Name, t.About)
	}
	return strings.TrimRight(b.String(), "\n")
}

// helpOn prints the help of the command that is named, and of the root if none is.
func helpOn(root *cobra.Command, names []string) error {
	target, rest, err := root.Find(names)
	switch {
	case err != nil:
		return unknownTopic(root, names[0])
	case len(rest) > 0 && target == root:
		return unknownTopic(root, rest[0])
	case len(rest) > 0:
		return unknownCommand(target, rest[0])
	}
	target.InitDefaultHelpFlag()
	return target.Help()
}

// unknownTopic is the error for what is neither a command nor a topic.
func unknownTopic(root *cobra.Command, name string) error {
	var known []string
	for _, c := range root.Commands() {
		if c.IsAvailableCommand() {
			known = append(known, c.Name())
		}
	}
	for _, t := range topic.All {
		known = append(known, t.Name)
	}
	try := "'centwise help' lists commands and topics"
	if near := catalog.Near(name, known, 3); len(near) > 0 {
		try = "centwise help " + strings.Join(near, " or ")
	}
	return usagef(try, "there is no command or topic %q", name)
}

// printTopic writes a page, headings in bold where the place can show that and
// with their marks where not.
func printTopic(w io.Writer, s show.Style, page string) error {
	for line := range strings.Lines(page) {
		if text, ok := topic.Heading(line); ok && s.Colour {
			line = s.Paint(show.Strong, text) + "\n"
		}
		if _, err := io.WriteString(w, line); err != nil {
			return err
		}
	}
	return nil
}

// completeHelp offers commands below those typed, and topics first of all.
func completeHelp(cmd *cobra.Command, typed []string, _ string) ([]string, cobra.ShellCompDirective) {
	var out []string
	if len(typed) == 0 {
		for _, t := range topic.All {
			out = append(out, cobra.CompletionWithDesc(t.Name, t.About))
		}
	}
	target, rest, err := cmd.Root().Find(typed)
	if err != nil || len(rest) > 0 {
		return out, cobra.ShellCompDirectiveNoFileComp
	}
	for _, c := range target.Commands() {
		if c.IsAvailableCommand() {
			out = append(out, cobra.CompletionWithDesc(c.Name(), c.Short))
		}
	}
	return out, cobra.ShellCompDirectiveNoFileComp
}
