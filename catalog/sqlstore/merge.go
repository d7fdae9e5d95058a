package sqlstore

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"iter"
	"time"

	"centwise/catalog"
)

// Merge joins a stream of records with what is stored: all of it or nothing.
func (s *Store) Merge(ctx context.Context, records iter.Seq2[catalog.Pooled, error]) (catalog.Merged, error) {
	return s.Receive(ctx, records, catalog.ReceiveOptions{})
}

// Receive is Merge with options.
func (s *Store) Receive(ctx context.Context, records iter.Seq2[catalog.Pooled, error], o catalog.ReceiveOptions) (catalog.Merged, error) {
	m := &merger{ReceiveOptions: o}
	err := s.writeOnce(ctx, "merging into the catalog", func(tx *transaction) error {
		m.changer = &changer{ctx: ctx, tx: tx, store: s, now: time.Now()}
		return m.merge(records)
	})
	if err != nil {
		return catalog.Merged{}, err
	}
	return m.report, nil
}

// merger is one Merge under way. Gear is put in place before the sessions that
// name it: revisions first, then, when a session follows, heads and labels.
type merger struct {
	*changer
	catalog.ReceiveOptions
	report   catalog.Merged
	unheaded bool // revisions came whose heads are not set yet
	heads    [3]map[catalog.ID]head
	refused  map[catalog.ID]bool // gear that was not admitted
	sessions sessionMerger
	block    []catalog.Shared[catalog.Session] // sessions that wait to be merged
}

func (m *merger) merge(records iter.Seq2[catalog.Pooled, error]) error {
	if err := m.loadSum(); err != nil {
		return err
	}
	if err := m.countLinks(catalog.Digest.Minus); err != nil {
		return err
	}
	if err := m.sessions.prepare(m); err != nil {
		return err
	}
	defer m.sessions.close()
	for p, err := range records {
		if err == nil {
			err = m.record(p)
		}
		if err != nil {
			return err
		}
	}
	if err := m.mergeBlock(); err != nil {
		return err
	}
	if err := m.settle(); err != nil {
		return err
	}
	if err := m.sessions.into.finish(); err != nil {
		return err
	}
	renamed, err := m.relabel(sessionNames)
	if err != nil {
		return err
	}
	m.report.Renamed = append(m.report.Renamed, renamed...)
	if err := m.replacements(); err != nil {
		return err
	}
	if err := m.settleMergedLinks(); err != nil {
		return err
	}
	if err := m.flushLog(); err != nil {
		return err
	}
	if m.Remote != nil {
		if err := saveRemote(m.ctx, m.tx, *m.Remote); err != nil {
			return err
		}
	}
	return m.saveSum()
}

// replacements makes sure that what replaces sessions is there.
func (m *merger) replacements() error {
	var name string
	err := m.tx.QueryRowContext(m.ctx, `SELECT s.name FROM session s LEFT JOIN session r ON r.id = s.replaced_by
		WHERE s.replaced_by IS NOT NULL AND r.id IS NULL LIMIT 1`).Scan(&name)
	switch {
	case err == sql.ErrNoRows:
		return nil
	case err != nil:
		return err
	}
	return catalog.Errorf(catalog.NotFound, "ask for a bundle that holds it", "the session that is to replace %q is neither in the catalog nor in what was merged", name)
}

func (m *merger) record(p catalog.Pooled) error {
	if p.Session != nil {
		m.block = append(m.block, *p.Session)
		if len(m.block) < m.store.dialect.block {
			return nil
		}
		return m.mergeBlock()
	}
	if err := m.mergeBlock(); err != nil {
		return err
	}
	switch {
	case p.Horn != nil:
		return mergeRevision(m, horns, 0, *p.Horn)
	case p.Mouthpiece != nil:
		return mergeRevision(m, mouthpieces, 1, *p.Mouthpiece)
	case p.Player != nil:
		return mergeRevision(m, players, 2, *p.Player)
	case p.Link != nil:
		return m.mergeLink(*p.Link)
	case p.Other != nil:
		return m.other(*p.Other)
	}
	return nil
}

// mergeBlock merges the sessions that wait. Where the database is told of them
// over a network, what it has of them is asked for at once.
func (m *merger) mergeBlock() error {
	if len(m.block) == 0 {
		return nil
	}
	defer func() { m.block = m.block[:0] }()
	if err := m.settle(); err != nil {
		return err
	}
	if err := m.sessions.lookAhead(m.block); err != nil {
		return err
	}
	for i := range m.block {
		if err := m.sessions.merge(m.block[i]); err != nil {
			return err
		}
	}
	return nil
}

// mergeRevision joins one revision with the one of the same number.
func mergeRevision[T any](m *merger, g *gear[T], kind int, in catalog.Shared[T]) error {
	id, r, _ := g.base(&in.Record)
	if m.heads[kind] == nil {
		m.heads[kind] = map[catalog.ID]head{}
	}
	if _, known := m.heads[kind][*id]; !known {
		was, err := scanHead(m.tx.QueryRowContext(m.ctx, g.headOf, *id))
		if err != nil {
			return err
		}
		m.heads[kind][*id] = was
	}
	stored, err := g.shared(m.ctx, m.tx, g.selectShared+` WHERE r.id = $1 AND r.number = $2`, *id, r.Number)
	if err != nil {
		return err
	}
	joined := in
	if len(stored) > 0 {
		joined = g.join(stored[0], in)
		if same, err := equal(g.pooled(&stored[0]), g.pooled(&joined)); same || err != nil {
			return err
		}
	}
	if m.Admit != nil {
		admitted, err := admitRevision(m, g, m.heads[kind][*id].number == 0, in, stored, joined)
		if admitted == nil || err != nil {
			return err
		}
		joined = *admitted
	}
	m.unheaded = true
	d := digest(g.digest(joined.Record))
	if _, err = m.tx.ExecContext(m.ctx, g.replaceRevision, g.sharedValues(&joined, &d, m.now)...); err != nil {
		return err
	}
	from, err := m.sourceOf(g.pooled(&in), g.pooled(&joined))
	if err != nil {
		return err
	}
	return m.touched(g.noun, string(*id), from)
}

