package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
)

// closedFactory is a factory whose catalog can't be opened.
func closedFactory(t *testing.T) *Factory {
	s, _, _ := Test("")
	f := NewFactory(s)
	f.Getenv = func(string) string { return "" }
	f.Open = func(context.Context, string, sqlstore.Options) (catalog.Store, error) {
		t.Error("the catalog was opened")
		return nil, errors.New("closed")
	}
	return f
}

func walk(cmd *cobra.Command, visit func(*cobra.Command)) {
	visit(cmd)
	for _, c := range cmd.Commands() {
		walk(c, visit)
	}
}

// Every command checks its arguments, can be run, and explains itself: a long
// help text, two examples that exist, and flags with a sentence each.
func TestEveryCommandExplainsItself(t *testing.T) {
	root := newRootCmd(closedFactory(t))
	n := 0
	walk(root, func(cmd *cobra.Command) {
		n++
		name := cmd.CommandPath()
		if cmd.Args == nil {
			t.Errorf("%s does not check its arguments", name)
		}
		if cmd.RunE == nil || cmd.Run != nil {
			t.Errorf("%s must have a RunE that returns its error", name)
		}
		if cmd.Short == "" || strings.HasSuffix(cmd.Short, ".") {
			t.Errorf("%s: short help %q", name, cmd.Short)
		}
		if len(cmd.Long) < len(cmd.Short) {
			t.Errorf("%s: long help %q", name, cmd.Long)
		}
		setLong(cmd)
		for line := range strings.Lines(cmd.Long) {
			if len(strings.TrimSpace(line)) > helpWidth {
				t.Errorf("%s: long help has a line of %d characters: %s", name, len(line), line)
			}
		}
		checkExamples(t, cmd)
		cmd.Flags().VisitAll(func(f *pflag.Flag) {
			if f.Usage == "" {
				t.Errorf("%s --%s has no help", name, f.Name)
			}
		})
	})
	if n < 25 {
		t.Errorf("only %d commands were walked", n)
	}
}

// checkExamples sees that each example is a command line of this program whose
// command exists and whose flags can be read.
func checkExamples(t *testing.T, cmd *cobra.Command) {
	lines := strings.Split(strings.TrimRight(cmd.Example, "\n"), "\n")
	if len(lines) < 2 {
		t.Errorf("%s has fewer than two examples", cmd.CommandPath())
	}
	for _, line := range lines {
		checkExample(t, cmd.CommandPath(), line)
	}
}

// checkExample sees that a command line of this program names a command, and
// flags and arguments that it takes.
func checkExample(t *testing.T, place, line string) {
	words := shellWords(line)
	root := newRootCmd(closedFactory(t)) // a fresh one: flags stay set
	if len(words) < 2 || words[0] != "centwise" {
		t.Errorf("%s: example %q does not start with centwise and a command", place, line)
		return
	}
	found, rest, err := root.Find(words[1:])
	if err != nil || found == root {
		t.Errorf("%s: example %q: no such command (%v)", place, line, err)
		return
	}
	found.InitDefaultHelpFlag()
	if err := found.ParseFlags(rest); err != nil {
		t.Errorf("%s: example %q: %v", place, line, err)
		return
	}
	if err := found.ValidateArgs(found.Flags().Args()); err != nil {
		t.Errorf("%s: example %q: %v", place, line, err)
	}
}

// shellWords splits a line at spaces outside double quotation marks and cuts it
// at a pipe or a redirection.
func shellWords(line string) []string {
	var out []string
	for i, part := range strings.Split(strings.TrimSpace(line), `"`) {
		if i%2 == 1 {
			out = append(out, part)
			continue
		}
		for _, word := range strings.Fields(part) {
			if word == "|" || word == ">" || word == "<" {
				return out
			}
			out = append(out, word)
		}
	}
	return out
}

// Help and completion never touch a catalog; closedFactory fails the test if
// they do.
func TestHelpNeverOpensTheCatalog(t *testing.T) {
	var lines [][]string
	walk(newRootCmd(closedFactory(t)), func(cmd *cobra.Command) {
		path := strings.Fields(cmd.CommandPath())[1:]
		lines = append(lines, append(path, "--help"), append([]string{"help"}, path...), append([]string{"__complete"}, append(path, "")...))
	})
	lines = append(lines, []string{"__complete", "horn", "add", "--key", ""}, []string{"man"}, []string{"version"}, []string{"completion", "bash"})
	for _, args := range lines {
		f := closedFactory(t)
		if code := Run(context.Background(), f, args); code != exitOK {
			t.Errorf("%v ended with %d", args, code)
		}
	}
}

// A mistyped name under any group is a usage error.
func TestGroupsRejectTypos(t *testing.T) {
	walk(newRootCmd(closedFactory(t)), func(cmd *cobra.Command) {
		if !cmd.HasSubCommands() {
			return
		}
		args := append(strings.Fields(cmd.CommandPath())[1:], "lisst")
		if code := Run(context.Background(), closedFactory(t), args); code != exitUsage {
			t.Errorf("%v ended with %d, want %d", args, code, exitUsage)
		}
	})
}

// The table of exit codes is in the help of centwise itself, whole.
func TestHelpHoldsEveryExitCode(t *testing.T) {
	root := newRootCmd(closedFactory(t))
	for _, e := range exitCodes {
		if !strings.Contains(root.Long, e.meaning) {
			t.Errorf("exit code %d is not in the help", e.code)
		}
	}
}

// The README's table of exit codes is the one in the code.
func TestReadmeHoldsTheExitCodes(t *testing.T) {
	readme, err := os.ReadFile(filepath.Join("..", "..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	table := "| exit code | meaning |\n|---|---|\n"
	for _, e := range exitCodes {
		table += fmt.Sprintf("| %d | %s |\n", e.code, e.meaning)
	}
	if !strings.Contains(string(readme), table) {
		t.Errorf("the README lacks this table:\n%s", table)
	}
}
