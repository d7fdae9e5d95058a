package form

import (
	"bytes"
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/huh"
)

// What huh v1.0.0 does that forms are built around. A version that does otherwise
// fails here; then look again at what is ours because of it, named with each test.

// Line by line, huh asks what is hidden, so forms have nothing to hide, and
// [Plain] is ours.
func TestHuhAsksHiddenGroups(t *testing.T) {
	shown, hidden := "", ""
	out := askHuh(t, iotest.OneByteReader(strings.NewReader("a\nb\n")),
		huh.NewGroup(huh.NewInput().Title("shown").Value(&shown)),
		huh.NewGroup(huh.NewInput().Title("hidden").Value(&hidden)).WithHide(true))
	if !strings.Contains(out, "hidden") {
		t.Errorf("hidden groups stay hidden now: %q", out)
	}
}

// Each of its fields reads ahead for itself: [Lines] reads for all of ours.
func TestHuhLosesPipedAnswers(t *testing.T) {
	first, second := "", ""
	askHuh(t, strings.NewReader("a\nb\n"), huh.NewGroup(huh.NewInput().Value(&first), huh.NewInput().Value(&second)))
	if first != "a" || second != "" {
		t.Errorf("answers are no longer lost: %q, %q", first, second)
	}
}

// The end of input is no error and skips what checks the answer: ours is
// [ErrEnded].
func TestHuhTakesTheEndForAnAnswer(t *testing.T) {
	answer := ""
	askHuh(t, strings.NewReader(""), huh.NewGroup(huh.NewInput().Value(&answer).Validate(huh.ValidateNotEmpty())))
	if answer != "" {
		t.Errorf("got %q", answer)
	}
}

// Without a value a list breaks at the end of input: ours always have one.
func TestHuhListWithoutValuePanics(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("it does not panic any more")
		}
	}()
	askHuh(t, strings.NewReader(""), huh.NewGroup(huh.NewSelect[string]().Options(huh.NewOption("a", "a"))))
}

// Errors of fields are dropped: a password that can't be asked for is empty.
func TestHuhDropsFieldErrors(t *testing.T) {
	answer := ""
	askHuh(t, strings.NewReader("secret\n"), huh.NewGroup(huh.NewInput().EchoMode(huh.EchoModePassword).Value(&answer)))
	if answer != "" {
		t.Errorf("got %q", answer)
	}
}

// Enter alone is the only way to answer with nothing, and keeps the default: ours
// has a sign that empties.
func TestHuhCannotEmptyAnAnswer(t *testing.T) {
	answer := "before"
	askHuh(t, strings.NewReader("\n"), huh.NewGroup(huh.NewInput().Value(&answer)))
	if answer != "before" {
		t.Errorf("got %q", answer)
	}
}

// askHuh runs groups line by line; that never fails, whatever happens.
func askHuh(t *testing.T, in io.Reader, groups ...*huh.Group) string {
	t.Helper()
	var out bytes.Buffer
	if err := huh.NewForm(groups...).WithAccessible(true).WithInput(in).WithOutput(&out).Run(); err != nil {
		t.Errorf("an error now: %v", err)
	}
	return out.String()
}

// A cancelled context is called a timeout: [Screen] runs the program itself.
func TestHuhCallsCancellingATimeout(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	answer := ""
	err := huh.NewForm(huh.NewGroup(huh.NewInput().Value(&answer))).WithInput(strings.NewReader("")).WithOutput(io.Discard).RunWithContext(ctx)
	if !errors.Is(err, huh.ErrTimeout) || errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
	if err := NewScreen(nil, nil, false).Ask(ctx, newSample().form); !errors.Is(err, context.Canceled) {
		t.Errorf("ours: %v", err)
	}
}

// Enter moves on only when a command that it returns has been run, beside the
// reading of keys: what is typed at once goes to the first field. [pages] moves
// by itself, which needs NextField and its like to act at once.
func TestHuhMovesBesideTheKeys(t *testing.T) {
	type2 := func(move func(*huh.Form)) (first, second string) {
		f := huh.NewForm(huh.NewGroup(huh.NewInput().Value(&first), huh.NewInput().Value(&second)))
		f.Init()
		f.Update(keys("a")[0])
		move(f)
		f.Update(keys("b")[0])
		return first, second
	}
	if first, second := type2(func(f *huh.Form) { f.Update(tea.KeyMsg{Type: tea.KeyEnter}) }); first != "ab" || second != "" {
		t.Errorf("Enter moves at once now: %q, %q", first, second)
	}
	if first, second := type2(func(f *huh.Form) { f.NextField() }); first != "a" || second != "b" {
		t.Errorf("NextField no longer moves at once: %q, %q", first, second)
	}
}

// A list shows its first choice for an answer that is none of them, and takes it:
// ours adds the answer, which is then refused.
func TestHuhReplacesUnknownAnswers(t *testing.T) {
	answer := "tuba"
	huh.NewSelect[string]().Options(huh.NewOptions("trumpet", "cornet")...).Value(&answer)
	if answer != "trumpet" {
		t.Errorf("the answer is kept now: %q", answer)
	}
	ours := "tuba"
	f := Form{Pages: []Page{{"", []Question{{Name: "Kind", Answer: &ours, Choices: []Choice{{Value: "trumpet"}, {Value: "cornet"}}}}}}}
	if p := onScreen(f, 80, 24, "<enter>"); p.done || ours != "tuba" || p.wrong == "" {
		t.Errorf("done %v with %q", p.done, ours)
	}
	if p := onScreen(f, 80, 24, "<right>", "<enter>"); !p.done || ours != "trumpet" {
		t.Errorf("done %v with %q", p.done, ours)
	}
}
