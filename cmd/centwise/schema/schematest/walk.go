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

// walk collects members of a schema, by their places in it: a place begins anew in
// every definition, as in "pairing.worst.note" for the member that "pairings" and
// "lists" have alike.
type walk struct {
	definitions map[string]any
	places      map[string]bool
	paths       map[string]bool
}

func newWalk(document map[string]any) *walk {
	definitions, _ := document["$defs"].(map[string]any)
	return &walk{definitions: definitions, places: map[string]bool{}, paths: map[string]bool{}}
}

func sorted(set map[string]bool) []string { return slices.Sorted(maps.Keys(set)) }

// part is one of the schemas that speak of a value, and its place.
type part struct {
	schema map[string]any
	place  string
}

// parts are a schema and all that speak of the same value.
func (w *walk) parts(s any, place string) []part {
	object, ok := s.(map[string]any)
	if !ok {
		return nil
	}
	out := []part{{object, place}}
	if ref, ok := object["$ref"].(string); ok {
		name := strings.TrimPrefix(ref, "#/$defs/")
		out = append(out, w.parts(w.definitions[name], name)...)
	}
	for _, keyword := range alternatives {
		list, _ := object[keyword].([]any)
		for _, p := range list {
			out = append(out, w.parts(p, place)...)
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

// members finds every member of a schema, which must not hold itself; path is that
// in a value.
func (w *walk) members(s any, place, path string) {
	for _, p := range w.parts(s, place) {
		properties, _ := p.schema["properties"].(map[string]any)
		for name, property := range properties {
			w.member(property, below(p.place, name), below(path, name))
		}
		if items, ok := p.schema["items"]; ok {
			w.members(items, p.place+"[]", path+"[]")
		}
		if rest, ok := p.schema["additionalProperties"].(map[string]any); ok {
			w.member(rest, below(p.place, "*"), below(path, "*"))
		}
	}
}

func (w *walk) member(s any, place, path string) {
	w.places[place], w.paths[path] = true, true
	w.members(s, place, path)
}

// seen finds the places of the members of a schema that a value has. Of
// alternatives those count that the value has the required members of.
func (w *walk) seen(s, value any, place string) {
	for _, p := range w.parts(s, place) {
		if object, ok := value.(map[string]any); ok && lacks(p, object) {
			continue
		}
		switch value := value.(type) {
		case []any:
			for _, v := range value {
				w.seen(p.schema["items"], v, p.place+"[]")
			}
		case map[string]any:
			w.seenMembers(p, value)
		}
	}
}

// lacks reports whether an object lacks what a part requires.
func lacks(p part, value map[string]any) bool {
	required, _ := p.schema["required"].([]any)
	return slices.ContainsFunc(required, func(name any) bool { _, ok := value[name.(string)]; return !ok })
}

func (w *walk) seenMembers(p part, value map[string]any) {
	properties, _ := p.schema["properties"].(map[string]any)
	rest, open := p.schema["additionalProperties"].(map[string]any)
	for name, v := range value {
		if property, ok := properties[name]; ok {
			w.places[below(p.place, name)] = true
			w.seen(property, v, below(p.place, name))
		} else if open {
			w.places[below(p.place, "*")] = true
			w.seen(rest, v, below(p.place, "*"))
		}
	}
}
