// Package schema holds a JSON Schema (draft 2020-12) of what each command prints
// with --json: command/ a file a command, define/ the definitions that they
// share, by subject. A file of command/ writes "#/$defs/NAME" for a definition of
// define/ as for one of its own; [Of] adds those it needs, so that what a user
// gets stands by itself.
//
// Members are only ever added, so the schemas leave objects open. An enumeration
// is there only where no word will be added.
package schema

import (
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"strings"
	"sync"
)

// Error is the name of the schema of what is printed to standard error when a
// command with --json fails. No command has this name.
const Error = "error"

//go:embed command/*.json define/*.json
var files embed.FS

// Names lists what there is a schema of: the paths of commands without the name
// of the program, as in "visit plan", and [Error], in alphabetical order.
func Names() []string {
	entries, err := fs.ReadDir(files, "command")
	if err != nil {
		panic("schema: " + err.Error()) // it is in the program
	}
	out := make([]string, len(entries))
	for i, e := range entries {
		out[i] = strings.ReplaceAll(strings.TrimSuffix(e.Name(), ".json"), "-", " ")
	}
	slices.Sort(out)
	return out
}

// Title says in a few words what a schema is of; ok is false when there is no
// such schema.
func Title(name string) (title string, ok bool) {
	d, ok := document(name)
	if !ok {
		return "", false
	}
	mustRead(d.member("title"), &title)
	return title, true
}

// Of is the schema of a name of [Names] as JSON, with all definitions that it
// refers to; ok is false when there is no such schema.
func Of(name string) (text []byte, ok bool) {
	d, ok := document(name)
	if !ok {
		return nil, false
	}
	var own object
	if defs := d.member(defsMember); defs != nil {
		mustRead(defs, &own)
	}
	d = slices.DeleteFunc(d, func(m member) bool { return m.name == defsMember })
	if defs := closure(d, own); len(defs) > 0 {
		d = append(d, member{defsMember, defs.text("    ", "  ")})
	}
	return append(d.text("  ", ""), '\n'), true
}

const defsMember = "$defs"

// document reads the schema of a name as it is written.
func document(name string) (object, bool) {
	text, err := files.ReadFile("command/" + strings.ReplaceAll(name, " ", "-") + ".json")
	if err != nil || strings.Contains(name, "-") {
		return nil, false
	}
	var d object
	mustRead(text, &d)
	return d, true
}

// shared are the definitions of define/, in the order in which they are written.
var shared = sync.OnceValue(func() object {
	names, err := fs.Glob(files, "define/*.json")
	if err != nil {
		panic("schema: " + err.Error())
	}
	var out object
	for _, name := range names {
		text, err := files.ReadFile(name)
		if err != nil {
			panic("schema: " + err.Error())
		}
		var file, defs object
		mustRead(text, &file)
		mustRead(file.member(defsMember), &defs)
		for _, d := range defs {
			if out.member(d.name) != nil {
				panic(fmt.Sprintf("schema: %s defines %s once more", path.Base(name), d.name))
			}
			out = append(out, d)
		}
	}
	return out
})

var reference = regexp.MustCompile(`"#/\$defs/([a-z0-9_]+)"`)

// closure are the definitions that a schema needs: its own, then shared ones in
// their order. Own ones come before shared ones of the same name.
func closure(d, own object) object {
	needed := map[string]bool{}
	var need func(text []byte)
	need = func(text []byte) {
		for _, m := range reference.FindAllSubmatch(text, -1) {
			name := string(m[1])
			if needed[name] {
				continue
			}
			needed[name] = true
			definition := own.member(name)
			if definition == nil {
				definition = shared().member(name)
			}
			need(definition)
		}
	}
	for _, m := range append(slices.Clone(d), own...) {
		need(m.text)
	}
	out := slices.Clone(own)
	for _, m := range shared() {
		if needed[m.name] && own.member(m.name) == nil {
			out = append(out, m)
		}
	}
	return out
}

// mustRead reads JSON that is part of the program.
func mustRead(text []byte, into any) {
	if err := json.Unmarshal(text, into); err != nil {
		panic("schema: " + err.Error())
	}
}
