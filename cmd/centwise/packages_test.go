package main

import (
	"maps"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

var diagram = regexp.MustCompile("(?s)```mermaid\n.*?```\n")

// The picture of the packages in the guide shows what imports what, and its map
// names every package; -update draws the picture anew.
func TestGuideShowsThePackages(t *testing.T) {
	guide := filepath.Join("..", "..", "DEVELOPERS.md")
	text, err := os.ReadFile(guide)
	if err != nil {
		t.Fatal(err)
	}
	arrows := packageArrows(t)
	for folder := range arrows {
		if named := "`" + path.Base(folder) + "/`"; !strings.Contains(string(text), "`"+folder+"/`") && !strings.Contains(string(text), named) {
			t.Errorf("the map of DEVELOPERS.md does not name %s", folder)
		}
	}
	want := "```mermaid\n" + drawArrows(arrows) + "```\n"
	switch got := diagram.FindString(string(text)); {
	case got == "":
		t.Error("DEVELOPERS.md has no picture of the packages")
	case *update:
		if err := os.WriteFile(guide, []byte(strings.Replace(string(text), got, want, 1)), 0o644); err != nil {
			t.Fatal(err)
		}
	case got != want:
		t.Error("the picture in DEVELOPERS.md is not what imports what: 'go test ./cmd/centwise -run Guide -update' draws it")
	}
}

// packageArrows are, for every package of ours, those of ours that it imports.
func packageArrows(t *testing.T) map[string][]string {
	t.Helper()
	out := map[string][]string{}
	walkGo(t, func(folder, _, imported string) {
		if _, seen := out[folder]; !seen {
			out[folder] = nil
		}
		ours, ok := strings.CutPrefix(imported, "centwise/")
		if ok && !slices.Contains(out[folder], ours) {
			out[folder] = append(out[folder], ours)
		}
	})
	return out
}

// drawArrows writes the arrows as a Mermaid flowchart, without those that follow
// from others.
func drawArrows(arrows map[string][]string) string {
	var b strings.Builder
	b.WriteString("flowchart TD\n")
	name := func(folder string) string {
		return strings.NewReplacer("/", "_").Replace(folder) + `["` + folder + `"]`
	}
	for _, from := range slices.Sorted(maps.Keys(arrows)) {
		for _, to := range slices.Sorted(slices.Values(arrows[from])) {
			if !slices.ContainsFunc(arrows[from], func(by string) bool { return by != to && leadsTo(arrows, by, to) }) {
				b.WriteString("  " + name(from) + " --> " + name(to) + "\n")
			}
		}
	}
	return b.String()
}

// leadsTo tells whether a chain of arrows leads from one package to another.
func leadsTo(arrows map[string][]string, from, to string) bool {
	return from == to || slices.ContainsFunc(arrows[from], func(next string) bool { return leadsTo(arrows, next, to) })
}
