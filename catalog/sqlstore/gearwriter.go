package sqlstore

import (
	"cmp"
	"database/sql"
	"fmt"
	"maps"
	"slices"

	"centwise/catalog"
)

// gearWriter writes revisions of one kind of gear: the revisions first, in order
// of their numbers, then the heads, each moved to the last one. Labels in
// between, of a history taken over whole, take nothing.
type gearWriter[T any] struct {
	*gear[T]
	w         *changer
	was, is   map[catalog.ID]head
	revisions bulk
	heads     bulk
	update    *sql.Stmt
}

var headColumns = []string{"id", "number", "label", "folded", "stated"}

func writeGear[T any](w *changer, g *gear[T], records []T) error {
	if len(records) == 0 {
		return nil
	}
	x := &gearWriter[T]{gear: g, w: w}
	defer x.close()
	order := slices.Clone(records)
	slices.SortStableFunc(order, func(a, b T) int {
		_, ra, _ := g.base(&a)
		_, rb, _ := g.base(&b)
		return ra.Number - rb.Number
	})
	var ids []catalog.ID
	seen := map[catalog.ID]bool{}
	for i := range order {
		if id, _, _ := g.base(&order[i]); !seen[*id] {
			seen[*id] = true
			ids = append(ids, *id)
		}
	}
	err := x.prepare()
	if err == nil {
		err = x.look(ids)
	}
	for i := 0; i < len(order) && err == nil; i++ {
		err = x.addRevision(order[i])
	}
	if err == nil {
		err = x.revisions.flush()
	}
	if err == nil {
		err = x.moveHeads(ids)
	}
	return err
}

func (x *gearWriter[T]) prepare() (err error) {
	if x.update, err = x.w.tx.PrepareContext(x.w.ctx, x.updateHead); err != nil {
		return err
	}
	if x.revisions, err = x.w.store.dialect.bulk(x.w.ctx, x.w.tx, x.noun+"_revision", x.revisionList, true); err != nil {
		return err
	}
	x.heads, err = x.w.store.dialect.bulk(x.w.ctx, x.w.tx, x.noun, headColumns, true)
	return err
}

func (x *gearWriter[T]) close() {
	if x.update != nil {
		x.update.Close()
	}
	for _, b := range []bulk{x.revisions, x.heads} {
		if b != nil {
			b.close()
		}
	}
}

// look finds the heads as they are.
func (x *gearWriter[T]) look(ids []catalog.ID) (err error) {
	if x.was, err = x.headsNow(x.w, ids); err == nil {
		x.is = maps.Clone(x.was)
	}
	return err
}

