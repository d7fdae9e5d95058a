package cli

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"centwise/cmd/centwise/form"
)

// gearPage is a page of a form for gear.
type gearPage struct {
	title  string
	fields []gearAsked
}

// gearAsked is how a field is asked for. The field labelField is the label.
type gearAsked struct {
	field string
	name  string // for people, without the unit
	help  string // a sentence: what is meant, how it is measured
	usual string // what an empty answer to a choice means
}

const labelField = "label"

// gearForm fills the options of adding or editing from what somebody answers.
type gearForm[T any] struct {
	kind    *gearKind[T]
	factory *Factory
	start   T // what is known before asking
	others  []T
	label   string
	answers []*gearAnswer[T]
}

// gearAnswer is the answer for a field as it stands.
type gearAnswer[T any] struct {
	field gearField[T]
	asked gearAsked
	text  string
	first string // before anything was asked
}

// newGearForm prepares the questions. Flags that were given are in start.
func newGearForm[T any](k *gearKind[T], f *Factory, start T, label string, others []T) *gearForm[T] {
	g := &gearForm[T]{kind: k, factory: f, start: start, label: label, others: others}
	for _, page := range k.pages {
		for _, asked := range page.fields {
			if field, ok := k.field(asked.field); ok {
				first := field.answer(&start)
				g.answers = append(g.answers, &gearAnswer[T]{field, asked, first, first})
			}
		}
	}
	return g
}

func (k *gearKind[T]) field(name string) (gearField[T], bool) {
	at := slices.IndexFunc(k.fields, func(f gearField[T]) bool { return f.name == name })
	if at < 0 {
		return gearField[T]{}, false
	}
	return k.fields[at], true
}

// answer is the value as a form shows it.
func (f gearField[T]) answer(item *T) string {
	if v, ok := f.value(item).(bool); ok {
		return fmt.Sprint(v)
	}
	if v, ok := f.value(item).(int); ok && v == 0 {
		return ""
	}
	return f.text(item)
}

// flagText is what the flag of the field is given to mean an answer.
func (f gearField[T]) flagText(answer string) string {
	if _, isNumber := f.value(new(T)).(float64); isNumber && answer == "" {
		return "0"
	}
	return answer
}

// settings are the answers that change anything, as flags would give them.
func (g *gearForm[T]) settings() settings {
	var out settings
	for _, a := range g.answers {
		if a.text != a.first {
			out = append(out, setting{a.field.name, a.field.flagText(a.text)})
		}
	}
	return out
}

// draft is the record that the answers make. Answers that can't be read are not
// in it: each was checked when it was given.
func (g *gearForm[T]) draft() T {
	item := g.start
	for _, s := range g.settings() {
		f, _ := g.kind.field(s.field)
		_ = f.set(&item, s.text)
	}
	*g.kind.name(&item) = g.label
	return item
}

// form is the whole conversation.
func (g *gearForm[T]) form(title string, review *form.Review) form.Form {
	out := form.Form{Title: title, Review: review}
	for _, page := range g.kind.pages {
		p := form.Page{Title: page.title}
		for _, asked := range page.fields {
			if asked.field == labelField {
				p.Questions = append(p.Questions, g.labelQuestion(asked))
				continue
			}
			at := slices.IndexFunc(g.answers, func(a *gearAnswer[T]) bool { return a.field.name == asked.field })
			p.Questions = append(p.Questions, g.question(g.answers[at]))
		}
		out.Pages = append(out.Pages, p)
	}
	return out
}

func (g *gearForm[T]) labelQuestion(asked gearAsked) form.Question {
	try := func(text string, then func()) {
		before := g.label
		defer func() { g.label = before }()
		g.label = text
		then()
	}
	return form.Question{Name: asked.name, Help: asked.help, Answer: &g.label,
		Check: func(text string) (err error) {
			if err := g.taken(text); err != nil {
				return err
			}
			try(text, func() { err = g.firstProblem(labelField, asked.name, nil) })
			return err
		},
		Remark: func(text string) (remark string) {
			try(text, func() { remark = g.near(nil) })
			return remark
		}}
}

func (g *gearForm[T]) question(a *gearAnswer[T]) form.Question {
	q := form.Question{Name: a.asked.name, Unit: a.field.unit, Help: a.asked.help, Answer: &a.text,
		Optional: !slices.Contains(g.kind.required, a.field.name), Choices: a.choices(), Known: g.known(a)}
	try := func(text string, then func()) {
		before := a.text
		defer func() { a.text = before }()
		a.text = text
		then()
	}
	q.Check = func(text string) (err error) {
		if err := a.field.set(new(T), a.field.flagText(text)); err != nil {
			return err
		}
		without := g.problemsWithout(a)
		try(text, func() { err = g.firstProblem(a.field.name, a.asked.name, without) })
		return err
	}
	q.Remark = func(text string) (remark string) {
		before := g.near(a)
		try(text, func() { remark = g.near(nil) })
		if remark == before {
			remark = ""
		}
		return cmp.Or(remark, g.spelledOtherwise(a, text))
	}
	return q
}

// choices are what may be answered, if only some words may.
func (a *gearAnswer[T]) choices() []form.Choice {
	if a.field.kind == "bool" {
		return []form.Choice{{Value: "false", Label: "no"}, {Value: "true", Label: "yes"}}
	}
	if a.field.choices == nil {
		return nil
	}
	var out []form.Choice
	if a.asked.usual != "" && a.first == "" {
		out = append(out, form.Choice{Label: a.asked.usual})
	}
	for _, c := range a.field.choices {
		if len(out) > 0 && c == a.asked.usual {
			continue // is what leaving it out means
		}
		label := c
		if a.field.kind == "number" { // a bare number would look like that of a choice
			label += " " + a.field.heading()
		}
		out = append(out, form.Choice{Value: c, Label: label})
	}
	return out
}

// inGroups describes the record, a paragraph for each page.
func (g *gearForm[T]) inGroups() []string {
	item := g.draft()
	var out []string
	for _, page := range g.kind.pages {
		var parts []string
		for _, asked := range page.fields {
			text, unit := g.label, ""
			f, isField := g.kind.field(asked.field)
			if isField {
				text, unit = f.text(&item), f.unit
			}
			if text != "" && (!isField || f.answer(&item) != "") {
				parts = append(parts, strings.TrimSpace(strings.ToLower(asked.name)+" "+text+" "+unit))
			}
		}
		if len(parts) == 0 {
			parts = []string{"nothing known"}
		}
		out = append(out, page.title+": "+strings.Join(parts, ", "))
	}
	return out
}
