package sqlstore

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"centwise/catalog"
)

// Merge joins a stream of records with what is stored: all of it or nothing.
func (s *Store) Merge(ctx context.Context, records iter.Seq2[catalog.Pooled, error]) (catalog.Merged, error) {
	m := &merger{}
	err := s.write(ctx, "merging into the catalog", func(tx *sql.Tx) error {
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
	report   catalog.Merged
	unheaded bool // revisions came whose heads are not set yet
	touched  [3]map[catalog.ID]head
	sessions sessionMerger
}

func (m *merger) merge(records iter.Seq2[catalog.Pooled, error]) error {
	if err := m.loadSum(); err != nil {
		return err
	}
	if err := m.sessions.prepare(m.changer); err != nil {
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
	if err := m.settle(); err != nil {
		return err
	}
	if err := m.sessions.into.flush(); err != nil {
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

func (m *merger) record(p catalog.Pooled) (err error) {
	switch {
	case p.Horn != nil:
		err = mergeRevision(m, horns, 0, *p.Horn)
	case p.Mouthpiece != nil:
		err = mergeRevision(m, mouthpieces, 1, *p.Mouthpiece)
	case p.Player != nil:
		err = mergeRevision(m, players, 2, *p.Player)
	case p.Session != nil:
		if err = m.settle(); err == nil {
			err = m.sessions.merge(*p.Session, &m.report)
		}
	case p.Other != nil:
		err = m.other(*p.Other)
	}
	return err
}

// mergeRevision joins one revision with the one of the same number.
func mergeRevision[T any](m *merger, g *gear[T], kind int, in catalog.Shared[T]) error {
	id, r, _ := g.base(&in.Record)
	if m.touched[kind] == nil {
		m.touched[kind] = map[catalog.ID]head{}
	}
	if _, known := m.touched[kind][*id]; !known {
		was, err := scanHead(m.tx.QueryRowContext(m.ctx, g.headOf, *id))
		if err != nil {
			return err
		}
		m.touched[kind][*id] = was
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
	m.unheaded = true
	d := digest(g.digest(joined.Record))
	_, err = m.tx.ExecContext(m.ctx, g.replaceRevision, g.sharedValues(&joined, &d, m.now)...)
	return err
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
		err := settleHeads(m, horns, m.touched[0])
		if err == nil {
			err = settleHeads(m, mouthpieces, m.touched[1])
		}
		if err == nil {
			err = settleHeads(m, players, m.touched[2])
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
	m.unheaded, m.touched = false, [3]map[catalog.ID]head{}
	return nil
}

// settleHeads makes the last revision of each record the current one. Labels
// are left to relabel: a new record has its id for one until then.
func settleHeads[T any](m *merger, g *gear[T], touched map[catalog.ID]head) error {
	for id, was := range touched {
		var is head
		var n int
		err := m.tx.QueryRowContext(m.ctx, fmt.Sprintf(`SELECT r.number, r.label, r.digest, (SELECT COUNT(*) FROM %[1]s_revision WHERE id = $1)
			FROM %[1]s_revision r WHERE r.id = $1 ORDER BY r.number DESC LIMIT 1`, g.noun), id).Scan(&is.number, &is.stated, &is.digest, &n)
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
	result, err := m.tx.ExecContext(m.ctx, `INSERT INTO pool_other (kind, body, arrived_at) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING`,
		o.Kind, o.Body, (*instant)(&m.now))
	if err != nil {
		return err
	}
	n, err := result.RowsAffected()
	m.report.Kept += int(n)
	return err
}

// sessionMerger joins sessions with those that are stored.
type sessionMerger struct {
	w      *changer
	refs   *refs
	insert *sql.Stmt
	update *sql.Stmt
	known  *sql.Stmt // is there a session with an id
	named  *sql.Stmt // is there another session that counts with a name
	into   *readingWriter
	last   int64
}

var updateSession = func() string {
	columns := strings.Split(sessionColumns, ", ")
	place := map[string]string{}
	for i, c := range columns {
		place[c] = fmt.Sprintf("$%d", i+1)
	}
	return `UPDATE session SET ` + assignments(columns[1:], func(c string) string { return place[c] }) + ` WHERE seq = $1`
}()

func (x *sessionMerger) prepare(w *changer) (err error) {
	x.w, x.refs = w, newRefs(w)
	if err = w.tx.QueryRowContext(w.ctx, `SELECT COALESCE(MAX(seq), 0) FROM session`).Scan(&x.last); err != nil {
		return err
	}
	st, err := prepareAll(w.ctx, w.tx, insertSession, updateSession, `SELECT EXISTS (SELECT 1 FROM session WHERE id = $1)`,
		`SELECT EXISTS (SELECT 1 FROM session WHERE name = $1 AND retracted_at IS NULL AND id <> $2)`)
	if err != nil {
		return err
	}
	x.insert, x.update, x.known, x.named = st[0], st[1], st[2], st[3]
	x.into, err = newReadingWriter(w.ctx, w.tx)
	return err
}

func (x *sessionMerger) close() {
	statements{x.insert, x.update, x.known, x.named}.close()
	x.into.close()
}

func (x *sessionMerger) merge(in catalog.Shared[catalog.Session], report *catalog.Merged) error {
	set, err := x.refs.resolve(&in.Record)
	if err != nil {
		return err
	}
	stored, err := x.stored(in.Record.ID)
	if err != nil {
		return err
	}
	if stored == nil {
		report.Sessions.New++
		report.Readings += len(in.Record.Readings)
		x.last++
		name, err := x.freeName(&in.Record, "")
		if err == nil {
			err = x.w.insertSession(x.insert, x.last, name, &in, set)
		}
		if err != nil {
			return err
		}
		return x.addReadings(x.last, in.Record.Readings)
	}
	return x.join(stored, in, set, report)
}

// storedSession is a session as it is in the catalog.
type storedSession struct {
	seq     int64
	name    string // what it is called here
	content digest
	shared  catalog.Shared[catalog.Session]
	count   int
}

// stored finds a session without its readings; nil if there is none.
func (x *sessionMerger) stored(id catalog.ID) (*storedSession, error) {
	var known bool
	if err := x.known.QueryRowContext(x.w.ctx, id).Scan(&known); err != nil || !known {
		return nil, err
	}
	found, seqs, err := querySessions(x.w.ctx, x.w.tx, selectSession+` WHERE s.id = $1`, id)
	if err != nil || len(found) == 0 {
		return nil, err
	}
	out := &storedSession{seq: seqs[0], name: found[0].Name, count: found[0].ReadingCount}
	out.shared.Record = found[0].Session
	extra := ""
	err = x.w.tx.QueryRowContext(x.w.ctx, `SELECT stated, content, withheld, extra FROM session WHERE seq = $1`, out.seq).
		Scan(&out.shared.Record.Name, &out.content, (*list)(&out.shared.Withheld), &extra)
	if err == nil {
		out.shared.Extra, err = catalog.ParseExtra(extra)
	}
	return out, err
}

// join joins a session with the stored one.
func (x *sessionMerger) join(stored *storedSession, in catalog.Shared[catalog.Session], set setup, report *catalog.Merged) error {
	if digest(in.Record.Content()) == stored.content {
		stored.shared.Record.Readings = in.Record.Readings
	} else {
		// The readings may still be waiting to be written.
		err := x.into.flush()
		if err == nil {
			stored.shared.Record.Readings, err = readings(x.w.ctx, x.w.tx, stored.seq, stored.count)
		}
		if err != nil {
			return err
		}
	}
	was := stored.shared.Record
	joined := catalog.JoinSessions(stored.shared, in)
	if same, err := equal(catalog.Pooled{Session: &stored.shared}, catalog.Pooled{Session: &joined}); same || err != nil {
		report.Sessions.Same++
		return err
	}
	if was.Retraction == nil && joined.Record.Retraction != nil {
		report.Retracted++
	} else {
		report.Sessions.Changed++
	}
	if was.Retraction == nil {
		if err := x.w.countSessions(map[int64]bool{stored.seq: true}, catalog.Digest.Minus); err != nil {
			return err
		}
	}
	name := stored.name
	if joined.Record.Name != was.Name || joined.Record.Retraction != nil {
		var err error
		if name, err = x.freeName(&joined.Record, was.ID); err != nil {
			return err
		}
	}
	if in.Record.Horn != joined.Record.Horn || in.Record.Mouthpiece != joined.Record.Mouthpiece || in.Record.Player != joined.Record.Player {
		var err error
		if set, err = x.refs.resolve(&joined.Record); err != nil {
			return err
		}
	}
	if _, err := x.update.ExecContext(x.w.ctx, x.w.sessionValues(stored.seq, name, &joined, set)...); err != nil {
		return err
	}
	if slices.Equal(was.Readings, joined.Record.Readings) {
		return nil
	}
	if _, err := x.w.tx.ExecContext(x.w.ctx, `DELETE FROM reading WHERE session = $1`, stored.seq); err != nil {
		return err
	}
	return x.addReadings(stored.seq, joined.Record.Readings)
}

func (x *sessionMerger) addReadings(seq int64, list []catalog.Reading) error {
	for _, r := range list {
		if err := x.into.add(seq, r); err != nil {
			return err
		}
	}
	return nil
}

// freeName is the name under which a session is kept until names are settled:
// its own, or its id if another session that counts has that.
func (x *sessionMerger) freeName(s *catalog.Session, self catalog.ID) (string, error) {
	if s.Retraction != nil {
		return s.Name, nil
	}
	var taken bool
	err := x.named.QueryRowContext(x.w.ctx, s.Name, self).Scan(&taken)
	if taken {
		return string(s.ID), err
	}
	return s.Name, err
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
