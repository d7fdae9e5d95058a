package sqlstore

import (
	"fmt"
	"maps"
	"slices"

	"centwise/catalog"
)

// gearPerBlock is how many revisions are looked up and inserted at once where the
// database is told of them over a network. They may be large.
const gearPerBlock = 64

// gearMerger joins revisions of one kind of gear with those that are stored.
type gearMerger[T any] struct {
	*gear[T]
	m       *merger
	waiting []catalog.Shared[T]
	was     map[catalog.ID]head // heads as they were, of what came
	stored  map[revisionKey]catalog.Shared[T]
	fresh   bulk // of revisions
}

type revisionKey struct {
	id     catalog.ID
	number int
}

func newGearMerger[T any](m *merger, g *gear[T]) *gearMerger[T] {
	return &gearMerger[T]{gear: g, m: m, was: map[catalog.ID]head{}}
}

func (x *gearMerger[T]) block() int { return min(x.m.store.dialect.block, gearPerBlock) }

// add takes a revision.
func (x *gearMerger[T]) add(in catalog.Shared[T]) error {
	x.waiting = append(x.waiting, in)
	if len(x.waiting) < x.block() {
		return nil
	}
	return x.merge()
}

// merge joins the revisions that wait with those of the same number.
func (x *gearMerger[T]) merge() error {
	if len(x.waiting) == 0 {
		return nil
	}
	defer func() { x.waiting = x.waiting[:0] }()
	if err := x.look(); err != nil {
		return err
	}
	if x.fresh == nil {
		var err error
		if x.fresh, err = x.m.store.dialect.bulk(x.m.ctx, x.m.tx, x.noun+"_revision", x.revisionList, true); err != nil {
			return err
		}
	}
	for i := range x.waiting {
		if err := x.mergeOne(x.waiting[i]); err != nil {
			return err
		}
	}
	return x.fresh.flush()
}

func (x *gearMerger[T]) close() {
	if x.fresh != nil {
		x.fresh.close()
	}
}

// look finds what there is of the revisions that wait.
func (x *gearMerger[T]) look() error {
	ids := map[catalog.ID]bool{}
	for i := range x.waiting {
		id, _, _ := x.base(&x.waiting[i].Record)
		ids[*id] = true
	}
	list := slices.Collect(maps.Keys(ids))
	heads, err := x.headsNow(x.m.changer, list)
	if err != nil {
		return err
	}
	for _, id := range list {
		if _, known := x.was[id]; !known {
			x.was[id] = heads[id]
		}
	}
	var c conditions
	oneOf(&c, "r.id", list)
	x.stored = map[revisionKey]catalog.Shared[T]{}
	return x.eachShared(x.m.ctx, x.m.tx, func(s *catalog.Shared[T]) bool {
		id, r, _ := x.base(&s.Record)
		x.stored[revisionKey{*id, r.Number}] = *s
		return true
	}, x.selectShared+c.where(), c.args...)
}

func (x *gearMerger[T]) mergeOne(in catalog.Shared[T]) error {
	id, r, _ := x.base(&in.Record)
	key := revisionKey{*id, r.Number}
	joined := in
	stored, there := x.stored[key]
	var before []catalog.Shared[T]
	if there {
		before = append(before, stored)
		joined = x.join(stored, in)
		if same, err := equal(x.pooled(&stored), x.pooled(&joined)); same || err != nil {
			return err
		}
	}
	if x.m.Admit != nil {
		admitted, err := admitRevision(x.m, x.gear, x.was[*id].number == 0, in, before, joined)
		if admitted == nil || err != nil {
			return err
		}
		joined = *admitted
	}
	x.m.unheaded = true
	if err := x.put(joined, there); err != nil {
		return err
	}
	x.stored[key] = joined
	from, err := x.m.sourceOf(x.pooled(&in), x.pooled(&joined))
	if err != nil {
		return err
	}
	return x.m.touched(x.noun, string(*id), from)
}

// put writes a revision, over one that is there.
func (x *gearMerger[T]) put(s catalog.Shared[T], there bool) error {
	d := digest(x.digest(s.Record))
	values := x.sharedValues(&s, &d, x.m.now)
	if !there {
		return x.fresh.add(values...)
	}
	if err := x.fresh.flush(); err != nil { // it may have come just before
		return err
	}
	_, err := x.m.tx.ExecContext(x.m.ctx, x.replaceRevision, values...)
	return err
}

// settle makes the last revision of each record the current one. Labels are left
// to relabel: a new record has its id for one until then.
func (x *gearMerger[T]) settle() error {
	fresh, err := x.m.store.dialect.bulk(x.m.ctx, x.m.tx, x.noun, headColumns, true)
	if err != nil {
		return err
	}
	defer fresh.close()
	for some := range slices.Chunk(slices.Collect(maps.Keys(x.was)), x.m.store.dialect.block) {
		last, err := x.lastRevisions(some)
		if err != nil {
			return err
		}
		for id, is := range last {
			if err := x.moveHead(id, x.was[id], is, fresh); err != nil {
				return err
			}
		}
	}
	return fresh.flush()
}

// lastRevisions finds the last revisions of records. What was not admitted has
// none.
func (x *gearMerger[T]) lastRevisions(ids []catalog.ID) (map[catalog.ID]head, error) {
	var c conditions
	oneOf(&c, "r.id", ids)
	rows, err := x.m.tx.QueryContext(x.m.ctx, fmt.Sprintf(`SELECT r.id, r.number, r.label, r.digest, (SELECT COUNT(*) FROM %[1]s_revision n WHERE n.id = r.id)
		FROM %[1]s_revision r%[2]s AND r.number = (SELECT MAX(l.number) FROM %[1]s_revision l WHERE l.id = r.id)`, x.noun, c.where()), c.args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := map[catalog.ID]head{}
	for rows.Next() {
		var id catalog.ID
		var is head
		var n int
		if err := rows.Scan(&id, &is.number, &is.stated, &is.digest, &n); err != nil {
			return nil, err
		}
		if n != is.number {
			return nil, catalog.Errorf(catalog.Invalid, "ask for a new bundle", "of the %s %s there are %d revisions, but the last one has the number %d", x.noun, id, n, is.number)
		}
		out[id] = is
	}
	return out, rows.Err()
}

func (x *gearMerger[T]) moveHead(id catalog.ID, was, is head, fresh bulk) error {
	x.m.sum = x.m.sum.Plus(catalog.Digest(is.digest))
	if was.number == 0 {
		x.m.report.Gear(x.noun).New++
		is.label = string(id)
		return fresh.add(headValues(id, is)...)
	}
	if was != is.called(was.label) {
		x.m.report.Gear(x.noun).Changed++
	}
	x.m.sum = x.m.sum.Minus(catalog.Digest(was.digest))
	_, err := x.m.tx.ExecContext(x.m.ctx, x.updateHead, headValues(id, is.called(was.label))...)
	return err
}

// called is the head with a label.
func (h head) called(label string) head { h.label = label; return h }
