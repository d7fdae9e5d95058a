// Package schematest checks in tests that what a command printed is what its
// schema says, and says which members of a schema an output shows.
package schematest

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"golang.org/x/text/language"
	"golang.org/x/text/message"

	"centwise/cmd/centwise/schema"
)

// Check compares one JSON text with the schema of a name of [schema.Names]. It is
// stricter than the schema: members that this does not know are mistakes, since
// whoever adds one is to describe it. The error says where in the text and in the
// schema the two part.
func Check(name string, text []byte) error {
	value, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		return fmt.Errorf("no JSON: %w", err)
	}
	// First as it is: a part that fails says nothing of which members it knows.
	for _, prepare := range []func(map[string]any){func(map[string]any) {}, closeObjects} {
		document, err := read(name)
		if err != nil {
			return err
		}
		prepare(document)
		compiled, err := compile(document)
		if err != nil {
			return fmt.Errorf("the schema of %q: %w", name, err)
		}
		var mismatch *jsonschema.ValidationError
		if err := compiled.Validate(value); errors.As(err, &mismatch) {
			return fmt.Errorf("not as the schema of %q says:\n%s", name, strings.Join(places(mismatch), "\n"))
		} else if err != nil {
			return err
		}
	}
	return nil
}

// Compile reads a schema as it is published.
func Compile(name string) error {
	document, err := read(name)
	if err != nil {
		return err
	}
	_, err = compile(document)
	return err
}

func read(name string) (map[string]any, error) {
	text, ok := schema.Of(name)
	if !ok {
		return nil, fmt.Errorf("there is no schema of %q: write cmd/centwise/schema/command/%s.json", name, strings.ReplaceAll(name, " ", "-"))
	}
	value, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		return nil, fmt.Errorf("the schema of %q: %w", name, err)
	}
	document, ok := value.(map[string]any)
	if !ok {
		return nil, fmt.Errorf("the schema of %q is no object", name)
	}
	return document, nil
}

const place = "memory:schema.json"

func compile(document map[string]any) (*jsonschema.Schema, error) {
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	c.AssertFormat()
	if err := c.AddResource(place, document); err != nil {
		return nil, err
	}
	return c.Compile(place)
}

// deepestPlaces is how many places an error names.
const deepestPlaces = 8

// leaf is a place where a text is not as its schema says.
type leaf struct {
	depth   int
	text    string
	unknown bool // a member that the schema does not know
}

// places are the places where a text is not as its schema says, the deepest
// first: of alternatives the one that nearly fits fails deepest.
func places(e *jsonschema.ValidationError) []string {
	leaves := leavesOf(e)
	slices.SortStableFunc(leaves, func(a, b leaf) int { return cmp.Or(b.depth-a.depth, cmp.Compare(a.text, b.text)) })
	if deepest := leaves[0]; deepest.unknown {
		// All around it fail with it.
		leaves = slices.DeleteFunc(leaves, func(l leaf) bool { return l.depth < deepest.depth || !l.unknown })
	}
	var out []string
	for i, l := range leaves {
		if i == deepestPlaces {
			return append(out, fmt.Sprintf("  and %d more", len(leaves)-i))
		}
		out = append(out, l.text)
	}
	return out
}

var english = message.NewPrinter(language.English)

func leavesOf(e *jsonschema.ValidationError) []leaf {
	if len(e.Causes) == 0 {
		place := "/" + strings.Join(e.InstanceLocation, "/")
		_, within, _ := strings.Cut(e.SchemaURL, "#")
		if strings.HasSuffix(within, "/"+closed) {
			return []leaf{{len(e.InstanceLocation), "  at " + place + ": no such member (schema: " + strings.TrimSuffix(within, "/"+closed) + ")", true}}
		}
		return []leaf{{len(e.InstanceLocation), fmt.Sprintf("  at %s: %s (schema: %s)", place, e.ErrorKind.LocalizedString(english), within), false}}
	}
	var out []leaf
	for _, cause := range e.Causes {
		out = append(out, leavesOf(cause)...)
	}
	return out
}

// Seen lists the members of a schema that a text shows by their places, see
// [Places]. The text must be as the schema says.
func Seen(name string, text []byte) ([]string, error) {
	document, err := read(name)
	if err != nil {
		return nil, err
	}
	var value any
	if err := json.Unmarshal(text, &value); err != nil {
		return nil, err
	}
	w := newWalk(document)
	w.seen(document, value, "")
	return sorted(w.places), nil
}

// Places lists all members of a schema by where they stand in it: as in
// "findings[].kind", or "pairing.rank" for one of the definition "pairing". Of an
// object with members of any name these are "*".
func Places(name string) ([]string, error) {
	w, err := walkAll(name)
	if err != nil {
		return nil, err
	}
	return sorted(w.places), nil
}

// Members lists all members of a schema by their paths in what is printed, as in
// "pairings[].worst.note".
func Members(name string) ([]string, error) {
	w, err := walkAll(name)
	if err != nil {
		return nil, err
	}
	return sorted(w.paths), nil
}

func walkAll(name string) (*walk, error) {
	document, err := read(name)
	if err != nil {
		return nil, err
	}
	w := newWalk(document)
	w.members(document, "", "")
	return w, nil
}