// sourceOf is where a record came from, if it is as it came.
func (m *merger) sourceOf(in, joined catalog.Pooled) (string, error) {
	if m.From == "" {
		return "", nil
	}
	same, err := equal(in, joined)
	if !same {
		return "", err
	}
	return m.From, err
}

// equal compares records as they are exchanged.
func equal(a, b catalog.Pooled) (bool, error) {
	x, err := a.Encode()
	if err != nil {
		return false, err
	}
	y, err := b.Encode()
	return string(x) == string(y), err
}

// settle sets the heads of what was merged and calls everything by a label of
// its own.
func (m *merger) settle() error {
	if m.unheaded {
		err := settleHeads(m, horns, m.heads[0])
		if err == nil {
			err = settleHeads(m, mouthpieces, m.heads[1])
		}
		if err == nil {
			err = settleHeads(m, players, m.heads[2])
		}
		if err != nil {
			return err
		}
		for _, l := range gearLabels {
			renamed, err := m.relabel(l)
			if err != nil {
				return err
			}
			m.report.Renamed = append(m.report.Renamed, renamed...)
		}
		m.sessions.refs = newRefs(m.changer)
	}
	m.unheaded, m.heads = false, [3]map[catalog.ID]head{}
	return nil
}

// settleHeads makes the last revision of each record the current one. Labels
// are left to relabel: a new record has its id for one until then.
func settleHeads[T any](m *merger, g *gear[T], heads map[catalog.ID]head) error {
	for id, was := range heads {
		var is head
		var n int
		err := m.tx.QueryRowContext(m.ctx, fmt.Sprintf(`SELECT r.number, r.label, r.digest, (SELECT COUNT(*) FROM %[1]s_revision WHERE id = $1)
			FROM %[1]s_revision r WHERE r.id = $1 ORDER BY r.number DESC LIMIT 1`, g.noun), id).Scan(&is.number, &is.stated, &is.digest, &n)
		if err == sql.ErrNoRows && was.number == 0 {
			continue // it was not admitted
		}
		if err != nil {
			return err
		}
		if n != is.number {
			return catalog.Errorf(catalog.Invalid, "ask for a new bundle", "of the %s %s there are %d revisions, but the last one has the number %d", g.noun, id, n, is.number)
		}
		label, put := was.label, g.updateHead
		m.sum = m.sum.Plus(catalog.Digest(is.digest))
		switch {
		case was.number == 0:
			label, put = string(id), g.insertHead
			m.report.Gear(g.noun).New++
		case was != is.called(was.label):
			m.report.Gear(g.noun).Changed++
			fallthrough
		default:
			m.sum = m.sum.Minus(catalog.Digest(was.digest))
		}
		if _, err := m.tx.ExecContext(m.ctx, put, id, is.number, label, catalog.Fold(label), is.stated); err != nil {
			return err
		}
	}
	return nil
}

// called is the head with a label.
func (h head) called(label string) head { h.label = label; return h }

// other keeps a record of a kind that is not known.
func (m *merger) other(o catalog.OtherRecord) error {
	if m.Admit != nil {
		record := catalog.Pooled{Other: &o}
		if _, why := m.Admit(catalog.Arrival{Record: record, Joined: record, New: true}); why != "" {
			m.holdBack(catalog.HeldBack{Kind: o.Kind, Why: why})
			return nil
		}
	}
	id := otherID(o)
	result, err := m.tx.ExecContext(m.ctx, `INSERT INTO pool_other (kind, body, arrived_at, id) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING`,
		o.Kind, o.Body, (*instant)(&m.now), id)
	if err != nil {
		return err
	}
	n, err := result.RowsAffected()
	if n == 0 || err != nil {
		return err
	}
	m.report.Kept++
	return m.touched(catalog.PooledOther, id, m.From)
}

// sharedValues lists the columns of a revision with those of the exchange.
func (g *gear[T]) sharedValues(s *catalog.Shared[T], d *digest, now time.Time) []any {
	return append(g.values(&s.Record, d), (*list)(&s.Withheld), s.Extra.String(), (*instant)(&now))
}

// shared reads revisions with what only the exchange knows of them.
func (g *gear[T]) shared(ctx context.Context, db queryer, query string, args ...any) (out []catalog.Shared[T], err error) {
	err = g.eachShared(ctx, db, func(s *catalog.Shared[T]) bool {
		out = append(out, *s)
		return true
	}, query, args...)
	return out, err
}

// eachShared visits revisions until visit says stop.
func (g *gear[T]) eachShared(ctx context.Context, db queryer, visit func(*catalog.Shared[T]) bool, query string, args ...any) error {
	rows, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var s catalog.Shared[T]
		var d digest
		var extra string
		err := rows.Scan(append(g.values(&s.Record, &d), (*list)(&s.Withheld), &extra)...)
		if err == nil {
			s.Extra, err = catalog.ParseExtra(extra)
		}
		if err != nil {
			return err
		}
		if !visit(&s) {
			return nil
		}
	}
	return cmp.Or(rows.Err(), ctx.Err())
}
