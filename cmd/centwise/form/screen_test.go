package form

import (
	"errors"
	"strings"
	"testing"
	"unicode/utf8"

	tea "github.com/charmbracelet/bubbletea"

	"centwise/cmd/centwise/show"
)

// keys turns a line of key names and texts into messages, as the library reads
// them from a terminal: "Alder", "<enter>", "paste:text".
func keys(line ...string) []tea.KeyMsg {
	named := map[string]tea.KeyType{"<enter>": tea.KeyEnter, "<tab>": tea.KeyTab, "<back>": tea.KeyShiftTab, "<up>": tea.KeyUp, "<down>": tea.KeyDown,
		"<left>": tea.KeyLeft, "<right>": tea.KeyRight, "<esc>": tea.KeyEsc, "<ctrl+c>": tea.KeyCtrlC, "<ctrl+j>": tea.KeyCtrlJ, "<ctrl+e>": tea.KeyCtrlE,
		"<ctrl+u>": tea.KeyCtrlU, "<space>": tea.KeySpace, "<del>": tea.KeyBackspace}
	var out []tea.KeyMsg
	for _, text := range line {
		switch kind, ok := named[text]; {
		case ok && kind == tea.KeySpace:
			out = append(out, tea.KeyMsg{Type: kind, Runes: []rune(" ")})
		case ok:
			out = append(out, tea.KeyMsg{Type: kind})
		case strings.HasPrefix(text, "paste:"):
			out = append(out, tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(strings.TrimPrefix(text, "paste:")), Paste: true})
		default:
			out = append(out, tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(text)})
		}
	}
	return out
}

// onScreen types into a form of so many columns and lines. No command that the
// form wants run afterwards is run: what is typed must not depend on them.
func onScreen(f Form, columns, lines int, line ...string) *pages {
	p := newPages(f, newLook(&strings.Builder{}, false))
	p.Init()
	p.Update(tea.WindowSizeMsg{Width: columns, Height: lines})
	for _, k := range keys(line...) {
		if !p.done && !p.left {
			p.Update(k)
		}
	}
	return p
}

func TestScreenAnswers(t *testing.T) {
	for _, tc := range []struct {
		name, want string
		typed      []string
		left       bool
	}{
		{name: "straight through", typed: []string{"Alder", "<enter>", "Tidewright", "<enter>", "c", "<enter>", "3.6", "<enter>", "<enter>"}, want: "Alder|Tidewright|C|3.6"},
		{name: "Tab, Down and an early Enter go on too", typed: []string{" Alder ", "<tab>", "<down>", "<right>", "<ctrl+j>", "<enter>", "<enter>"}, want: "Alder||Bb|"},
		{name: "refused until it is right", typed: []string{"<enter>", "Alder", "<enter>", "<enter>", "<enter>", "b", "<enter>", "9", "<enter>", "<del>", "5", "<enter>", "<enter>"}, want: "Alder||Bb|5"},
		{name: "choices by arrows, space and first letter", typed: []string{"Alder", "<enter>", "<enter>", "<right>", "<space>", "<left>", "e", "<enter>", "<enter>", "<enter>"}, want: "Alder||Eb|"},
		{name: "back over an answer that is wrong", typed: []string{"Aldr", "<enter>", "<enter>", "<back>", "<up>", "<ctrl+u>", "Alder", "<enter>", "<enter>", "b", "<enter>", "9", "<back>", "<enter>", "<ctrl+u>", "<enter>", "<enter>"}, want: "Alder||Bb|"},
		{name: "back before the first stays there", typed: []string{"<back>", "Alder", "<up>", "<enter>", "<enter>", "b", "<enter>", "<enter>", "<enter>"}, want: "Alder||Bb|"},
		{name: "from the review to the start", typed: []string{"Alder", "<enter>", "<enter>", "b", "<enter>", "<enter>", "<down>", "<enter>", "x", "<enter>", "<enter>", "<enter>", "4", "<enter>", "<enter>"}, want: "Alderx||Bb|4"},
		{name: "doubts make going back what Enter does", typed: []string{"Alder", "<enter>", "doubtful", "<enter>", "b", "<enter>", "<enter>", "<enter>", "<enter>", "<ctrl+u>", "<enter>", "<enter>", "<enter>", "<enter>"}, want: "Alder||Bb|"},
		{name: "doubts can be overruled", typed: []string{"Alder", "<enter>", "doubtful", "<enter>", "b", "<enter>", "<enter>", "<up>", "<enter>"}, want: "Alder|doubtful|Bb|"},
		{name: "complete what is known", typed: []string{"Alder", "<enter>", "Tide", "<ctrl+e>", "<enter>", "b", "<enter>", "<enter>", "<enter>"}, want: "Alder|Tidewright|Bb|"},
		{name: "a pasted text is one answer", typed: []string{"paste:Alder\nof the pier\n", "<enter>", "<enter>", "paste:C", "b", "<enter>", "<enter>", "<enter>"}, want: "Alder of the pier||Bb|"},
		{name: "leave at the review", typed: []string{"Alder", "<enter>", "<enter>", "b", "<enter>", "<enter>", "<up>", "<enter>"}, left: true},
		{name: "Ctrl-C", typed: []string{"Alder", "<enter>", "<ctrl+c>"}, left: true},
		{name: "Esc at once", typed: []string{"<esc>"}, left: true},
		{name: "Esc twice", typed: []string{"Alder", "<enter>", "<esc>", "<esc>"}, left: true},
		{name: "Esc by mistake", typed: []string{"Al", "<esc>", "der", "<enter>", "<esc>", "<enter>", "b", "<enter>", "<enter>", "<enter>"}, want: "Alder||Bb|"},
	} {
		s := newSample()
		p := onScreen(s.form, 80, 24, tc.typed...)
		if p.left != tc.left || p.done == tc.left || p.done && s.answers() != tc.want {
			t.Errorf("%s: %q, done %v, left %v, want %q\n%s", tc.name, s.answers(), p.done, p.left, tc.want, show.Clean(p.View()))
		}
	}
}

