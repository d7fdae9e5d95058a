package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// readmeColumns is the width of the terminal that the README's output was made on.
const readmeColumns = 100

var fences = regexp.MustCompile("(?ms)^```(\\w+)\n(.*?)^```\n")

// The commands of the README run as they stand there, in their order, on the
// sheet that stands there, and what they print looks as it does there: the same
// lines but for numbers and what follows from them. -update writes what they
// print into the README.
func TestReadmeRuns(t *testing.T) {
	path := filepath.Join("..", "..", "README.md")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	r := newReader(t)
	commands := 0
	out := fences.ReplaceAllStringFunc(string(text), func(block string) string {
		m := fences.FindStringSubmatch(block)
		switch m[1] {
		case "csv":
			if err := os.WriteFile(filepath.Join(r.folder, "sessions.csv"), []byte(m[2]), 0o644); err != nil {
				t.Fatal(err)
			}
		case "console":
			var b strings.Builder
			for _, command := range strings.Split(m[2], "$ ")[1:] {
				line, printed, _ := strings.Cut(command, "\n")
				b.WriteString("$ " + line + "\n" + r.run(line, printed))
				commands++
			}
			return "```console\n" + b.String() + "```\n"
		}
		return block
	})
	if commands < 5 {
		t.Errorf("only %d commands found", commands)
	}
	r.pictures(string(text))
	if *update {
		if err := os.WriteFile(path, []byte(out), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

var picture = regexp.MustCompile(`]\((testdata/readme/([a-z]+\.svg))\)`)

var digits = regexp.MustCompile(`-?[0-9.]+`)

// pictures compares the pictures of the README with those that its commands drew,
// but for numbers; -update keeps the drawn ones.
func (r *reader) pictures(text string) {
	r.t.Helper()
	found := picture.FindAllStringSubmatch(text, -1)
	if len(found) < 2 {
		r.t.Errorf("%d pictures in the README", len(found))
	}
	for _, m := range found {
		kept := filepath.Join("..", "..", m[1])
		drawn, err := os.ReadFile(filepath.Join(r.folder, m[2]))
		if err != nil {
			r.t.Errorf("no command of the README draws %s: %v", m[2], err)
			continue
		}
		if *update {
			if err := os.WriteFile(kept, drawn, 0o644); err != nil {
				r.t.Fatal(err)
			}
			continue
		}
		shown, err := os.ReadFile(kept)
		if err != nil || digits.ReplaceAllString(string(shown), "") != digits.ReplaceAllString(string(drawn), "") {
			r.t.Errorf("%s is not what the command draws (%v): -update keeps that", m[1], err)
		}
	}
}

// reader is somebody who types what the README says on a fresh machine.
type reader struct {
	t      *testing.T
	folder string
	env    []string
}

func newReader(t *testing.T) *reader {
	r := &reader{t: t, folder: t.TempDir()}
	r.env = []string{"HOME=" + r.folder, "PATH=" + os.Getenv("PATH"), "LANG=C.UTF-8", "TZ=UTC", "NO_COLOR=1"}
	return r
}

// run types one line and gives what the terminal shows, or what the README says
// it does if that is the same but for numbers.
func (r *reader) run(line, printed string) string {
	r.t.Helper()
	if strings.HasPrefix(line, "go ") {
		return printed // the test has built the program already
	}
	if assignment, ok := strings.CutPrefix(line, "export "); ok {
		r.env = append(r.env, assignment)
		return ""
	}
	control, terminal, err := openTerminal(readmeColumns)
	if err != nil {
		r.t.Fatal(err)
	}
	defer control.Close()
	cmd := exec.Command("sh", "-c", line)
	cmd.Dir, cmd.Env = r.folder, r.env
	cmd.Stdout, cmd.Stderr = terminal, terminal
	if err := cmd.Start(); err != nil {
		r.t.Fatal(err)
	}
	terminal.Close()
	shown := screenText(control)
	if err := cmd.Wait(); err != nil {
		r.t.Errorf("%s: %v\n%s", line, err, shown)
	}
	if !*update && !strings.HasSuffix(printed, "...\n") && outline(shown) != outline(printed) {
		r.t.Errorf("%s shows\n%s\nand the README says\n%s\n'go test ./cmd/centwise -run Readme -update' writes what it shows", line, shown, printed)
	}
	if strings.HasSuffix(printed, "...\n") {
		return printed
	}
	return shown
}

// outline is what stays of an output when its numbers change: headings and the
// first words of lines that don't hold numbers.
func outline(text string) string {
	var out []string
	for line := range strings.Lines(text) {
		if strings.ContainsAny(line, "0123456789") || strings.HasPrefix(line, "  ") {
			continue
		}
		if words := strings.Fields(line); len(words) > 0 {
			out = append(out, words[0])
		}
	}
	return strings.Join(out, " ")
}

// screenText reads what a terminal shows until the other side closes it. What
// was drawn on a line before it was cleared is gone.
func screenText(control *os.File) string {
	var screen bytes.Buffer
	screen.ReadFrom(control) // ends with an error when the other side closes
	return withoutProgress(strings.ReplaceAll(screen.String(), "\r\n", "\n"))
}

// withoutProgress takes away what was drawn over again.
func withoutProgress(text string) string {
	var out strings.Builder
	for line := range strings.Lines(text) {
		const clear = "\r\x1b[K"
		if at := strings.LastIndex(line, clear); at >= 0 {
			line = line[at+len(clear):]
		}
		out.WriteString(line)
	}
	return out.String()
}
