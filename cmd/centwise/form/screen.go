package form

import (
	"context"
	"errors"
	"fmt"
	"os"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/huh"
)

// Screen asks on pages of a terminal: one question a line, with the help of the
// one that is being answered below.
type Screen struct {
	in, out *os.File // a terminal
	colour  bool
}

// NewScreen asks on a terminal.
func NewScreen(in, out *os.File, colour bool) *Screen {
	return &Screen{in, out, colour}
}

// Ask implements [Asker].
func (s *Screen) Ask(ctx context.Context, f Form) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	// The caller turns signals into the end of the context.
	program := tea.NewProgram(newPages(f, newLook(s.out, s.colour)),
		tea.WithContext(ctx), tea.WithInput(s.in), tea.WithOutput(s.out), tea.WithoutSignalHandler())
	last, err := program.Run()
	switch p, ok := last.(*pages); {
	case ctx.Err() != nil:
		return ctx.Err() // the library calls it a kill
	case err != nil:
		return fmt.Errorf("drawing a form: %w", err)
	case !ok || !p.done && !p.left:
		return errors.New("drawing a form: it ended by itself")
	case p.left:
		return ErrLeft
	}
	return nil
}

// pages is a form on a terminal. It moves between questions itself, one key
// after the other: left to the library, moving happens beside the reading of
// keys, and what is typed ahead ends up in the wrong field.
type pages struct {
	form   Form
	look   look
	huh    *huh.Form
	fields [][]*field // by page; the review is the last page
	page   int
	at     int // field on the page

	decision      string // at the review
	lines, doubts []string

	wrong   string // what is wrong with the answer
	remarks map[*Question]string
	typed   bool // anything at all
	sure    bool // Esc once
	done    bool
	left    bool
	width   int
	height  int
}

func newPages(f Form, l look) *pages {
	p := &pages{form: f, look: l, remarks: map[*Question]string{}, width: 80, height: 24}
	var groups []*huh.Group
	for i := range f.Pages {
		var fields []*field
		var drawn []huh.Field
		for j := range f.Pages[i].Questions {
			one, d := newField(&f.Pages[i].Questions[j], l, false)
			fields, drawn = append(fields, one), append(drawn, d)
		}
		p.fields, groups = append(p.fields, fields), append(groups, huh.NewGroup(drawn...))
	}
	if f.Review != nil {
		q := f.Review.decision(nil, &p.decision)
		one, d := newField(&q, l, true)
		p.fields, groups = append(p.fields, []*field{one}), append(groups, huh.NewGroup(d))
	}
	p.huh = huh.NewForm(groups...).WithShowHelp(false).WithShowErrors(false).WithTheme(l.theme)
	return p
}

func (p *pages) Init() tea.Cmd { return p.huh.Init() }

// Update takes one message at a time.
func (p *pages) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		p.width, p.height = msg.Width, msg.Height
		return p, p.pass(tea.WindowSizeMsg{Width: msg.Width, Height: max(3, msg.Height-p.around())})
	case tea.KeyMsg:
		return p, tea.Batch(p.key(msg), p.pass(redraw{}))
	}
	return p, p.pass(msg)
}

// redraw makes the library draw what was changed behind its back.
type redraw struct{}

// pass hands a message on to the library.
func (p *pages) pass(msg tea.Msg) tea.Cmd {
	_, cmd := p.huh.Update(msg)
	return cmd
}

func (p *pages) now() *field { return p.fields[p.page][p.at] }

func (p *pages) atReview() bool { return p.form.Review != nil && p.page == len(p.fields)-1 }

func (p *pages) key(msg tea.KeyMsg) tea.Cmd {
	sure := p.sure
	p.sure, p.wrong = false, ""
	switch msg.String() {
	case "ctrl+c":
		return p.leave()
	case "esc":
		if sure || !p.typed {
			return p.leave()
		}
		p.sure = true
		return nil
	case "enter", "ctrl+j", "tab": // ctrl+j is an Enter typed before the terminal was ours
		return p.forward()
	case "shift+tab":
		return p.back()
	}
	return p.edit(msg)
}

// edit takes a key that is for the field itself.
func (p *pages) edit(msg tea.KeyMsg) tea.Cmd {
	f := p.now()
	before := *f.typed
	defer func() { p.typed = p.typed || *f.typed != before }()
	key := msg.String()
	switch {
	case f.list && (key == "up" || key == "down"):
		return p.pass(msg)
	case key == "up":
		return p.back()
	case key == "down":
		return p.forward()
	case f.pick == nil:
		return p.pass(msg)
	case !f.list && (key == "left" || key == "right"):
		return p.pass(msg)
	case key == " " && !f.list:
		return p.pass(tea.KeyMsg{Type: tea.KeyRight})
	case msg.Type == tea.KeyRunes && !msg.Paste:
		f.pick.letter(msg.Runes)
	}
	return nil
}

func (p *pages) leave() tea.Cmd {
	p.left = true
	return tea.Quit
}

// forward keeps the answer, if it is valid, and moves on.
func (p *pages) forward() tea.Cmd {
	f := p.now()
	answer, err := f.q.Accept(*f.typed)
	if err != nil {
		p.wrong = err.Error()
		return nil
	}
	*f.q.Answer = answer
	p.remarks[f.q] = f.q.remark(answer)
	switch {
	case p.atReview():
		return p.decide(answer)
	case p.at < len(p.fields[p.page])-1:
		p.at++
		return p.huh.NextField()
	case p.page < len(p.fields)-1:
		p.page, p.at = p.page+1, 0
		cmd := p.huh.NextGroup()
		p.enter()
		return cmd
	}
	p.done = true
	return tea.Quit
}

// enter prepares the review when it comes.
func (p *pages) enter() {
	if !p.atReview() {
		return
	}
	r := p.form.Review
	p.lines, p.doubts = r.Summary()
	q := r.decision(p.doubts, &p.decision)
	f := p.now()
	f.q = &q
	f.pick.set(p.decision)
}

func (p *pages) decide(answer string) tea.Cmd {
	switch answer {
	case reviewLeave:
		return p.leave()
	case reviewDo:
		p.done = true
		return tea.Quit
	}
	var all []tea.Cmd
	for p.page > 0 || p.at > 0 {
		all = append(all, p.back())
	}
	return tea.Batch(all...)
}

// back moves to the question before, whatever stands in this one: it will be
// looked at on the way forward.
func (p *pages) back() tea.Cmd {
	switch {
	case p.at > 0:
		p.at--
		return p.huh.PrevField()
	case p.page > 0:
		p.page--
		p.at = len(p.fields[p.page]) - 1
		return p.huh.PrevGroup()
	}
	return nil
}