// Whatever is typed at whatever speed, the two ways of asking give one answer.
func TestScreenAndPlainAgree(t *testing.T) {
	answers := []string{"Alder", "Tidewright", "E flat", "3"}
	screen, plain := newSample(), newSample()
	p := onScreen(screen.form, 60, 20, answers[0], "<enter>", answers[1], "<enter>", "e", "<enter>", answers[3], "<enter>", "<enter>")
	if _, err := askPlain(strings.NewReader(strings.Join(answers, "\n")+"\n\n"), plain.form); err != nil || !p.done || screen.answers() != plain.answers() {
		t.Errorf("on pages %q, line by line %q (%v)", screen.answers(), plain.answers(), err)
	}
}

// What must be seen on a page, in the narrowest terminal that is laid out for.
func TestScreenShows(t *testing.T) {
	for _, tc := range []struct {
		name  string
		typed []string
		shows []string
		not   string
	}{
		{"the first page", nil, []string{"Add a horn: what it is (1 of 2)", "> Label", "needed", "What it is called.", "Esc leave"}, "Who made it."},
		{"help of the next", []string{"Alder", "<enter>"}, []string{"  Label", "Alder", "> Maker", "Who made it.", "Ctrl+E complete"}, "What it is called."},
		{"a choice not made", []string{"Alder", "<enter>", "<enter>"}, []string{"> Key", "choose", "Left, Right choose"}, "Not accepted"},
		{"what is wrong", []string{"<enter>"}, []string{"Not accepted: this is needed"}, "(2 of 2)"},
		{"and no longer when it is mended", []string{"<enter>", "A"}, nil, "Not accepted"},
		{"a unit", []string{"Alder", "<enter>", "<enter>", "b", "<enter>"}, []string{"> Throat (mm)", "(2 of 2)"}, "Label"},
		{"a remark on the last answer", []string{"Alder", "<enter>", "<enter>", "b", "<enter>", "3", "<enter>", "<back>"}, []string{"Note: 3 is narrow"}, "Not accepted"},
		{"leaving", []string{"A", "<esc>"}, []string{"Esc once more leaves"}, "Not accepted"},
		{"the review", []string{"Alder", "<enter>", "doubtful", "<enter>", "b", "<enter>", "<enter>"}, []string{"is this right?", "summary of Alder", "Careful: nobody knows this maker", "> go back", "add it"}, "Throat"},
	} {
		for _, size := range [][2]int{{60, 20}, {80, 24}, {200, 60}} {
			view := onScreen(newSample().form, size[0], size[1], tc.typed...).View()
			checkFits(t, tc.name, view, size[0], size[1])
			for _, want := range tc.shows {
				if !strings.Contains(plainText(view), want) {
					t.Errorf("%s, %d columns: %q is not in\n%s", tc.name, size[0], want, plainText(view))
				}
			}
			if tc.not != "" && strings.Contains(plainText(view), tc.not) {
				t.Errorf("%s, %d columns: %q is in\n%s", tc.name, size[0], tc.not, plainText(view))
			}
		}
	}
}

// plainText is a view without its escapes, line by line.
func plainText(view string) string {
	var out []string
	for line := range strings.SplitSeq(view, "\n") {
		out = append(out, show.Clean(line))
	}
	return strings.Join(out, "\n")
}

func checkFits(t *testing.T, name, view string, columns, lines int) {
	t.Helper()
	all := strings.Split(plainText(view), "\n")
	if len(all) > lines {
		t.Errorf("%s: %d lines on a terminal of %d\n%s", name, len(all), lines, plainText(view))
	}
	for _, line := range all {
		if show.Width(line) > columns {
			t.Errorf("%s: %d columns on a terminal of %d: %q", name, show.Width(line), columns, line)
		}
	}
}

