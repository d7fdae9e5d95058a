package sqlstore

import (
	"cmp"
	"context"
	"database/sql"
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
	report      catalog.Merged
	unheaded    bool                // revisions came whose heads are not set yet
	refused     map[catalog.ID]bool // gear that was not admitted
	horns       *gearMerger[catalog.Horn]
	mouthpieces *gearMerger[catalog.Mouthpiece]
	players     *gearMerger[catalog.Player]
	sessions    sessionMerger
	kind        string                            // of the record before
	block       []catalog.Shared[catalog.Session] // sessions that wait to be merged
}

func (m *merger) merge(records iter.Seq2[catalog.Pooled, error]) error {
	if err := m.loadSum(); err != nil {
		return err
	}
	if err := m.countLinks(catalog.Digest.Minus); err != nil {
		return err
	}
	m.horns, m.mouthpieces, m.players = newGearMerger(m, horns), newGearMerger(m, mouthpieces), newGearMerger(m, players)
	defer m.horns.close()
	defer m.mouthpieces.close()
	defer m.players.close()
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
	// One kind after the other, in the order in which they come.
	if kind := p.Kind(); kind != m.kind {
		if err := m.mergeGear(); err != nil {
			return err
		}
		m.kind = kind
	}
	switch {
	case p.Horn != nil:
		return m.horns.add(*p.Horn)
	case p.Mouthpiece != nil:
		return m.mouthpieces.add(*p.Mouthpiece)
	case p.Player != nil:
		return m.players.add(*p.Player)
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
	if err := m.mergeGear(); err != nil {
		return err
	}
	if m.unheaded {
		err := m.horns.settle()
		if err == nil {
			err = m.mouthpieces.settle()
		}
		if err == nil {
			err = m.players.settle()
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
	m.unheaded = false
	clear(m.horns.was)
	clear(m.mouthpieces.was)
	clear(m.players.was)
	return nil
}

// mergeGear merges the gear that waits.
func (m *merger) mergeGear() error {
	err := m.horns.merge()
	if err == nil {
		err = m.mouthpieces.merge()
	}
	if err == nil {
		err = m.players.merge()
	}
	return err
}

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
