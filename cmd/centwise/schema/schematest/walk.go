package schematest

import (
	"maps"
	"slices"
	"strings"
)

// alternatives are the keywords whose schemas speak of the same value as the
// schema they stand in.
var alternatives = []string{"allOf", "anyOf", "oneOf"}

// closed is the keyword that says what members that no schema of an object knows
// are like.
const closed = "unevaluatedProperties"

// closeObjects makes members that a schema does not know mistakes, wherever an
// object stands by itself: not in the parts that such an object is put together
// from, which don't know each other.
func closeObjects(document map[string]any) {
	closeValue(document)
	definitions, _ := document["$defs"].(map[string]any)
	for _, d := range definitions {
		closeParts(d)
	}
}

func closeValue(s any) {
	if object, ok := s.(map[string]any); ok {
		object[closed] = false
		closeParts(object)
	}
}

func closeParts(s any) {
	object, ok := s.(map[string]any)
	if !ok {
		return
	}
	for _, keyword := range alternatives {
		list, _ := object[keyword].([]any)
		for _, part := range list {
			closeParts(part)
		}
	}
	properties, _ := object["properties"].(map[string]any)
	for _, p := range properties {
		closeValue(p)
	}
	for _, keyword := range []string{"items", "additionalProperties"} {
		closeValue(object[keyword])
	}
}

// walk collects the paths of members.
type walk struct {
	definitions map[string]any
	found       map[string]bool
}

func newWalk(document map[string]any) *walk {
	definitions, _ := document["$defs"].(map[string]any)
	return &walk{definitions: definitions, found: map[string]bool{}}
}

func (w *walk) list() []string { return slices.Sorted(maps.Keys(w.found)) }

// parts are a schema and all that speak of the same value.
func (w *walk) parts(s any) []map[string]any {
	object, ok := s.(map[string]any)
	if !ok {
		return nil
	}
	out := []map[string]any{object}
	if ref, ok := object["$ref"].(string); ok {
		out = append(out, w.parts(w.definitions[strings.TrimPrefix(ref, "#/$defs/")])...)
	}
	for _, keyword := range alternatives {
		list, _ := object[keyword].([]any)
		for _, part := range list {
			out = append(out, w.parts(part)...)
		}
	}
	return out
}

func below(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}

// members finds every member of a schema, which must not hold itself.
func (w *walk) members(s any, path string) {
	for _, part := range w.parts(s) {
		properties, _ := part["properties"].(map[string]any)
		for name, p := range properties {
			w.found[below(path, name)] = true
			w.members(p, below(path, name))
		}
		if items, ok := part["items"]; ok {
			w.members(items, path+"[]")
		}
		if rest, ok := part["additionalProperties"].(map[string]any); ok {
			w.found[below(path, "*")] = true
			w.members(rest, below(path, "*"))
		}
	}
}

// seen finds the members of a schema that a value has.
func (w *walk) seen(s, value any, path string) {
	for _, part := range w.parts(s) {
		switch value := value.(type) {
		case []any:
			for _, v := range value {
				w.seen(part["items"], v, path+"[]")
			}
		case map[string]any:
			w.seenMembers(part, value, path)
		}
	}
}

func (w *walk) seenMembers(s, value map[string]any, path string) {
	properties, _ := s["properties"].(map[string]any)
	rest, open := s["additionalProperties"].(map[string]any)
	for name, v := range value {
		if p, ok := properties[name]; ok {
			w.found[below(path, name)] = true
			w.seen(p, v, below(path, name))
		} else if open {
			w.found[below(path, "*")] = true
			w.seen(rest, v, below(path, "*"))
		}
	}
}
