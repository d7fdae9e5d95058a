package sqlstore

import (
	"context"
	"fmt"
	"iter"
	"strings"

	"centwise/catalog"
)

// Pooled streams what another catalog is to get, in an order that depends on
// the records alone.
func (s *Store) Pooled(ctx context.Context, sel catalog.PoolSelection) iter.Seq2[catalog.Pooled, error] {
	return func(yield func(catalog.Pooled, error) bool) {
		err := s.read(ctx, "reading the records to export", func(tx *transaction) error {
			chosen, err := newSelection(ctx, tx, sel)
			if err != nil {
				return err
			}
			return (&pooling{ctx: ctx, tx: tx, sel: chosen, yield: yield, ends: newLinkEnds(chosen)}).all()
		})
		if err != nil {
			yield(catalog.Pooled{}, err)
		}
	}
}

// PoolSecret is what pseudonyms are made with, and of whom.
func (s *Store) PoolSecret(ctx context.Context) (secret catalog.PoolSecret, err error) {
	err = s.read(ctx, "reading the salt of pseudonyms", func(tx *transaction) error {
		if err := tx.QueryRowContext(ctx, `SELECT salt FROM pool_secret WHERE one = 1`).Scan(&secret.Salt); err != nil {
			return err
		}
		// Pseudonyms of others are none of our handles.
		secret.Handles, err = texts(ctx, tx, `SELECT DISTINCT label FROM player_revision WHERE withheld NOT LIKE '%"label"%' ORDER BY label`)
		return err
	})
	return secret, err
}

// pooling is one stream under way.
type pooling struct {
	ctx     context.Context
	tx      *transaction
	sel     selection
	yield   func(catalog.Pooled, error) bool
	ends    *linkEnds
	stopped bool
}

func (p *pooling) all() error {
	for _, step := range []func() error{
		func() error { return poolGear(p, players) },
		func() error { return poolGear(p, horns) },
		func() error { return poolGear(p, mouthpieces) },
		p.links, p.others, p.sessions,
	} {
		if err := step(); err != nil || p.stopped {
			return err
		}
	}
	return nil
}

func (p *pooling) give(r catalog.Pooled) bool {
	p.stopped = !p.yield(r, nil)
	return !p.stopped
}

// poolGear streams every revision of the records that are to go.
func poolGear[T any](p *pooling, g *gear[T]) error {
	where, args := p.sel.gear(g.noun)
	return g.eachShared(p.ctx, p.tx, func(s *catalog.Shared[T]) bool {
		r := g.pooled(s)
		p.ends.add(r)
		return p.give(r)
	}, g.selectShared+where+` ORDER BY r.id, r.number`, args...)
}

func (p *pooling) others() error {
	if p.sel.narrow {
		return nil
	}
	return p.eachOther(` WHERE arrived_at >= $1 AND kind <> $2`, p.sel.since, catalog.PooledLink)
}

// eachOther streams records of unknown kinds.
func (p *pooling) eachOther(where string, args ...any) error {
	rows, err := p.tx.QueryContext(p.ctx, `SELECT kind, body FROM pool_other`+where+` ORDER BY kind, body`, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var o catalog.OtherRecord
		if err := rows.Scan(&o.Kind, &o.Body); err != nil {
			return err
		}
		if !p.give(catalog.Pooled{Other: &o}) {
			return nil
		}
	}
	return rows.Err()
}

// sessions streams the sessions by id, a block at a time.
func (p *pooling) sessions() error {
	for last := ""; !p.stopped; {
		where, args := p.sel.sessions(last)
		next, err := p.giveSessions(where, args...)
		if err != nil || next == "" {
			return err
		}
		last = next
	}
	return nil
}

// giveSessions streams the sessions that a condition and an order choose, and
// tells the id of the last one; empty for none.
func (p *pooling) giveSessions(where string, args ...any) (last string, err error) {
	found, seqs, err := querySessions(p.ctx, p.tx, selectSession+where, args...)
	if err != nil {
		return "", err
	}
	if len(found) == 0 {
		return "", nil
	}
	stated, err := statedOf(p.ctx, p.tx, seqs)
	if err != nil {
		return "", err
	}
	readings, err := readingsOf(p.ctx, p.tx, seqs)
	if err != nil {
		return "", err
	}
	for i := range found {
		// What the session was given is exchanged, not what it is called here.
		s := stated[seqs[i]].of(found[i].Session)
		s.Record.Readings = readings[seqs[i]]
		if !p.give(catalog.Pooled{Session: &s}) {
			return "", nil
		}
		last = string(s.Record.ID)
	}
	return last, nil
}

