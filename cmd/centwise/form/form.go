// Package form asks people for what flags would say. A command describes its
// questions as a [Form] and hands it to an [Asker]; it never learns whether they
// were asked on pages of a terminal ([Screen]), line by line ([Plain]) or by a
// test. Answers are texts, checked by the command's own rules as they are given.
//
// The package knows nothing of horns or catalogs.
package form

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"centwise/cmd/centwise/show"
)

// Asker puts the questions of a form to somebody.
type Asker interface {
	// Ask puts every question and keeps the answers where the questions say. It
	// returns when each answer is valid and the review, if the form has one, was
	// agreed to. [ErrLeft] means that the person left, [ErrEnded] that the input
	// ended first, the context's error that it was cancelled; answers kept by
	// then are not to be used.
	Ask(ctx context.Context, f Form) error
}

// ErrLeft says that the person left the form without finishing it. It is a
// [context.Canceled] too.
var ErrLeft = fmt.Errorf("the form was left: %w", context.Canceled)

// ErrEnded says that the input ended before the form did.
var ErrEnded = errors.New("the input ended before the last question was answered")

// Form is a conversation: pages of questions, then the review.
type Form struct {
	Title  string // what this is for, as in: Add a horn
	Pages  []Page
	Review *Review // nil for a form that is done with its last answer
}

// Page is a few questions that belong together.
type Page struct {
	Title     string
	Questions []Question
}

// Question is one question. Its answer is a text without spaces around it.
type Question struct {
	Name     string   // short, as a heading; unique in its form
	Unit     string   // of the answer, if it is a measure
	Help     string   // a sentence: what is meant, how to find out
	Answer   *string  // what Enter alone keeps, and where the answer goes
	Choices  []Choice // what may be answered; nil for any text
	Optional bool     // an empty answer is one
	Known    []string // answers given elsewhere, to choose the same spelling
	// Check says what is wrong with an answer that is not empty; nil for nothing.
	Check func(answer string) error
	// Remark says something about a valid answer that need not be changed; empty
	// for nothing.
	Remark func(answer string) string
}

// Choice is one of the answers to choose from.
type Choice struct {
	Value string // the answer
	Label string // for people; the value if empty
}

func (c Choice) label() string {
	if c.Label == "" {
		return c.Value
	}
	return c.Label
}

// Review is the end of a form: it shows what will be done, and asks.
type Review struct {
	// Summary is what will be done, and what speaks against it.
	Summary func() (lines, doubts []string)
	// Check keeps the person from agreeing; nil for nothing to check.
	Check func() error
	Do    string // what agreeing is called, as in: add it
}

// What a review offers.
const (
	reviewDo     = "do"
	reviewChange = "change"
	reviewLeave  = "leave"
)

// decision is the question that a review ends with. When something speaks
// against it, Enter alone goes back.
func (r *Review) decision(doubts []string, answer *string) Question {
	*answer = reviewDo
	if len(doubts) > 0 {
		*answer = reviewChange
	}
	return Question{Name: "Now", Answer: answer,
		Choices: []Choice{{reviewDo, r.Do}, {reviewChange, "go back and change answers"}, {reviewLeave, "leave, and change nothing"}},
		Check: func(answer string) error {
			if answer != reviewDo || r.Check == nil {
				return nil
			}
			return r.Check()
		}}
}

// Accept turns what was typed into the answer, or says what is wrong with it.
// Choices may be typed by value or label in upper or lower case.
func (q *Question) Accept(typed string) (answer string, err error) {
	answer = strings.TrimSpace(typed)
	if show.Clean(answer) != answer {
		return "", errors.New("there are keys in it that are not letters, digits or signs: type it again")
	}
	if q.Choices != nil {
		c, ok := q.choice(answer)
		if !ok {
			return "", fmt.Errorf("choose one of %s", strings.Join(q.labels(), ", "))
		}
		answer = c.Value
	}
	switch {
	case answer == "" && !q.Optional:
		return "", errors.New("this is needed")
	case answer == "" || q.Check == nil:
		return answer, nil
	}
	return answer, q.Check(answer)
}

func (q *Question) choice(answer string) (Choice, bool) {
	at := slices.IndexFunc(q.Choices, func(c Choice) bool {
		return strings.EqualFold(c.Value, answer) || strings.EqualFold(c.label(), answer)
	})
	if at < 0 {
		return Choice{}, false
	}
	return q.Choices[at], true
}

func (q *Question) labels() []string {
	var out []string
	for _, c := range q.Choices {
		if c.Value != "" {
			out = append(out, c.label())
		}
	}
	return out
}

// remark is what is to be said of a valid answer.
func (q *Question) remark(answer string) string {
	if q.Remark == nil || answer == "" {
		return ""
	}
	return show.Clean(q.Remark(answer))
}

// name is the name of the question with its unit.
func (q *Question) name() string {
	if q.Unit == "" {
		return q.Name
	}
	return q.Name + " (" + q.Unit + ")"
}
