package sqlstore

import (
	"context"
	"database/sql"
	"fmt"
	"iter"
	"maps"
	"slices"

	"centwise/catalog"
)

// PoolID is the catalog's own id.
func (s *Store) PoolID(ctx context.Context) (id string, err error) {
	err = s.db.QueryRowContext(ctx, `SELECT id FROM pool_self WHERE one = 1`).Scan(&id)
	return id, s.fail(ctx, "reading the catalog's id", err)
}

// End is the position behind all that the catalog holds.
func (s *Store) End(ctx context.Context) (catalog.Position, error) {
	var number int64
	var tag string
	err := s.db.QueryRowContext(ctx, `SELECT number, tag FROM pool_commit ORDER BY number DESC LIMIT 1`).Scan(&number, &tag)
	if err != nil {
		return catalog.Position{}, s.fail(ctx, "reading the last change", err)
	}
	return catalog.EndOf(number, tag), nil
}

// HasPosition reports whether a position is one of this catalog.
func (s *Store) HasPosition(ctx context.Context, p catalog.Position) (known bool, err error) {
	if p.Zero() {
		return true, nil
	}
	err = s.db.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM pool_commit WHERE number = $1 AND tag = $2)`, p.Number, p.Tag).Scan(&known)
	return known, s.fail(ctx, "looking for a change", err)
}

// ChangedRecords lists records in the order of changes.
func (s *Store) ChangedRecords(ctx context.Context, after catalog.Position, limit int) (out []catalog.ChangedRecord, err error) {
	err = s.read(ctx, "listing what changed", func(tx *transaction) error {
		rows, err := tx.QueryContext(ctx, `SELECT c.rank, c.id, c.number, c.source, k.tag, COALESCE(s.reading_count, 0),
			COALESCE(s.contributor, h.contributor, m.contributor, p.contributor, l.contributor, '')
			FROM pool_change c JOIN pool_commit k ON k.number = c.number
			LEFT JOIN session s ON c.rank = $5 AND s.id = c.id
			LEFT JOIN horn_revision h ON c.rank = $6 AND h.id = c.id AND h.number = 1
			LEFT JOIN mouthpiece_revision m ON c.rank = $7 AND m.id = c.id AND m.number = 1
			LEFT JOIN player_revision p ON c.rank = $8 AND p.id = c.id AND p.number = 1
			LEFT JOIN link l ON c.rank = $9 AND l.id = c.id
			WHERE (c.number, c.rank, c.id) > ($1, $2, $3) ORDER BY c.number, c.rank, c.id LIMIT $4`,
			after.Number, after.Rank, after.ID, limit, catalog.KindRank(catalog.PooledSession), catalog.KindRank(catalog.PooledHorn),
			catalog.KindRank(catalog.PooledMouthpiece), catalog.KindRank(catalog.PooledPlayer), catalog.KindRank(catalog.PooledLink))
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var r catalog.ChangedRecord
			at := &r.Behind
			if err := rows.Scan(&at.Rank, &at.ID, &at.Number, &r.Source, &at.Tag, &r.Readings, &r.Contributor); err != nil {
				return err
			}
			r.RecordRef = catalog.RecordRef{Kind: catalog.KindOfRank(at.Rank), ID: at.ID}
			out = append(out, r)
		}
		return rows.Err()
	})
	return out, err
}

// PooledRecords streams records with what they need.
func (s *Store) PooledRecords(ctx context.Context, refs []catalog.RecordRef) iter.Seq2[catalog.Pooled, error] {
	return func(yield func(catalog.Pooled, error) bool) {
		err := s.read(ctx, "reading the records to send", func(tx *transaction) error {
			r := &picking{pooling: pooling{ctx: ctx, tx: tx, yield: yield}, ids: map[string]map[string]bool{}}
			return r.all(refs)
		})
		if err != nil {
			yield(catalog.Pooled{}, err)
		}
	}
}

// picking streams chosen records, with the gear that sessions name and the
// sessions that replace them.
type picking struct {
	pooling
	ids map[string]map[string]bool // by kind
}

func (p *picking) add(kind, id string) {
	if p.ids[kind] == nil {
		p.ids[kind] = map[string]bool{}
	}
	if id != "" {
		p.ids[kind][id] = true
	}
}

func (p *picking) all(refs []catalog.RecordRef) error {
	for _, ref := range refs {
		p.add(ref.Kind, ref.ID)
	}
	if err := p.complete(); err != nil {
		return err
	}
	for _, step := range []func() error{
		func() error { return pickGear(p, players) },
		func() error { return pickGear(p, horns) },
		func() error { return pickGear(p, mouthpieces) },
		p.pickLinks, p.pickOthers, p.pickSessions,
	} {
		if err := step(); err != nil || p.stopped {
			return err
		}
	}
	return nil
}

// complete adds what the sessions need.
func (p *picking) complete() error {
	st, err := p.tx.PrepareContext(p.ctx, `SELECT horn, mouthpiece, player, replaced_by FROM session WHERE id = $1`)
	if err != nil {
		return err
	}
	defer st.Close()
	for waiting := slices.Sorted(maps.Keys(p.ids[catalog.PooledSession])); len(waiting) > 0; {
		id := waiting[0]
		waiting = waiting[1:]
		var horn, mouthpiece, player, replacement reference
		err := st.QueryRowContext(p.ctx, id).Scan(&horn, &mouthpiece, &player, &replacement)
		if err == sql.ErrNoRows {
			delete(p.ids[catalog.PooledSession], id)
			continue
		}
		if err != nil {
			return err
		}
		p.add(catalog.PooledHorn, string(horn))
		p.add(catalog.PooledMouthpiece, string(mouthpiece))
		p.add(catalog.PooledPlayer, string(player))
		if replacement != "" && !p.ids[catalog.PooledSession][string(replacement)] {
			p.add(catalog.PooledSession, string(replacement))
			waiting = append(waiting, string(replacement))
		}
	}
	return nil
}

func pickGear[T any](p *picking, g *gear[T]) error {
	for _, id := range slices.Sorted(maps.Keys(p.ids[g.noun])) {
		err := g.eachShared(p.ctx, p.tx, func(s *catalog.Shared[T]) bool { return p.give(g.pooled(s)) },
			g.selectShared+` WHERE r.id = $1 ORDER BY r.number`, id)
		if err != nil || p.stopped {
			return err
		}
	}
	return nil
}

func (p *picking) pickLinks() error {
	ids := slices.Collect(maps.Keys(p.ids[catalog.PooledLink]))
	if len(ids) == 0 {
		return nil
	}
	var c conditions
	oneOf(&c, "l.id", ids)
	found, err := queryLinks(p.ctx, p.tx, selectLinks+c.where()+` ORDER BY l.kind, l.alias`, c.args...)
	for i := range found {
		if !p.give(catalog.Pooled{Link: &found[i].Shared}) {
			return nil
		}
	}
	return err
}

func (p *picking) pickOthers() error {
	ids := slices.Collect(maps.Keys(p.ids[catalog.PooledOther]))
	if len(ids) == 0 {
		return nil
	}
	var c conditions
	oneOf(&c, "id", ids)
	return p.eachOther(c.where(), c.args...)
}

func (p *picking) pickSessions() error {
	for block := range slices.Chunk(slices.Sorted(maps.Keys(p.ids[catalog.PooledSession])), sessionsPerChunk) {
		var c conditions
		oneOf(&c, "s.id", block)
		if _, err := p.giveSessions(c.where()+` ORDER BY s.id`, c.args...); err != nil || p.stopped {
			return err
		}
	}
	return nil
}

const remoteColumns = "url, catalog, terms, sent, received, seen, sent_at, received_at"

// Remote is what is remembered under a URL.
func (s *Store) Remote(ctx context.Context, url string) (r catalog.Remote, err error) {
	var sent, received, seen string
	err = s.db.QueryRowContext(ctx, `SELECT `+remoteColumns+` FROM pool_remote WHERE url = $1`, url).
		Scan(&r.URL, &r.Catalog, &r.Terms, &sent, &received, &seen, (*instant)(&r.SentAt), (*instant)(&r.ReceivedAt))
	if err == sql.ErrNoRows {
		return r, catalog.Errorf(catalog.NotFound, "push or pull", "nothing was exchanged with %s yet", url)
	}
	for _, p := range []struct {
		text string
		to   *catalog.Position
	}{{sent, &r.Sent}, {received, &r.Received}, {seen, &r.Seen}} {
		if err == nil {
			*p.to, err = catalog.ParsePosition(p.text)
		}
	}
	return r, s.fail(ctx, "reading what was exchanged", err)
}

// SaveRemote remembers what was exchanged.
func (s *Store) SaveRemote(ctx context.Context, r catalog.Remote) error {
	return s.write(ctx, "remembering what was exchanged", func(tx *transaction) error { return saveRemote(ctx, tx, r) })
}

func saveRemote(ctx context.Context, tx *transaction, r catalog.Remote) error {
	_, err := tx.ExecContext(ctx, fmt.Sprintf(`INSERT INTO pool_remote (%s) VALUES (%s) ON CONFLICT (url) DO UPDATE SET
		catalog = excluded.catalog, terms = excluded.terms, sent = excluded.sent, received = excluded.received, seen = excluded.seen,
		sent_at = excluded.sent_at, received_at = excluded.received_at`, remoteColumns, placeholders(1, 8)),
		r.URL, r.Catalog, r.Terms, r.Sent.String(), r.Received.String(), r.Seen.String(), (*instant)(&r.SentAt), (*instant)(&r.ReceivedAt))
	return err
}

// ForgetRemote forgets what is remembered under a URL.
func (s *Store) ForgetRemote(ctx context.Context, url string) error {
	return s.write(ctx, "forgetting what was exchanged", func(tx *transaction) error {
		_, err := tx.ExecContext(ctx, `DELETE FROM pool_remote WHERE url = $1`, url)
		if err == nil {
			_, err = tx.ExecContext(ctx, `UPDATE pool_change SET source = '' WHERE source = $1`, url)
		}
		return err
	})
}
