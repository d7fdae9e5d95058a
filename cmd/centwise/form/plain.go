package form

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"

	"centwise/cmd/centwise/show"
)

// Plain asks line by line, for screen readers, terminals that cannot move their
// cursor, and people who like it: nothing is drawn over, choices have numbers,
// and what is wrong is said below the answer, which is then asked for again.
type Plain struct {
	in    *Lines
	out   io.Writer
	width int // columns
}

// NewPlain asks on out and reads answers from in.
func NewPlain(in *Lines, out io.Writer, width int) *Plain {
	return &Plain{in, out, width}
}

// What may be typed instead of an answer.
const (
	plainBack  = "<"
	plainEmpty = "-"
)

const plainKeys = "Enter alone keeps what is in brackets or leaves a question out, - empties an answer, < goes back one question, Ctrl-C leaves and changes nothing."

// Ask implements [Asker].
func (p *Plain) Ask(ctx context.Context, f Form) error {
	pages, questions := f.flat()
	p.say(f.Title + ".")
	p.say(plainKeys)
	for at := 0; ; at = 0 {
		for at < len(questions) {
			if title := pages[at]; title != "" {
				p.say("\n" + title)
			}
			back, err := p.ask(ctx, questions[at])
			switch {
			case err != nil:
				return err
			case back:
				at = max(0, at-1)
			default:
				at++
			}
		}
		if f.Review == nil {
			return nil
		}
		if again, err := p.review(ctx, f.Review); !again {
			return err
		}
	}
}

// flat gives the questions in order, and at the first of each page its title.
func (f Form) flat() (pages []string, questions []*Question) {
	for i := range f.Pages {
		page := &f.Pages[i]
		for j := range page.Questions {
			title := ""
			if j == 0 && page.Title != "" {
				title = fmt.Sprintf("Part %d of %d: %s.", i+1, len(f.Pages), page.Title)
			}
			pages, questions = append(pages, title), append(questions, &page.Questions[j])
		}
	}
	return pages, questions
}

// ask asks one question until its answer is valid.
func (p *Plain) ask(ctx context.Context, q *Question) (back bool, err error) {
	p.say(q.Name + ". " + q.Help)
	for i, c := range q.Choices {
		p.say(fmt.Sprintf("%d. %s", i+1, c.label()))
	}
	if len(q.Known) > 0 {
		p.say("There already: " + strings.Join(first(q.Known, 8), ", ") + ".")
	}
	for {
		typed, err := p.Line(ctx, p.prompt(q))
		if err != nil {
			return false, err
		}
		typed = strings.TrimSpace(typed)
		if typed == plainBack {
			return true, nil
		}
		answer, err := q.Accept(q.meant(typed))
		if err != nil {
			p.say("Not accepted: " + err.Error() + ".")
			continue
		}
		*q.Answer = answer
		if remark := q.remark(answer); remark != "" {
			p.say("Note: " + remark + ".")
		}
		return false, nil
	}
}

// meant turns what was typed into what it stands for. A number is always the
// number of a choice, if there are choices.
func (q *Question) meant(typed string) string {
	switch {
	case typed == "":
		return *q.Answer
	case typed == plainEmpty && q.Optional:
		return ""
	}
	if n, err := strconv.Atoi(typed); err == nil && n >= 1 && n <= len(q.Choices) {
		return q.Choices[n-1].Value
	}
	return typed
}

func (p *Plain) prompt(q *Question) string {
	prompt := q.name()
	now := *q.Answer
	if c, ok := q.choice(now); ok {
		now = c.label()
	}
	if now != "" {
		prompt += " [" + now + "]"
	}
	return prompt + ": "
}

// review shows the review and asks for the decision; again means to go through
// the questions once more.
func (p *Plain) review(ctx context.Context, r *Review) (again bool, err error) {
	lines, doubts := r.Summary()
	p.say("")
	for _, text := range lines {
		p.say(text)
	}
	for _, text := range doubts {
		p.say("Careful: " + text + ".")
	}
	answer := ""
	q := r.decision(doubts, &answer)
	back, err := p.ask(ctx, &q)
	switch {
	case err != nil:
		return false, err
	case back || answer == reviewChange:
		return true, nil
	case answer == reviewLeave:
		return false, ErrLeft
	}
	return false, nil
}

// Line asks for one line of any kind: see [Lines.Next].
func (p *Plain) Line(ctx context.Context, prompt string) (string, error) {
	if _, err := io.WriteString(p.out, show.Clean(prompt)); err != nil {
		return "", fmt.Errorf("asking: %w", err)
	}
	text, err := p.in.Next(ctx)
	if err != nil {
		fmt.Fprintln(p.out) // leaves the prompt's line
	}
	return text, err
}

// say says something as a paragraph, after as many empty lines as it begins with.
func (p *Plain) say(text string) {
	rest := strings.TrimLeft(text, "\n")
	gap := text[:len(text)-len(rest)]
	fmt.Fprintln(p.out, gap+show.Wrap(show.Clean(rest), max(show.MinWidth, p.width), "", ""))
}

func first(list []string, n int) []string {
	if len(list) > n {
		return append(append([]string{}, list[:n]...), "...")
	}
	return list
}
