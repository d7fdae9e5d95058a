package cli

import (
	"context"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"centwise/cmd/centwise/topic"
)

// Pages and the list of topics are the same, and no topic hides a command.
func TestTopicsAreListed(t *testing.T) {
	files, err := os.ReadDir("../topic")
	if err != nil {
		t.Fatal(err)
	}
	var pages, listed []string
	for _, f := range files {
		if name, ok := strings.CutSuffix(f.Name(), ".md"); ok {
			pages = append(pages, name)
		}
	}
	root := newRootCmd(closedFactory(t))
	for _, p := range topic.All {
		listed = append(listed, p.Name)
		if found, _, err := root.Find([]string{p.Name}); err == nil && found != root {
			t.Errorf("the topic %s hides a command", p.Name)
		}
	}
	slices.Sort(listed)
	if !slices.Equal(pages, listed) {
		t.Errorf("pages %v, topics %v", pages, listed)
	}
}

// Lines fit a terminal, commands can be run as they stand, and pages refer to
// pages that exist.
func TestTopicsCanBeFollowed(t *testing.T) {
	reference := regexp.MustCompile(`centwise help ([a-z]+)`)
	for _, p := range topic.All {
		page, ok := topic.Page(p.Name)
		if !ok || !strings.HasPrefix(page, "# ") {
			t.Errorf("%s has no heading", p.Name)
		}
		for line := range strings.Lines(strings.ReplaceAll(page, "\\\n", "")) {
			if command, ok := strings.CutPrefix(line, "    centwise "); ok {
				checkExample(t, "topic "+p.Name, "centwise "+command)
			}
		}
		for line := range strings.Lines(page) {
			if n := len(strings.TrimRight(line, "\n")); n > helpWidth {
				t.Errorf("%s: a line of %d characters: %s", p.Name, n, line)
			}
		}
		for _, to := range reference.FindAllStringSubmatch(page, -1) {
			if _, ok := topic.Page(to[1]); !ok {
				t.Errorf("%s refers to %q, which is no topic", p.Name, to[1])
			}
		}
	}
}

func TestHelpOffersCommandsAndTopics(t *testing.T) {
	s, out, _ := Test("")
	f := NewFactory(s)
	if code := Run(context.Background(), f, []string{"__complete", "help", ""}); code != exitOK {
		t.Fatalf("ended with %d", code)
	}
	for _, want := range []string{"measuring\t", "rank\t"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is not offered:\n%s", want, out)
		}
	}
}
