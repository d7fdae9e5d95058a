package form

import (
	"strings"
	"unicode/utf8"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/huh"
	"github.com/charmbracelet/lipgloss"

	"centwise/cmd/centwise/show"
)

// field is a question on a page.
type field struct {
	q     *Question
	typed *string // what stands in the field
	pick  *pick   // nil for a text
	list  bool    // a pick with a line for each choice
}

// newField makes the field and what draws it.
func newField(q *Question, l look, list bool) (*field, huh.Field) {
	typed := *q.Answer
	f := &field{q: q, typed: &typed, list: list}
	if q.Choices == nil {
		in := huh.NewInput().Title(q.name()).Inline(true).Prompt("").Value(f.typed)
		if len(q.Known) > 0 {
			in.Suggestions(cleaned(q.Known))
		}
		if !q.Optional {
			in.Placeholder("needed")
		}
		return f, in
	}
	f.pick = newPick(q, f.typed, l, list)
	return f, f.pick
}

func cleaned(list []string) []string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = show.Clean(s)
	}
	return out
}

// pick is a list of choices, on one line behind the name of its question or with
// a line for each. (huh gives the name a line of its own.)
type pick struct {
	*huh.Select[string]
	name    string
	choices []Choice
	typed   *string
	look    look
	focused bool
	list    bool
}

func newPick(q *Question, typed *string, l look, list bool) *pick {
	choices := q.Choices
	if _, ok := q.choice(*typed); !ok {
		// Without a choice that stands for it, the first would take its place unseen.
		choices = append([]Choice{{*typed, "choose"}}, choices...)
	}
	var options []huh.Option[string]
	for _, c := range choices {
		options = append(options, huh.NewOption(show.Clean(c.label()), c.Value))
	}
	s := huh.NewSelect[string]().Options(options...).Inline(!list).Value(typed)
	return &pick{Select: s, name: q.name(), choices: choices, typed: typed, look: l, list: list}
}

// Update keeps the pick in place of the list that it holds.
func (p *pick) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	_, cmd := p.Select.Update(msg)
	return p, cmd
}

func (p *pick) Focus() tea.Cmd { p.focused = true; return p.Select.Focus() }
func (p *pick) Blur() tea.Cmd  { p.focused = false; return p.Select.Blur() }

func (p *pick) WithWidth(width int) huh.Field {
	if !p.list {
		width -= nameColumns
	}
	p.Select.WithWidth(max(1, width))
	return p
}

func (p *pick) View() string {
	if p.list {
		return p.Select.View()
	}
	name := p.look.theme.Blurred.Title
	if p.focused {
		name = p.look.theme.Focused.Title
	}
	return lipgloss.JoinHorizontal(lipgloss.Top, name.Render(p.name), p.Select.View())
}

// set chooses a value.
func (p *pick) set(value string) {
	*p.typed = value
	p.Select.Value(p.typed)
}

// letter chooses the next choice that begins with what was typed.
func (p *pick) letter(typed []rune) {
	if len(typed) == 0 {
		return
	}
	want := strings.ToLower(string(typed[:1]))
	at := 0
	for i, c := range p.choices {
		if c.Value == *p.typed {
			at = i
		}
	}
	for step := range p.choices {
		c := p.choices[(at+1+step)%len(p.choices)]
		if strings.HasPrefix(strings.ToLower(c.label()), want) && utf8.ValidString(want) {
			p.set(c.Value)
			return
		}
	}
}
