// Package formtest answers forms in tests.
package formtest

import (
	"context"
	"fmt"

	"centwise/cmd/centwise/form"
)

// Answers is an [form.Asker] that answers each question by its name; questions
// that are not in it get what Enter alone would keep. It agrees to every review
// whose check lets it.
type Answers struct {
	By map[string]string
	// Leave leaves at the review, or at the end of a form without one.
	Leave bool

	Asked   []string // the names of all questions, in order
	Remarks []string // what was said of answers
	Lines   []string // the last summary
	Doubts  []string // what spoke against it
}

// Ask implements [form.Asker]. An answer that is not accepted is an error.
func (a *Answers) Ask(ctx context.Context, f form.Form) error {
	for _, page := range f.Pages {
		for i := range page.Questions {
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := a.answer(&page.Questions[i]); err != nil {
				return err
			}
		}
	}
	if f.Review != nil {
		a.Lines, a.Doubts = f.Review.Summary()
	}
	if a.Leave {
		return form.ErrLeft
	}
	if f.Review != nil && f.Review.Check != nil {
		return f.Review.Check()
	}
	return nil
}

func (a *Answers) answer(q *form.Question) error {
	a.Asked = append(a.Asked, q.Name)
	typed, ok := a.By[q.Name]
	if !ok {
		typed = *q.Answer
	}
	answer, err := q.Accept(typed)
	if err != nil {
		return fmt.Errorf("%s %q: %w", q.Name, typed, err)
	}
	*q.Answer = answer
	if q.Remark == nil || answer == "" {
		return nil
	}
	if remark := q.Remark(answer); remark != "" {
		a.Remarks = append(a.Remarks, remark)
	}
	return nil
}
