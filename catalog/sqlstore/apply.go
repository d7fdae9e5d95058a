package sqlstore

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"centwise/catalog"
)

// Apply validates and writes all of the changes or none of them.
func (s *Store) Apply(ctx context.Context, c catalog.Changes) error {
	c = c.Normalized(time.Now())
	if err := c.Validate(); err != nil {
		return err
	}
	return s.write(ctx, "writing to the catalog", func(tx *transaction) error {
		w := &changer{ctx: ctx, tx: tx, store: s, now: time.Now()}
		return w.apply(c)
	})
}

// changer is one Apply under way: its transaction and the catalog's digest as
// it comes to be.
type changer struct {
	ctx   context.Context
	tx    *transaction
	store *Store
	now   time.Time
	sum   catalog.Digest
	log   changeLog
}

// apply writes in an order in which labels and names that are given up are free
// before they are taken again.
func (w *changer) apply(c catalog.Changes) error {
	if err := w.loadSum(); err != nil {
		return err
	}
	if err := w.retract(c.Retractions); err != nil {
		return err
	}
	if err := w.writeGearAndLinks(c); err != nil {
		return err
	}
	if err := w.insertSessions(c.Sessions); err != nil {
		return err
	}
	if err := w.relabelIfNeeded(sessionNames); err != nil {
		return err
	}
	if err := w.checkReplacements(c); err != nil {
		return err
	}
	if err := w.takeBack(c.Returns); err != nil {
		return err
	}
	if err := w.lend(c.Loans); err != nil {
		return err
	}
	if err := w.finish(c.Finished); err != nil {
		return err
	}
	if err := w.closeVisits(c.Visits); err != nil {
		return err
	}
	if err := w.flushLog(); err != nil {
		return err
	}
	return w.saveSum()
}

func (w *changer) loadSum() error {
	return w.tx.QueryRowContext(w.ctx, `SELECT digest FROM catalog WHERE one = 1`).Scan((*digest)(&w.sum))
}

func (w *changer) saveSum() error {
	_, err := w.tx.ExecContext(w.ctx, `UPDATE catalog SET digest = $1 WHERE one = 1`, (*digest)(&w.sum))
	return err
}

