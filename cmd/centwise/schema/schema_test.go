package schema_test

import (
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/cmd/centwise/schema"
	"centwise/cmd/centwise/schema/schematest"
	"centwise/match"
	"centwise/match/fit"
)

// Every schema is one by the draft's own schema, stands by itself, and says of
// every member what it is.
func TestSchemas(t *testing.T) {
	names := schema.Names()
	if len(names) < 40 {
		t.Errorf("only %d schemas were found", len(names))
	}
	for _, name := range names {
		if err := schematest.Compile(name); err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if title, ok := schema.Title(name); !ok || title == "" || strings.HasSuffix(title, ".") {
			t.Errorf("%s: title %q", name, title)
		}
		text, _ := schema.Of(name)
		var document map[string]any
		if err := json.Unmarshal(text, &document); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if document["$schema"] != "https://json-schema.org/draft/2020-12/schema" {
			t.Errorf("%s: $schema is %v", name, document["$schema"])
		}
		checkObjects(t, name, document)
	}
}

func TestNoSchema(t *testing.T) {
	for _, name := range []string{"", "lift", "visit", "visit-plan", "../define/units", "rank "} {
		if text, ok := schema.Of(name); ok {
			t.Errorf("%q has the schema %s", name, text)
		}
		if title, ok := schema.Title(name); ok {
			t.Errorf("%q has the title %s", name, title)
		}
	}
}

// checkObjects goes through all that is in a schema: members are described,
// numbers have a unit, and what is required is there.
func checkObjects(t *testing.T, place string, value any) {
	switch value := value.(type) {
	case []any:
		for _, v := range value {
			checkObjects(t, place, v)
		}
	case map[string]any:
		if properties, ok := value["properties"].(map[string]any); ok {
			required, _ := value["required"].([]any)
			for _, name := range required {
				if _, ok := properties[name.(string)]; !ok {
					t.Errorf("%s: %v is required and not described", place, name)
				}
			}
			for name, p := range properties {
				checkMember(t, place+"."+name, p.(map[string]any))
			}
		}
		for name, v := range value {
			checkObjects(t, place+"."+name, v)
		}
	}
}

func checkMember(t *testing.T, place string, p map[string]any) {
	description, _ := p["description"].(string)
	if description == "" || strings.HasSuffix(description, ".") {
		t.Errorf("%s: description %q", place, description)
	}
	text, _ := json.Marshal(p["type"])
	if strings.Contains(string(text), "number") || strings.Contains(string(text), "integer") {
		t.Errorf("%s is a number without a unit: refer to one of define/units.json", place)
	}
}

var references = regexp.MustCompile(`"#/\$defs/([a-z0-9_]+)"`)

// Every shared definition is used, says what it is, and shares its name with no
// other; every reference leads to one.
func TestDefinitions(t *testing.T) {
	used, defined := map[string]bool{}, map[string]string{}
	for _, pattern := range []string{"command/*.json", "define/*.json"} {
		paths, err := filepath.Glob(pattern)
		if err != nil || len(paths) == 0 {
			t.Fatalf("%s: %d files, %v", pattern, len(paths), err)
		}
		for _, path := range paths {
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range references.FindAllStringSubmatch(string(text), -1) {
				used[m[1]] = true
			}
			var file struct {
				Defs map[string]struct{ Description string } `json:"$defs"`
			}
			if err := json.Unmarshal(text, &file); err != nil {
				t.Fatalf("%s: %v", path, err)
			}
			for name, d := range file.Defs {
				if other, ok := defined[name]; ok && !(strings.HasPrefix(other, "command") && strings.HasPrefix(path, "command")) {
					t.Errorf("%s is defined in %s and in %s", name, other, path)
				}
				if d.Description == "" {
					t.Errorf("%s: %s has no description", path, name)
				}
				defined[name] = path
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(defined)) {
		if !used[name] {
			t.Errorf("%s of %s is not used", name, defined[name])
		}
	}
	for _, name := range slices.Sorted(maps.Keys(used)) {
		if defined[name] == "" {
			t.Errorf("%s is used and not defined", name)
		}
	}
}

// Enumerations are those of the code.
func TestEnumerations(t *testing.T) {
	for _, tc := range []struct {
		schema, path string
		want         []string
	}{
		{"horn show", "$defs instrument", words(catalog.Instruments)},
		{"horn show", "$defs shank", words(catalog.Shanks)},
		{"horn show", "$defs key", words(pitch.Keys[:])},
		{"rank", "$defs sort_key", words(match.SortKeys)},
		{"rank", "$defs basis", words([]fit.Basis{fit.BasisMeasured, fit.BasisDesign, fit.BasisDimensions, fit.BasisPrior})},
		{"rank", "$defs lists properties each", words([]match.Owner{match.EachHorn, match.EachMouthpiece})},
		{"adjust", "properties bore", words([]match.BoreSource{match.BoreDescribed, match.BoreInvented})},
		{"pool token list", "$defs scope", words(catalog.Scopes)},
	} {
		text, _ := schema.Of(tc.schema)
		var at any
		if err := json.Unmarshal(text, &at); err != nil {
			t.Fatalf("%s: %v", tc.schema, err)
		}
		for _, step := range strings.Fields(tc.path) {
			at = at.(map[string]any)[step]
		}
		var got []string
		for _, w := range at.(map[string]any)["enum"].([]any) {
			got = append(got, w.(string))
		}
		if !slices.Equal(got, tc.want) {
			t.Errorf("%s of %s is %v, want %v", tc.path, tc.schema, got, tc.want)
		}
	}
}

func words[W ~string](list []W) (out []string) {
	for _, w := range list {
		out = append(out, string(w))
	}
	return out
}
