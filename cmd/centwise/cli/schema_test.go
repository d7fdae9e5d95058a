package cli

import (
	"context"
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"centwise/cmd/centwise/schema"
	"centwise/cmd/centwise/schema/schematest"
)

// jsonCommands are the commands with --json by their path, as schemas are named.
func jsonCommands(t *testing.T) map[string]*cobra.Command {
	out := map[string]*cobra.Command{}
	walk(newRootCmd(closedFactory(t)), func(cmd *cobra.Command) {
		if cmd.Flags().Lookup("json") != nil {
			_, path, _ := strings.Cut(cmd.CommandPath(), " ")
			out[path] = cmd
		}
	})
	return out
}

// Every command with --json has a schema, and every schema belongs to one.
func TestEveryJSONHasASchema(t *testing.T) {
	commands := jsonCommands(t)
	for path := range commands {
		if _, ok := schema.Title(path); !ok {
			t.Errorf("centwise %s --json has no schema: write cmd/centwise/schema/command/%s.json", path, strings.ReplaceAll(path, " ", "-"))
		}
	}
	for _, name := range schema.Names() {
		if commands[name] == nil && name != schema.Error {
			t.Errorf("the schema of %q belongs to no command with --json", name)
		}
	}
}

// What the help of a command lists of its JSON is what the schema says: every
// member that is listed is there, and where a list does not end in "..." no other
// is.
func TestHelpListsTheMembersOfSchemas(t *testing.T) {
	listed := 0
	for path, cmd := range jsonCommands(t) {
		help := readMembers(cmd.Long)
		listed += len(help.lists)
		for _, name := range help.loose {
			if !slices.ContainsFunc(membersOf(t, path), func(m string) bool { return m == name || strings.HasSuffix(m, "."+name) }) {
				t.Errorf("the help of %s names %q, which the schema does not", path, name)
			}
		}
		for at, list := range help.lists {
			want := membersAt(t, path, at)
			place := path
			if at != "" {
				place += ": " + at
			}
			if of, ok := help.sameAs, at == ""; ok && of != "" {
				list.names = append(list.names, membersAt(t, of, "")...)
			}
			for _, name := range list.names {
				if !slices.Contains(want, name) {
					t.Errorf("the help of %s lists %q, which the schema does not; that has %q", place, name, want)
				}
			}
			for _, name := range want {
				if list.whole && !slices.Contains(list.names, name) && !slices.Contains(help.loose, name) {
					t.Errorf("the help of %s does not list %q, which the schema does", place, name)
				}
			}
		}
	}
	if listed < 60 {
		t.Errorf("only %d lists of members were read in the help texts", listed)
	}
}

// membersOf are the paths of the members of a schema, without the marks of lists.
func membersOf(t *testing.T, name string) []string {
	list, err := schematest.Members(name)
	if err != nil {
		t.Fatal(err)
	}
	for i, m := range list {
		list[i] = strings.ReplaceAll(m, "[]", "")
	}
	return list
}

// membersAt are the names of the members of a schema at a path.
func membersAt(t *testing.T, name, at string) (out []string) {
	for _, m := range membersOf(t, name) {
		rest := m
		if at != "" {
			var ok bool
			if rest, ok = strings.CutPrefix(m, at+"."); !ok {
				continue
			}
		}
		if rest != "*" && !strings.Contains(rest, ".") {
			out = append(out, rest)
		}
	}
	return out
}

func TestReadMembers(t *testing.T) {
	for _, tc := range []struct {
		text   string
		lists  string // path: names, as JSON; "..." for a list that says there is more
		loose  string
		sameAs string
	}{
		{`Say it. "-" reads standard input.`, `{}`, "", ""},
		{`--json prints {"a", "b": [{"c", "d": null or {"e"}}], "f" (not "g")}. "c" is a number.`, `{"":["a","b","f"],"b":["c","d"],"b.d":["e"]}`, "c", ""},
		{`--json prints one object: "a", "b" and "c" with its interval "d" to "e".`, `{"":["a","b","c","d","e"]}`, "", ""},
		{`--json prints {"a": "x" or "y", "b" and "c": {"d"}, ...}`, `{"":["a","b","c","..."],"b":["d"],"c":["d"]}`, "", ""},
		{`--json prints {"a": [[{"b", ...}]], "c": [one a note]}`, `{"":["a","c"],"a":["b","..."]}`, "", ""},
		{`--json prints {"a": [...]}; with --all the JSON has "d": {"e"}.`, `{"":["a"],"d":["e"]}`, "d", ""},
		{`--json prints what 'centwise visit plan --json' does, and "d": the rest.`, `{"":["d"]}`, "", "visit plan"},
		{`--json adds "s": [{"t"}].`, `{"s":["t"]}`, "s", ""},
	} {
		got := readMembers(tc.text)
		lists := map[string][]string{}
		for at, l := range got.lists {
			lists[at] = l.names
			if !l.whole {
				lists[at] = append(lists[at], "...")
			}
		}
		text, err := json.Marshal(lists)
		if err != nil {
			t.Fatal(err)
		}
		if string(text) != tc.lists || strings.Join(got.loose, " ") != tc.loose || got.sameAs != tc.sameAs {
			t.Errorf("%s\nread %s, loose %q, same as %q", tc.text, text, got.loose, got.sameAs)
		}
	}
}

// What a schema prints is a list by name, or the schema that was named; else the
// names that come nearest.
func TestSchemaNames(t *testing.T) {
	for _, tc := range []struct {
		args      string
		code      int
		out, talk string
	}{
		{"schema", exitOK, "\nvisit plan\t", ""},
		{"schema visit plan", exitOK, `"title": "The sheet of a visit that was planned"`, ""},
		{"schema error", exitOK, `"exit": `, ""},
		{"schema visit", exitUsage, "", "centwise schema visit card, "},
		{"schema export", exitUsage, "", "centwise export has no --json"},
		{"schema pool tokn list", exitUsage, "", "Try: centwise schema pool token list"},
		{"schema xyzzy", exitUsage, "", "'centwise schema' lists them"},
	} {
		f := closedFactory(t)
		var out, talk *strings.Builder = &strings.Builder{}, &strings.Builder{}
		f.Streams.Out.Reset(out)
		f.Streams.Err = talk
		if code := Run(context.Background(), f, strings.Fields(tc.args)); code != tc.code {
			t.Errorf("%s ended with %d, want %d", tc.args, code, tc.code)
		}
		if !strings.Contains(out.String(), tc.out) || !strings.Contains(talk.String(), tc.talk) || (tc.out == "") != (out.Len() == 0) {
			t.Errorf("%s printed %.300s and said %s; want %q and %q", tc.args, out, talk, tc.out, tc.talk)
		}
	}
}
