package cli

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"centwise/catalog"
)

// taken says that a label is another record's.
func (g *gearForm[T]) taken(label string) error {
	own := *g.kind.name(&g.start)
	for _, other := range g.others {
		have := *g.kind.name(&other)
		if have == own || catalog.NormalLabel(label) != have {
			continue
		}
		retired := ""
		if g.kind.rev(&other).Retired {
			retired = ", retired"
		}
		return fmt.Errorf("there is a %s %q already%s: take another name, or leave and use 'centwise %s edit'", g.kind.noun, have, retired, g.kind.noun)
	}
	return nil
}

// known are the texts that other records have in a field.
func (g *gearForm[T]) known(a *gearAnswer[T]) []string {
	if a.field.name == "serial" || a.field.kind != "text" && a.field.kind != "list" {
		return nil
	}
	var out []string
	for _, other := range g.others {
		switch v := a.field.value(&other).(type) {
		case string:
			out = append(out, v)
		case []string:
			out = append(out, v...)
		}
	}
	slices.Sort(out)
	return slices.DeleteFunc(slices.Compact(out), func(s string) bool { return s == "" })
}

// spelledOtherwise points out that something nearly the same is there: what is
// spelled differently counts as different.
func (g *gearForm[T]) spelledOtherwise(a *gearAnswer[T], text string) string {
	known := g.known(a)
	if a.field.kind != "text" || slices.Contains(known, catalog.NormalLabel(text)) {
		return ""
	}
	for _, have := range known {
		if nearLabels(text, have) {
			return fmt.Sprintf("%q is there already; if that is the same, go back and spell it so", have)
		}
	}
	return ""
}

// near is what the record looks like as it stands, without the answer given.
func (g *gearForm[T]) near(without *gearAnswer[T]) string {
	if without != nil {
		before := without.text
		defer func() { without.text = before }()
		without.text = ""
	}
	return looksLike(g.kind.nearDuplicates(g.draft(), g.withoutItself()))
}

func looksLike(near []string) string {
	if len(near) == 0 {
		return ""
	}
	return "this looks like " + strings.Join(near, " and ") + ", which is there already"
}

func (g *gearForm[T]) withoutItself() []T {
	return slices.DeleteFunc(slices.Clone(g.others), func(other T) bool { return g.kind.id(other) == g.kind.id(g.start) })
}

// problems are the rules that the record breaks as it stands.
func (g *gearForm[T]) problems() []catalog.Problem {
	item := g.draft()
	return catalog.ProblemsOf(g.kind.changes(item).Normalized(g.factory.Now()).Validate())
}

func (g *gearForm[T]) problemsWithout(a *gearAnswer[T]) []catalog.Problem {
	before := a.text
	defer func() { a.text = before }()
	a.text = ""
	return g.problems()
}

// firstProblem is the first rule broken that is not among the known ones. For
// the label itself those are the ones of other fields.
func (g *gearForm[T]) firstProblem(field, name string, known []catalog.Problem) error {
	for _, p := range g.problems() {
		isOwn := p.Field == field || strings.HasPrefix(field, p.Field+"_")
		if field == labelField && !isOwn {
			continue
		}
		if slices.ContainsFunc(known, func(k catalog.Problem) bool { return k.Field == p.Field && k.What == p.What }) {
			continue
		}
		text := "it " + p.What
		if !isOwn {
			text = p.Field + " " + p.What
		}
		if p.Hint != "" {
			text += "; " + p.Hint
		}
		return errors.New(g.inWords(text))
	}
	return nil
}

// inWords puts the names that the form has for measures in place of their columns.
func (g *gearForm[T]) inWords(text string) string {
	for _, a := range g.answers {
		if !strings.Contains(a.field.name, "_") {
			continue // a word of its own
		}
		text = strings.ReplaceAll(text, a.field.name, strings.ToLower(a.asked.name))
	}
	return text
}

// wholeProblem is what keeps the record from being stored.
func (g *gearForm[T]) wholeProblem() error {
	for _, p := range g.problems() {
		return errors.New(g.inWords(p.String()))
	}
	return nil
}