// headsNow finds heads, a block of ids at a time. Records that are not there have
// none.
func (g *gear[T]) headsNow(w *changer, ids []catalog.ID) (map[catalog.ID]head, error) {
	out := map[catalog.ID]head{}
	for some := range slices.Chunk(ids, w.store.dialect.block) {
		if err := g.headsOf(w, some, out); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (g *gear[T]) headsOf(w *changer, ids []catalog.ID, into map[catalog.ID]head) error {
	var c conditions
	oneOf(&c, "g.id", ids)
	rows, err := w.tx.QueryContext(w.ctx, g.heads+c.where(), c.args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var h head
		var id catalog.ID
		if err := rows.Scan(&h.number, &h.label, &h.stated, &h.digest, &id); err != nil {
			return err
		}
		into[id] = h
	}
	return rows.Err()
}

// addRevision inserts a revision after the last one. A label that is left as it
// is called here stays what was stated.
func (x *gearWriter[T]) addRevision(record T) error {
	id, r, label := x.base(&record)
	was := x.is[*id]
	if err := x.follows(was, r.Number, *label); err != nil {
		return err
	}
	is := head{number: r.Number, label: *label, stated: *label}
	if was.number > 0 && *label == was.label {
		is.stated = was.stated
	}
	*label = is.stated
	is.digest = digest(x.digest(record))
	next := catalog.Shared[T]{Record: record}
	if was.number > 0 {
		if err := x.revisions.flush(); err != nil {
			return err
		}
		before, err := x.shared(x.w.ctx, x.w.tx, x.selectShared+` WHERE r.id = $1 AND r.number = $2`, *id, was.number)
		if err != nil || len(before) == 0 {
			return cmp.Or(err, fmt.Errorf("revision %d of %s %s is missing", was.number, x.noun, *id))
		}
		next = x.next(before[0], record)
	}
	x.is[*id] = is
	if err := x.revisions.add(x.sharedValues(&next, &is.digest, x.w.now)...); err != nil {
		return err
	}
	return x.w.touched(x.noun, string(*id), "")
}

// moveHeads makes the last revisions the current ones.
func (x *gearWriter[T]) moveHeads(ids []catalog.ID) error {
	var fresh []catalog.ID
	for _, id := range ids {
		was, is := x.was[id], x.is[id]
		x.w.sum = x.w.sum.Plus(catalog.Digest(is.digest))
		if was.number == 0 {
			fresh = append(fresh, id)
			continue
		}
		x.w.sum = x.w.sum.Minus(catalog.Digest(was.digest))
		if _, err := x.update.ExecContext(x.w.ctx, headValues(id, is)...); err != nil {
			return x.conflict(err, is.label)
		}
	}
	for some := range slices.Chunk(fresh, x.w.store.dialect.block) {
		if err := x.checkLabels(some); err != nil {
			return err
		}
		for _, id := range some {
			if err := x.heads.add(headValues(id, x.is[id])...); err != nil {
				return x.conflict(err, x.is[id].label)
			}
		}
	}
	return x.heads.flush()
}

func headValues(id catalog.ID, h head) []any {
	return []any{id, h.number, h.label, catalog.Fold(h.label), h.stated}
}

// checkLabels looks for labels that are taken, where many heads go in at once
// and an error would not say which of them it is about.
func (x *gearWriter[T]) checkLabels(fresh []catalog.ID) error {
	if x.w.store.dialect.block == 1 {
		return nil
	}
	if err := x.heads.flush(); err != nil {
		return err
	}
	var c conditions
	labels := map[string]bool{}
	var list []string
	for _, id := range fresh {
		label := x.is[id].label
		if labels[label] {
			return x.takenLabel(label)
		}
		labels[label] = true
		list = append(list, label)
	}
	oneOf(&c, "label", list)
	taken, err := texts(x.w.ctx, x.w.tx, `SELECT label FROM `+x.noun+c.where()+` ORDER BY label LIMIT 1`, c.args...)
	if err == nil && len(taken) > 0 {
		err = x.takenLabel(taken[0])
	}
	return err
}

func (x *gearWriter[T]) conflict(err error, label string) error {
	if x.w.store.dialect.classify(err) == unique {
		return x.takenLabel(label)
	}
	return err
}

func (g *gear[T]) takenLabel(label string) error {
	return catalog.Errorf(catalog.Conflict, "choose another label, or edit the one that is there: centwise "+g.noun+" show "+catalog.ShellWord(label),
		"there is a %s %q already", g.noun, label)
}

// follows checks that a revision is the next one of what is stored.
func (g *gear[T]) follows(h head, number int, label string) error {
	switch {
	case h.number+1 == number:
		return nil
	case h.number == 0:
		return catalog.Errorf(catalog.NotFound, "add it first: centwise "+g.noun+" add "+catalog.ShellWord(label),
			"revision %d of a %s %q that is not in the catalog", number, g.noun, label)
	case number == 1:
		return catalog.Errorf(catalog.Conflict, "leave the id of a new record empty", "there is a %s with the id of %q already, called %q", g.noun, label, h.stated)
	}
	return catalog.Errorf(catalog.Conflict, "look at it again, then repeat the change: centwise "+g.noun+" show "+catalog.ShellWord(h.stated),
		"the %s %q was changed meanwhile: revision %d is stored, so the next is not %d", g.noun, h.stated, h.number, number)
}