// writeGearAndLinks writes both, and settles what links are in effect then.
func (w *changer) writeGearAndLinks(c catalog.Changes) error {
	if len(c.Horns)+len(c.Mouthpieces)+len(c.Links) == 0 {
		return w.writeGear(c)
	}
	for _, step := range []func() error{
		func() error { return w.countLinks(catalog.Digest.Minus) },
		func() error { return w.writeGear(c) },
		func() error { return w.writeLinks(c.Links) },
		func() error { return w.relink(c.Links) },
		func() error { return w.countLinks(catalog.Digest.Plus) },
	} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// writeGear writes the revisions. The digest of a session names its gear by
// label, so sessions of gear that changes its label are taken out of the sum
// before and put back after.
func (w *changer) writeGear(c catalog.Changes) error {
	renamed := map[int64]bool{}
	h, err := horns.renaming(w, c.Horns, renamed)
	if err != nil {
		return err
	}
	m, err := mouthpieces.renaming(w, c.Mouthpieces, renamed)
	if err != nil {
		return err
	}
	p, err := players.renaming(w, c.Players, renamed)
	if err != nil {
		return err
	}
	for _, step := range []func() error{
		func() error { return w.countSessions(renamed, catalog.Digest.Minus) },
		func() error { return horns.free(w, h) },
		func() error { return mouthpieces.free(w, m) },
		func() error { return players.free(w, p) },
		func() error { return writeGear(w, horns, c.Horns) },
		func() error { return writeGear(w, mouthpieces, c.Mouthpieces) },
		func() error { return writeGear(w, players, c.Players) },
		func() error { return w.countSessions(renamed, catalog.Digest.Plus) },
	} {
		if err := step(); err != nil {
			return err
		}
	}
	for _, l := range gearLabels {
		if err := w.relabelIfNeeded(l); err != nil {
			return err
		}
	}
	return nil
}

// renaming finds the records that get another label, and gathers the sessions
// that name them.
func (g *gear[T]) renaming(w *changer, records []T, sessions map[int64]bool) (ids []catalog.ID, err error) {
	final := map[catalog.ID]string{}
	for i := range records {
		if id, r, label := g.base(&records[i]); r.Number > 1 {
			final[*id] = *label
		}
	}
	for id, label := range final {
		h, err := scanHead(w.tx.QueryRowContext(w.ctx, g.headOf, id))
		if err != nil {
			return nil, err
		}
		if h.number == 0 || h.label == label {
			continue
		}
		if err := w.sessionsWith(g.noun, id, sessions); err != nil {
			return nil, err
		}
		ids = append(ids, id)
	}
	return ids, nil
}

// free gives up the labels of records that get another one, so that two can
// exchange theirs.
func (g *gear[T]) free(w *changer, ids []catalog.ID) error {
	for _, id := range ids {
		if _, err := w.tx.ExecContext(w.ctx, g.freeLabel, id); err != nil {
			return err
		}
	}
	return nil
}

// sessionsWith gathers the sessions of one piece of gear that count, also those
// that it was recorded in under the name of an alias.
func (w *changer) sessionsWith(noun string, id catalog.ID, into map[int64]bool) error {
	ids := `= $1`
	if linked(noun) {
		ids = `IN (SELECT id FROM ` + noun + ` WHERE id = $1 OR kept = $1)`
	}
	rows, err := w.tx.QueryContext(w.ctx, `SELECT seq FROM session WHERE retracted_at IS NULL AND `+noun+` `+ids, id)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var seq int64
		if err := rows.Scan(&seq); err != nil {
			return err
		}
		into[seq] = true
	}
	return rows.Err()
}

// linked reports whether records of a kind may be linked.
func linked(noun string) bool { return noun != catalog.PooledPlayer }

// labelsOfSession joins a session s with what its gear goes by: hh, mh and ph.
const labelsOfSession = `
	JOIN horn hg ON hg.id = s.horn JOIN horn hh ON hh.id = COALESCE(hg.kept, hg.id)
	JOIN mouthpiece mg ON mg.id = s.mouthpiece JOIN mouthpiece mh ON mh.id = COALESCE(mg.kept, mg.id)
	LEFT JOIN player ph ON ph.id = s.player`

// countSessions adds the digests of sessions to the sum, or takes them away.
func (w *changer) countSessions(seqs map[int64]bool, count func(a, b catalog.Digest) catalog.Digest) error {
	if len(seqs) == 0 {
		return nil
	}
	st, err := w.tx.PrepareContext(w.ctx, `SELECT s.content, hh.label, mh.label, COALESCE(ph.label, '') FROM session s`+labelsOfSession+` WHERE s.seq = $1`)
	if err != nil {
		return err
	}
	defer st.Close()
	for seq := range seqs {
		var content digest
		var horn, mouthpiece, player string
		if err := st.QueryRowContext(w.ctx, seq).Scan(&content, &horn, &mouthpiece, &player); err != nil {
			return err
		}
		w.sum = count(w.sum, catalog.SessionDigest(catalog.Digest(content), horn, mouthpiece, player))
	}
	return nil
}

// statements are prepared for one transaction.
type statements []*sql.Stmt

func prepareAll(ctx context.Context, tx *transaction, queries ...string) (statements, error) {
	var out statements
	for _, q := range queries {
		st, err := tx.PrepareContext(ctx, q)
		if err != nil {
			out.close()
			return nil, fmt.Errorf("preparing a statement: %w", err)
		}
		out = append(out, st)
	}
	return out, nil
}

func (st statements) close() {
	for _, s := range st {
		s.Close()
	}
}
