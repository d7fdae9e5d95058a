package cli

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/schema"
	"centwise/cmd/centwise/show"
)

func newSchemaCmd(f *Factory) *cobra.Command {
	return &cobra.Command{
		Use:   "schema [COMMAND...|error]",
		Short: "Print what a command's JSON holds, as a JSON Schema",
		Long: long(`Print the JSON Schema (draft 2020-12) of what a command prints with --json: every member with what it means and its
unit, which members are always there, and which words there are where no other will come. Without a COMMAND, list those
that have one. 'centwise schema error' is what any of them prints to standard error when it fails with --json.`,
			`Members are only ever added: a program that reads the JSON should pass over those that it does not know, as the
schemas do. A null is a value that is not known or not there; what is left out, and when, stands beside each member.`,
			exitStatus(exitOK, exitUsage)),
		Example: `  centwise schema
  centwise schema rank
  centwise schema visit plan > visit-plan.schema.json`,
		Args:              args(0, -1),
		ValidArgsFunction: completeSchema,
		RunE: func(cmd *cobra.Command, words []string) error {
			if len(words) == 0 {
				return printSchemaList(f.Streams)
			}
			return printSchema(f.Streams, cmd.Root(), strings.Fields(strings.Join(words, " ")))
		},
	}
}

// printSchemaList lists what there is a schema of.
func printSchemaList(s *Streams) error {
	t := &show.Table{Columns: []show.Column{{Title: "command", Name: "command", Whole: true}, {Title: "what it prints with --json", Name: "title"}}}
	for _, name := range schema.Names() {
		title, _ := schema.Title(name)
		t.Add(show.Words(name), show.Words(title))
	}
	return t.Write(s.Out, s.Style)
}

// printSchema prints the schema of the command that words name.
func printSchema(s *Streams, root *cobra.Command, words []string) error {
	text, ok := schema.Of(strings.Join(words, " "))
	if !ok {
		return noSchema(root, words)
	}
	_, err := s.Out.Write(text)
	return err
}

// noSchema says why there is no schema of what words name.
func noSchema(root *cobra.Command, words []string) error {
	name := strings.Join(words, " ")
	if cmd, rest, err := root.Find(words); err == nil && len(rest) == 0 && cmd != root {
		var below []string
		for _, known := range schema.Names() {
			if strings.HasPrefix(known, name+" ") {
				below = append(below, "centwise schema "+known)
			}
		}
		if len(below) > 0 {
			return usagef(strings.Join(below, ", "), "%s is a group of commands", name)
		}
		return usagef("'centwise schema' lists the commands that do", "centwise %s has no --json", name)
	}
	try := "'centwise schema' lists them"
	if near := catalog.Near(name, schema.Names(), 3); len(near) > 0 {
		try = "centwise schema " + strings.Join(near, ", or ")
	}
	return usagef(try, "there is no schema of %q", name)
}

// completeSchema offers the words that may come next.
func completeSchema(_ *cobra.Command, typed []string, _ string) ([]string, cobra.ShellCompDirective) {
	var out []string
	for _, name := range schema.Names() {
		words := strings.Fields(name)
		if len(words) > len(typed) && slices.Equal(words[:len(typed)], typed) && !slices.Contains(out, words[len(typed)]) {
			out = append(out, words[len(typed)])
		}
	}
	return out, cobra.ShellCompDirectiveNoFileComp
}