// A page with more questions than lines scrolls to the one that is answered.
func TestScreenScrolls(t *testing.T) {
	answers := make([]string, 26)
	var f Form
	f.Title = "Letters"
	f.Pages = []Page{{}}
	for i := range answers {
		f.Pages[0].Questions = append(f.Pages[0].Questions, Question{Name: string(rune('A' + i)), Optional: true, Answer: &answers[i]})
	}
	p := onScreen(f, 60, 14)
	for i := range answers {
		view := plainText(p.View())
		checkFits(t, "letters", p.View(), 60, 14)
		if !strings.Contains(view, "> "+string(rune('A'+i))) {
			t.Fatalf("letter %d is not shown:\n%s", i, view)
		}
		p.Update(keys("<enter>")[0])
	}
	if !p.done || p.View() != "" {
		t.Errorf("done %v, and left behind %q", p.done, p.View())
	}
}

// Text of others does not reach the terminal as it is.
func TestScreenIsHarmless(t *testing.T) {
	answer, pick := "", ""
	f := Form{Title: "T\x1b]0;title\x07", Pages: []Page{{"P\x1b[31m", []Question{
		{Name: "Text", Help: "H\x1b[2J", Answer: &answer, Known: []string{"k\x1b[31mnown"}, Remark: func(string) string { return "R\x1b[5m" },
			Check: func(a string) error {
				if a == "x" {
					return errors.New("E\x1b[6n")
				}
				return nil
			}},
		{Name: "Pick", Answer: &pick, Choices: []Choice{{"a", "A\x1b[31m"}, {"b", "B\u202e"}}},
	}}}}
	for _, typed := range [][]string{nil, {"x", "<enter>"}, {"k"}, {"y", "<enter>"}, {"y", "<enter>", "<right>"}, {"y", "<enter>", "b"}} {
		view := onScreen(f, 80, 24, typed...).View()
		for _, bad := range []string{"\x1b]0", "\x1b[31m", "\x1b[2J", "\x1b[5m", "\x1b[6n", "\u202e"} {
			if strings.Contains(view, bad) {
				t.Errorf("after %v: %q is in %q", typed, bad, view)
			}
		}
	}
}

// Without colour there is still bold and a cursor, and no colour.
func TestScreenColour(t *testing.T) {
	view := func(colour bool) string {
		p := newPages(newSample().form, newLook(&strings.Builder{}, colour))
		p.Init()
		p.Update(tea.WindowSizeMsg{Width: 80, Height: 24})
		p.Update(keys("<enter>")[0])
		return p.View()
	}
	if v := view(false); strings.Contains(v, "\x1b[3") || strings.Contains(v, ";3") || !strings.Contains(v, "\x1b[1m") || !strings.Contains(v, "\x1b[7m") {
		t.Errorf("without colour: %q", v)
	}
	if v := view(true); !strings.Contains(v, "31m") {
		t.Errorf("with colour: %q", v)
	}
}

// No sequence of keys makes the form panic, draw past the terminal, or end with
// an answer that is not accepted.
func FuzzScreen(f *testing.F) {
	f.Add("Alder\r\rb\r3\r\r")
	f.Add("\r\x1b\x1b")
	f.Add("Aé\t\t b\x15\r\x02\x02\r")
	f.Fuzz(func(t *testing.T, typed string) {
		if !utf8.ValidString(typed) || len(typed) > 200 {
			return
		}
		s := newSample()
		p := onScreen(s.form, 60, 20, fuzzKeys(typed)...)
		checkFits(t, "view", p.View(), 60, 20)
		if !p.done {
			return
		}
		for i := range s.form.Pages {
			for _, q := range s.form.Pages[i].Questions {
				if again, err := q.Accept(*q.Answer); err != nil || again != *q.Answer {
					t.Errorf("%s: %q is kept, %q accepted (%v)", q.Name, *q.Answer, again, err)
				}
			}
		}
	})
}

// fuzzKeys reads control characters as keys that move.
func fuzzKeys(text string) []string {
	moves := map[rune]string{'\r': "<enter>", '\t': "<tab>", '\n': "<ctrl+j>", 1: "<left>", 2: "<back>", 3: "<down>", 4: "<up>", 5: "<ctrl+e>", 6: "<right>", 0x1b: "<esc>", 0x15: "<ctrl+u>", 0x7f: "<del>", ' ': "<space>"}
	var out []string
	for _, r := range text {
		if name, ok := moves[r]; ok {
			out = append(out, name)
		} else if r >= ' ' {
			out = append(out, string(r))
		}
	}
	return out
}
