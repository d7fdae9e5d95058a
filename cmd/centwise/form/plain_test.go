package form

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"testing/iotest"
	"time"
)

// sample is a form with every kind of question, and where its answers go.
type sample struct {
	label, maker, key, throat string
	form                      Form
}

func newSample() *sample {
	s := &sample{}
	s.form = Form{Title: "Add a horn",
		Pages: []Page{
			{"what it is", []Question{
				{Name: "Label", Help: "What it is called.", Answer: &s.label},
				{Name: "Maker", Help: "Who made it.", Answer: &s.maker, Optional: true, Known: []string{"Tidewright", "Northlamp"}},
				{Name: "Key", Help: "The key it stands in.", Answer: &s.key, Choices: []Choice{{Value: "Bb"}, {Value: "C"}, {"Eb", "E flat"}}},
			}},
			{"its mouthpiece", []Question{
				{Name: "Throat", Unit: "mm", Help: "Its narrowest place.", Answer: &s.throat, Optional: true,
					Check: func(answer string) error {
						if answer == "9" {
							return errors.New("9 is too wide")
						}
						return nil
					},
					Remark: func(answer string) string {
						if answer == "3" {
							return "3 is narrow"
						}
						return ""
					}},
			}},
		},
		Review: &Review{Do: "add it", Summary: func() ([]string, []string) {
			var doubts []string
			if s.maker == "doubtful" {
				doubts = []string{"nobody knows this maker"}
			}
			return []string{"summary of " + s.label}, doubts
		}}}
	return s
}

func (s *sample) answers() string {
	return strings.Join([]string{s.label, s.maker, s.key, s.throat}, "|")
}

func askPlain(in io.Reader, f Form) (shown string, err error) {
	var out bytes.Buffer
	err = NewPlain(NewLines(in), &out, 80).Ask(context.Background(), f)
	return out.String(), err
}

// Answers as they are typed, and what comes of them.
func TestPlainAnswers(t *testing.T) {
	for _, tc := range []struct {
		name, typed, want string
		shows             []string
		err               error
	}{
		{name: "straight through", typed: "Alder\nTidewright\nC\n3.6\n\n", want: "Alder|Tidewright|C|3.6",
			shows: []string{"Part 1 of 2: what it is.", "Part 2 of 2", "There already: Tidewright, Northlamp.", "summary of Alder", "1. add it"}},
		{name: "CR LF, spaces, an end without a line's end", typed: " Alder \r\n\r\nc\r\n\r\n1", want: "Alder||C|"},
		{name: "choices by number and by label", typed: "Alder\n\n2\n\n1\n", want: "Alder||C|"},
		{name: "a label for its value", typed: "Alder\n\ne FLAT\n\n1\n", want: "Alder||Eb|"},
		{name: "refused, and asked again", typed: "\nAlder\n\n4\nH\n1\n9\n5\n\n", want: "Alder||Bb|5",
			shows: []string{"Not accepted: this is needed.", "Not accepted: choose one of Bb, C, E flat.", "Not accepted: 9 is too wide."}},
		{name: "a remark does not hold anybody up", typed: "Alder\n\n1\n3\n\n", want: "Alder||Bb|3", shows: []string{"Note: 3 is narrow."}},
		{name: "back one question", typed: "Aldr\n<\nAlder\nX\n1\n<\n2\n4\n\n", want: "Alder|X|C|4"},
		{name: "back before the first stays there", typed: "<\nAlder\n\n1\n\n\n", want: "Alder||Bb|"},
		{name: "go back at the end, keep, and empty", typed: "Alder\nX\n1\n4\n2\n\n-\n\n\n1\n", want: "Alder||Bb|4", shows: []string{"Label [Alder]: ", "Maker [X]: ", "Throat (mm) [4]: "}},
		{name: "what is needed can't be emptied", typed: "-\n\n1\n\n\n", want: "-||Bb|"},
		{name: "leave at the end", typed: "Alder\n\n1\n\n3\n", err: ErrLeft},
		{name: "doubts make going back what Enter does", typed: "Alder\ndoubtful\n1\n\n\n\nX\n\n\n1\n", want: "Alder|X|Bb|", shows: []string{"Careful: nobody knows this maker.", "Now [go back and change answers]: "}},
		{name: "keys that are not text", typed: "Al\x1b[Dder\nAlder\n\n1\n\n1\n", want: "Alder||Bb|", shows: []string{"keys in it that are not letters"}},
	} {
		s := newSample()
		shown, err := askPlain(strings.NewReader(tc.typed), s.form)
		if !errors.Is(err, tc.err) || tc.err == nil && s.answers() != tc.want {
			t.Errorf("%s: %q (%v), want %q\n%s", tc.name, s.answers(), err, tc.want, shown)
		}
		for _, want := range tc.shows {
			if !strings.Contains(shown, want) {
				t.Errorf("%s: %q is not shown in\n%s", tc.name, want, shown)
			}
		}
		if strings.ContainsAny(shown, "\x1b\r") {
			t.Errorf("%s: the cursor moves: %q", tc.name, shown)
		}
	}
}

