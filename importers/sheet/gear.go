package sheet

import (
	"errors"
	"fmt"
	"strings"

	"centwise/catalog"
)

// gearRow reads a row of a gear list.
func (p *planner) gearRow(t *table, r row) {
	at := t.layout.gear["kind"]
	switch cell := strings.ToLower(strings.TrimSpace(r.cells[at])); cell {
	case kindHorn:
		listItem(p, p.horns, t, r)
	case kindMouthpiece:
		listItem(p, p.mouthpieces, t, r)
	case kindPlayer:
		listItem(p, p.players, t, r)
	case "":
		p.found.add(t.problem(t.src.lineOf(at), "kind", "", "is empty", "write horn, mouthpiece or player"))
	default:
		p.found.add(t.problem(t.src.lineOf(at), "kind", cell, "is no kind of gear", "write horn, mouthpiece or player"))
	}
}

// listItem puts what a row says of an item onto its shelf.
func listItem[T any](p *planner, s *shelf[T], t *table, r row) {
	at := t.layout.gear["label"]
	label := catalog.NormalLabel(catalog.ReadCell(r.cells[at]))
	if label == "" {
		p.found.add(t.problem(t.src.lineOf(at), "label", "", "is empty", "name the "+s.noun))
		return
	}
	old, twin := s.byLabel[label], s.folded[catalog.Fold(label)]
	switch {
	case old != nil && s.label(old) != label:
		p.listAlias(t, r, s.noun, label, s.label(old))
		return
	case old != nil && old.from != nil:
		p.found.add(t.problem(t.src.lineOf(at), "label", label, fmt.Sprintf("is a %s listed twice, first in %s", s.noun, old.from.place(old.line)), "remove one of the rows"))
		return
	case old == nil && twin != nil:
		p.found.add(t.problem(t.src.lineOf(at), "label", label, fmt.Sprintf("differs from the %s %q only by case", s.noun, s.label(twin)), "write it the same, or choose a label that cannot be mistaken"))
		return
	}
	if p.o.KnownAsIs && s.noun == kindMouthpiece {
		p.report.Listed = append(p.report.Listed, label)
	}
	if old != nil && p.o.KnownAsIs {
		p.report.GearUnchanged++
		old.from, old.line = t, r.line
		return
	}
	it := &item[T]{state: listed, from: t, line: r.line}
	if old != nil {
		it.rec = old.rec
	}
	if !readItem(p, s, t, r, &it.rec) {
		// Sessions that name it should not be told that it is not there.
		_, _, l := s.base(&it.rec)
		it.state, *l = broken, label
		s.put(it)
		return
	}
	if old != nil {
		changeItem(p, s, old, it)
		return
	}
	id, rev, _ := s.base(&it.rec)
	*id = catalog.NewID()
	rev.Contributor = p.o.Contributor
	s.put(it)
	s.added = append(s.added, it)
}

// listAlias takes a row about a record that is linked to another, which the row
// can't change.
func (p *planner) listAlias(t *table, r row, noun, label, kept string) {
	if !p.o.KnownAsIs {
		p.found.add(t.problem(t.src.lineOf(t.layout.gear["label"]), "label", label, fmt.Sprintf("is linked to the %s %q, which stands for it", noun, kept),
			fmt.Sprintf("remove the row, or take the link apart: centwise pool unlink %s %s", noun, catalog.ShellWord(label))))
		return
	}
	p.report.GearUnchanged++
	if noun == kindMouthpiece {
		p.report.Listed = append(p.report.Listed, kept)
	}
}

// changeItem makes what a row says the next revision of an item that is in the
// catalog, if it says anything new.
func changeItem[T any](p *planner, s *shelf[T], old, it *item[T]) {
	before := old.rec
	s.norm(&before)
	if s.digest(&before) == s.digest(&it.rec) && len(differences(s, &before, &it.rec)) == 0 {
		p.report.GearUnchanged++
		old.from, old.line = it.from, it.line
		return
	}
	if !p.o.Update {
		p.found.add(it.from.problem(it.line, "label", s.label(it), fmt.Sprintf("is a %s in the catalog already, and the row says otherwise of its %s", s.noun, strings.Join(differences(s, &before, &it.rec), ", ")),
			"correct the row, or change the catalog with --update"))
		return
	}
	_, rev, _ := s.base(&it.rec)
	*rev = catalog.Revision{Number: rev.Number + 1, Contributor: p.o.Contributor, Retired: rev.Retired}
	s.put(it)
	s.added = append(s.added, it)
}

// readItem reads the cells of a row into a record, over what it says already.
func readItem[T any](p *planner, s *shelf[T], t *table, r row, rec *T) bool {
	before := p.found.count
	own := map[string]bool{"kind": true}
	for _, f := range s.fields {
		own[f.column] = true
		at, ok := t.layout.gear[f.column]
		if !ok {
			continue
		}
		if err := f.set(rec, r.cells[at], t.style); err != nil {
			what, hint := err.Error(), ""
			var domain *catalog.Error
			if errors.As(err, &domain) {
				what, hint = "cannot be read: "+domain.What, domain.Hint
			}
			if _, isNumber := notNumbers[err]; isNumber {
				hint = numberHint(err)
			}
			p.found.add(t.problem(t.src.lineOf(at), f.column, strings.TrimSpace(r.cells[at]), what, hint))
		}
	}
	for _, column := range gearColumns {
		if at, ok := t.layout.gear[column]; ok && !own[column] && filled(r.cells[at]) {
			p.found.add(t.problem(t.src.lineOf(at), column, strings.TrimSpace(r.cells[at]), "does not apply to a "+s.noun, "empty the cell"))
		}
	}
	if p.found.count > before {
		return false
	}
	s.norm(rec)
	for _, q := range catalog.ProblemsOf(s.valid(rec)) {
		p.found.add(t.gearProblem(r, q))
	}
	return p.found.count == before
}

var notNumbers = map[error]struct{}{errNotNumber: {}, errThousands: {}, errNotFinite: {}}

// gearProblem gives a rule that a record breaks the place of its column.
func (t *table) gearProblem(r row, q catalog.Problem) Problem {
	column := q.Field
	if column == "backbore" {
		column = "backbore_character"
	}
	at, ok := t.layout.gear[column]
	if !ok {
		return t.problem(r.line, column, "", q.What, q.Hint)
	}
	return t.problem(t.src.lineOf(at), column, strings.TrimSpace(r.cells[at]), q.What, q.Hint)
}

// differences names the columns in which two records differ.
func differences[T any](s *shelf[T], a, b *T) []string {
	var out []string
	for _, f := range s.fields {
		if f.get(a) != f.get(b) {
			out = append(out, f.column)
		}
	}
	return out
}