// selection writes the conditions of a [catalog.PoolSelection].
type selection struct {
	catalog.PoolSelection
	narrow bool  // only some sessions, with their gear
	since  int64 // milliseconds
}

func newSelection(ctx context.Context, tx *transaction, s catalog.PoolSelection) (selection, error) {
	out := selection{PoolSelection: s, narrow: len(s.Horns)+len(s.Mouthpieces)+len(s.Players)+len(s.Contributors) > 0}
	if !s.Since.IsZero() {
		out.since = s.Since.UnixMilli()
	}
	// Chosen gear brings along what is linked to it.
	var err error
	if out.Horns, err = withLinked(ctx, tx, "horn", s.Horns); err == nil {
		out.Mouthpieces, err = withLinked(ctx, tx, "mouthpiece", s.Mouthpieces)
	}
	return out, err
}

// oneOf is a condition that a column holds one of the values; nothing for none.
func oneOf[T any](c *conditions, column string, values []T) {
	if len(values) == 0 {
		return
	}
	places := make([]string, len(values))
	for i := range values {
		c.args = append(c.args, values[i])
		places[i] = fmt.Sprintf("$%d", len(c.args))
	}
	c.parts = append(c.parts, column+" IN ("+strings.Join(places, ", ")+")")
}

// chosen selects the ids of the sessions, and of those that replace them, which
// the retractions of the former name.
func (s *selection) chosen(c *conditions) string {
	inner := conditions{args: c.args}
	oneOf(&inner, "s.horn", s.Horns)
	oneOf(&inner, "s.mouthpiece", s.Mouthpieces)
	oneOf(&inner, "s.player", s.Players)
	contributors := make([]string, len(s.Contributors))
	for i, name := range s.Contributors {
		contributors[i] = askable(name)
	}
	oneOf(&inner, "s.contributor", contributors)
	if s.since > 0 {
		inner.add("s.touched_at >= %s", s.since)
	}
	c.args = inner.args
	return `WITH RECURSIVE chosen (id) AS (SELECT s.id FROM session s` + inner.where() + `
		UNION SELECT r.replaced_by FROM session r JOIN chosen c ON c.id = r.id WHERE r.replaced_by IS NOT NULL) `
}

// gear is the condition for revisions r of one kind of gear.
func (s *selection) gear(noun string) (where string, args []any) {
	if !s.narrow && s.since == 0 {
		return "", nil
	}
	var c conditions
	named := fmt.Sprintf(`r.id IN (%sSELECT g.%s FROM session g JOIN chosen c ON c.id = g.id)`, s.chosen(&c), noun)
	c.parts = append(c.parts, named)
	if s.narrow {
		oneOf(&c, "r.id", map[string][]catalog.ID{"horn": s.Horns, "mouthpiece": s.Mouthpieces, "player": s.Players}[noun])
	} else {
		c.add(`r.id IN (SELECT id FROM `+noun+`_revision WHERE arrived_at >= %s)`, s.since)
	}
	where = strings.Join(c.parts, " OR ")
	if linked(noun) {
		// What is linked goes together.
		if s.since > 0 && !s.narrow {
			c.add(`r.id IN (SELECT alias FROM link WHERE kind = '`+noun+`' AND arrived_at >= %[1]s UNION SELECT kept FROM link WHERE kind = '`+noun+`' AND arrived_at >= %[1]s)`, s.since)
			where = strings.Join(c.parts, " OR ")
		}
		where = fmt.Sprintf(`r.id IN (SELECT g.id FROM %[1]s g WHERE COALESCE(g.kept, g.id) IN (SELECT COALESCE(r.kept, r.id) FROM %[1]s r WHERE %[2]s))`, noun, where)
	}
	return " WHERE " + where, c.args
}

// sessions is the condition and order for the next block of sessions s.
func (s *selection) sessions(after string) (where string, args []any) {
	var c conditions
	if s.narrow || s.since > 0 {
		c.parts = append(c.parts, `s.id IN (`+s.chosen(&c)+`SELECT id FROM chosen)`)
	}
	c.add("s.id > %s", after)
	return c.where() + fmt.Sprintf(` ORDER BY s.id LIMIT %d`, sessionsPerChunk), c.args
}
