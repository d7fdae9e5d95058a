package main

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"centwise/cmd/centwise/cli"
	"centwise/cmd/centwise/schema"
	"centwise/cmd/centwise/schema/schematest"
)

// storyLog is the variable that names the file to which a run of the program in a
// story adds what it showed of schemas, and how it broke one.
const storyLog = "STORY_SCHEMAS"

// exitMismatch is the exit code of a run whose JSON is not as its schema says.
const exitMismatch = 70

// mainOnStories is main for stories: what is printed with --json must be as its
// schema says.
func mainOnStories() {
	if !printsJSON(os.Args[1:]) {
		main()
		return
	}
	args := slices.Clone(os.Args[1:])
	s := cli.System()
	out, errOut := &tee{to: os.Stdout}, &tee{to: os.Stderr}
	s.Out = bufio.NewWriter(out)
	if s.Talk.Terminal {
		errOut = nil // forms are drawn there, which need the terminal itself
	} else {
		s.Err = errOut
	}
	code := cli.Process(s)
	seen, err := checkRun(args, code, out, errOut)
	logSeen(seen, err)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		code = exitMismatch
	}
	os.Exit(code)
}

// printsJSON reports whether a command line asks for JSON, and for no help.
func printsJSON(args []string) bool {
	if len(args) > 0 && (args[0] == "help" || strings.HasPrefix(args[0], "__")) || slices.Contains(args, "--help") || slices.Contains(args, "-h") {
		return false
	}
	return slices.Contains(args, "--json")
}

// tee keeps what got through to another writer.
type tee struct {
	to     io.Writer
	kept   bytes.Buffer
	failed bool
}

func (t *tee) Write(p []byte) (int, error) {
	n, err := t.to.Write(p)
	t.kept.Write(p[:n])
	t.failed = t.failed || err != nil
	return n, err
}

// checkRun compares what a run printed with the schemas, and lists the members it
// showed, each behind the name of its schema and a tab.
func checkRun(args []string, code int, out, errOut *tee) ([]string, error) {
	var seen []string
	check := func(name string, text []byte) error {
		if err := schematest.Check(name, text); err != nil {
			return fmt.Errorf("%s: standard output or error is %w", strings.Join(args, " "), err)
		}
		members, err := schematest.Seen(name, text)
		for _, m := range members {
			seen = append(seen, name+"\t"+m)
		}
		return err
	}
	if code == 0 || !out.failed && out.kept.Len() > 0 {
		if err := check(schemaOf(args), out.kept.Bytes()); err != nil {
			return nil, err
		}
	}
	if code != 0 && errOut != nil {
		// Talk may come before it.
		text := errOut.kept.Bytes()
		if err := check(schema.Error, text[bytes.LastIndex(append([]byte("\n"), text...), []byte("\n{\n")):]); err != nil {
			return nil, err
		}
	}
	return seen, nil
}

// schemaOf is the name of the schema of a command line: the most words in a row
// that there is one for.
func schemaOf(args []string) string {
	for i := range args {
		for n := min(3, len(args)-i); n > 0; n-- {
			name := strings.Join(args[i:i+n], " ")
			if _, ok := schema.Title(name); ok && name != schema.Error {
				return name
			}
		}
	}
	return strings.Join(args, " ")
}

func logSeen(seen []string, mismatch error) {
	path := os.Getenv(storyLog)
	if path == "" {
		return
	}
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND, 0)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return
	}
	defer file.Close()
	if mismatch != nil {
		seen = []string{mismatchMark + strings.ReplaceAll(mismatch.Error(), "\n", "\n"+mismatchMark)}
	}
	fmt.Fprintln(file, strings.Join(seen, "\n"))
}

// mismatchMark begins the lines of a log that say how a schema was broken.
const mismatchMark = "\t"

// stories collect what stories show of schemas.
type stories struct {
	mu    sync.Mutex
	begun int
	seen  map[string]bool
}

// watchStories sees that no schema is broken in a run whose failing a story wants,
// and, at the end of all stories of a folder, that they show every member of every
// schema.
func watchStories(t *testing.T, p testscript.Params) *stories {
	s := &stories{seen: map[string]bool{}}
	if p.Dir == "" {
		return s // some stories of a folder
	}
	all, err := filepath.Glob(filepath.Join(p.Dir, "*.txtar"))
	if err != nil || len(all) == 0 {
		t.Fatalf("%d stories in %s, %v", len(all), p.Dir, err)
	}
	t.Cleanup(func() {
		if s.begun == len(all) && runtime.GOOS == "linux" && !testing.Short() && !t.Failed() {
			s.report(t)
		}
	})
	return s
}

// watch gives a story its log, and reads it at its end.
func (s *stories) watch(e *testscript.Env) error {
	log := e.WorkDir + ".schemas"
	if err := os.WriteFile(log, nil, 0o666); err != nil {
		return err
	}
	e.Setenv(storyLog, log)
	s.mu.Lock()
	s.begun++
	s.mu.Unlock()
	e.Defer(func() {
		if broken := s.read(log); broken != "" {
			e.T().Fatal(broken)
		}
	})
	return nil
}

// read takes in a log and gives what it says of broken schemas.
func (s *stories) read(log string) (broken string) {
	text, err := os.ReadFile(log)
	if err != nil {
		return err.Error()
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for line := range strings.Lines(string(text)) {
		if rest, ok := strings.CutPrefix(line, mismatchMark); ok {
			broken += rest
		} else {
			s.seen[strings.TrimSpace(line)] = true
		}
	}
	return broken
}

// mayBeMissing are the beginnings of members that hang on what the engine
// estimates, which stories don't pin.
var mayBeMissing = map[string][]string{
	"adjust":       {"best."},
	"measure":      {"lesson.moved[]."},
	"predict":      {"change.", "explanation.alternates[]."},
	"visit record": estimatedOfVisits,
	"visit result": estimatedOfVisits,
}

// What to try next, and that a reading is better than the pick.
var estimatedOfVisits = []string{"visit_progress.next", "visit_progress.pick_code", "visit_progress.raw", "visit_progress.why_not_raw"}

func mayMiss(name, member string) bool {
	return slices.ContainsFunc(mayBeMissing[name], func(start string) bool { return strings.HasPrefix(member, start) })
}

// report names the members that no story shows.
func (s *stories) report(t *testing.T) {
	for _, name := range schema.Names() {
		members, err := schematest.Places(name)
		if err != nil {
			t.Error(err)
		}
		var missing []string
		for _, m := range members {
			if !s.seen[name+"\t"+m] && !mayMiss(name, m) {
				missing = append(missing, m)
			}
		}
		if len(missing) == len(members) {
			t.Errorf("no story runs %q with --json", name)
		} else if len(missing) > 0 {
			t.Errorf("no story shows these members of %q: %s", name, strings.Join(missing, ", "))
		}
	}
}