// Lines that arrive in any pieces reach the questions they are for: all at once,
// or byte by byte.
func TestPlainLosesNoPipedAnswers(t *testing.T) {
	const typed = "Alder\nTidewright\n2\n3.6\n1\n"
	for name, in := range map[string]io.Reader{
		"at once": strings.NewReader(typed), "bytes": iotest.OneByteReader(strings.NewReader(typed)), "halves": iotest.HalfReader(strings.NewReader(typed)),
	} {
		s := newSample()
		if shown, err := askPlain(in, s.form); err != nil || s.answers() != "Alder|Tidewright|C|3.6" {
			t.Errorf("%s: %q (%v)\n%s", name, s.answers(), err, shown)
		}
	}
}

// Two forms after one another share what was piped.
func TestPlainFormsShareTheirInput(t *testing.T) {
	lines := NewLines(strings.NewReader("Alder\n\n1\n\n1\nRowan\n\n2\n\n1\nleft over\n"))
	asker := NewPlain(lines, io.Discard, 80)
	for _, want := range []string{"Alder||Bb|", "Rowan||C|"} {
		s := newSample()
		if err := asker.Ask(context.Background(), s.form); err != nil || s.answers() != want {
			t.Errorf("%q (%v), want %q", s.answers(), err, want)
		}
	}
	if text, err := lines.Next(context.Background()); text != "left over" || err != nil {
		t.Errorf("%q (%v)", text, err)
	}
}

// The input may end before any question; what is valid by then counts for nothing.
func TestPlainEndOfInput(t *testing.T) {
	all := []string{"Alder\n", "\n", "1\n", "\n", "1\n"}
	for n := range all {
		s := newSample()
		if _, err := askPlain(strings.NewReader(strings.Join(all[:n], "")), s.form); !errors.Is(err, ErrEnded) {
			t.Errorf("after %d lines: %v", n, err)
		}
	}
}

func TestPlainInputThatFails(t *testing.T) {
	broken := errors.New("the cable is out")
	if _, err := askPlain(iotest.ErrReader(broken), newSample().form); !errors.Is(err, broken) {
		t.Errorf("%v", err)
	}
	if _, err := askPlain(strings.NewReader(strings.Repeat("x", maxLine+1)+"\n"), newSample().form); err == nil || errors.Is(err, ErrEnded) {
		t.Errorf("an endless line: %v", err)
	}
	s := newSample()
	if err := NewPlain(NewLines(strings.NewReader("x")), brokenWriter{broken}, 80).Ask(context.Background(), s.form); !errors.Is(err, broken) {
		t.Errorf("nowhere to ask: %v", err)
	}
}

type brokenWriter struct{ err error }

func (w brokenWriter) Write([]byte) (int, error) { return 0, w.err }

// A cancelled context ends the wait for a line, and the line is not lost.
func TestLinesAreCancelled(t *testing.T) {
	in, typist := io.Pipe()
	lines := NewLines(in)
	ctx, cancel := context.WithCancel(context.Background())
	asked := make(chan error)
	go func() {
		_, err := lines.Next(ctx)
		asked <- err
	}()
	time.AfterFunc(10*time.Millisecond, cancel)
	if err := <-asked; !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
	if _, err := lines.Next(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("asked again: %v", err)
	}
	go fmt.Fprintln(typist, "late")
	if text, err := lines.Next(context.Background()); text != "late" || err != nil {
		t.Errorf("%q (%v)", text, err)
	}
}

// The review can refuse: the person stays there.
func TestPlainReviewRefuses(t *testing.T) {
	s := newSample()
	s.form.Review.Check = func() error {
		if s.throat == "" {
			return errors.New("a throat is needed after all")
		}
		return nil
	}
	shown, err := askPlain(strings.NewReader("Alder\n\n1\n\n1\n2\n\n\n\n4\n1\n"), s.form)
	if err != nil || s.throat != "4" || !strings.Contains(shown, "Not accepted: a throat is needed after all.") {
		t.Errorf("%q (%v)\n%s", s.answers(), err, shown)
	}
}
