package cli

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"golang.org/x/term"

	"centwise/cmd/centwise/form"
	"centwise/cmd/centwise/show"
)

// Streams is where a command reads from and writes to: data to Out, talk to
// Err. Nothing else prints.
type Streams struct {
	In    io.Reader
	Out   *bufio.Writer
	Err   io.Writer
	Style show.Style // of Out
	Talk  show.Style // of Err
	// Person says that somebody types into In and reads Err: both are terminals.
	Person bool

	lines    *form.Lines    // of In, see Lines
	progress *show.Progress // on Err; nil before there is any
}

// Lines reads In line by line. Everything that asks uses this one reader, so
// that lines typed or piped ahead wait for what they are for.
func (s *Streams) Lines() *form.Lines {
	if s.lines == nil {
		s.lines = form.NewLines(s.In)
	}
	return s.lines
}

// System gives the streams of the process.
func System() *Streams {
	s := &Streams{
		In:    os.Stdin,
		Out:   bufio.NewWriter(os.Stdout),
		Err:   os.Stderr,
		Style: styleOf(os.Stdout, os.Getenv),
		Talk:  styleOf(os.Stderr, os.Getenv),
	}
	s.Person = s.Talk.Terminal && term.IsTerminal(int(os.Stdin.Fd()))
	return s
}

// Test gives streams for a test: input is read from in, and what is written can
// be read from the buffers after a Flush.
func Test(in string) (s *Streams, out, errOut *bytes.Buffer) {
	out, errOut = &bytes.Buffer{}, &bytes.Buffer{}
	s = &Streams{In: strings.NewReader(in), Out: bufio.NewWriter(out), Err: errOut}
	s.Style.Width, s.Talk.Width = 80, 80
	return s, out, errOut
}

// Flush writes out what is held back of Out.
func (s *Streams) Flush() error { return s.Out.Flush() }

// Note says something beside the data: on Err, after what was printed so far.
func (s *Streams) Note(format string, args ...any) {
	s.Flush() // an error stays with the writer and is reported at the end
	text := show.Clean(fmt.Sprintf(format, args...))
	say := func() { fmt.Fprintln(s.Err, show.Wrap(text, s.Talk.Columns(), "", "  ")) }
	if s.progress != nil {
		s.progress.Aside(say)
	} else {
		say()
	}
}

// Command says a command to type next, on a line of its own that can be copied.
func (s *Streams) Command(line string) {
	s.Flush()
	fmt.Fprintln(s.Err, "  "+show.Clean(line))
}

// Notes says several things, each as a paragraph.
func (s *Streams) Notes(texts []string) {
	for _, text := range texts {
		s.Note("%s", text)
	}
}

// together gives streams that lay everything out for people and keep talk and
// data together, wherever they go.
func (s *Streams) together() *Streams {
	out := *s
	out.Style.Terminal = true
	if !s.Style.Terminal {
		out.Err, out.Talk = s.Out, s.Style
	}
	return &out
}

// styleOf finds out what a stream can take, from the stream and the usual
// variables: NO_COLOR, CLICOLOR, CLICOLOR_FORCE, TERM, COLUMNS and the locale.
func styleOf(file *os.File, env func(string) string) show.Style {
	fd := int(file.Fd())
	s := show.Style{Terminal: term.IsTerminal(fd), Width: 80}
	if w, _, err := term.GetSize(fd); err == nil && w > 0 {
		s.Width = w
	}
	if w, err := strconv.Atoi(env("COLUMNS")); err == nil && w > 0 {
		s.Width = w
	}
	dumb := env("TERM") == "dumb"
	s.Unicode = !dumb && utf8Locale(env)
	s.Colour = wantsColour(s.Terminal && !dumb, env)
	return s
}

func wantsColour(terminal bool, env func(string) string) bool {
	switch {
	case env("NO_COLOR") != "":
		return false
	case env("CLICOLOR_FORCE") != "" && env("CLICOLOR_FORCE") != "0":
		return true
	case env("CLICOLOR") == "0":
		return false
	}
	return terminal
}

// utf8Locale follows the order in which POSIX reads the locale variables.
func utf8Locale(env func(string) string) bool {
	for _, name := range []string{"LC_ALL", "LC_CTYPE", "LANG"} {
		if v := env(name); v != "" {
			v = strings.ToLower(v)
			return strings.Contains(v, "utf-8") || strings.Contains(v, "utf8")
		}
	}
	return false
}
