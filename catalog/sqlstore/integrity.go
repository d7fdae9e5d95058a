package sqlstore

import (
	"context"
	"fmt"

	"centwise/catalog"
)

// Integrity reports damage of the database, orphan rows and records that are
// not what was written: it computes every digest again and compares. Damage is
// a finding, not an error.
func (s *Store) Integrity(ctx context.Context) ([]catalog.Finding, error) {
	i := &inspection{ctx: ctx, store: s}
	for _, step := range []func() error{i.database, i.records, i.fit} {
		err := step()
		switch {
		case err == nil:
		case ctx.Err() != nil:
			return nil, s.fail(ctx, "checking the catalog", err)
		case s.dialect.classify(err) == damaged || s.dialect.classify(err) == inputOutput:
			i.found("damage", "", "it cannot be read through: "+err.Error(), 1, i.rescue())
		default:
			return nil, s.fail(ctx, "checking the catalog", err)
		}
	}
	return i.findings, nil
}

type inspection struct {
	ctx      context.Context
	store    *Store
	findings []catalog.Finding
}

func (i *inspection) found(kind, subject, detail string, certainty float64, repair string) {
	f := catalog.Finding{Kind: kind, Subject: subject, Detail: detail, Certainty: certainty, Repair: repair}
	if f.Kind == "changed-session" {
		f.Session, f.Subject = f.Subject, ""
	}
	for _, have := range i.findings {
		if have == f {
			return
		}
	}
	i.findings = append(i.findings, f)
}

// rescue is what to do about a damaged file: a backup reads every row and
// builds the indices anew, so it either repairs or shows that rows are lost.
func (i *inspection) rescue() string {
	return "centwise catalog backup " + catalog.ShellPath(i.store.dialect.rescue(i.store.path))
}

func (i *inspection) database() error {
	lines, err := i.store.dialect.damage(i.ctx, i.store.db)
	for _, line := range lines {
		i.found("damage", "", line, 1, i.rescue())
	}
	return err
}

// records computes the digest of every record and of the catalog again.
func (i *inspection) records() error {
	return i.store.read(i.ctx, "checking the records", func(tx *transaction) error {
		var sum catalog.Digest
		for _, gear := range []func(*inspection, *transaction, *catalog.Digest) error{horns.inspect, mouthpieces.inspect, players.inspect} {
			if err := gear(i, tx, &sum); err != nil {
				return err
			}
		}
		if err := i.inspectLinks(tx, &sum); err != nil {
			return err
		}
		if err := i.sessions(tx, &sum); err != nil {
			return err
		}
		missing, err := texts(i.ctx, tx, unlogged)
		if err != nil {
			return err
		}
		for _, record := range missing {
			i.found("unlogged", record, "it is missing in the order of changes, so that others who keep up with this catalog don't learn of it: it was added by other means than centwise", 1, i.rescue())
		}
		var stored digest
		if err := tx.QueryRowContext(i.ctx, `SELECT digest FROM catalog WHERE one = 1`).Scan(&stored); err != nil {
			return err
		}
		if catalog.Digest(stored) != sum {
			i.found("digest", "", fmt.Sprintf("the digest of the catalog is %s but its records make %s: it was changed by other means than centwise", catalog.Digest(stored), sum), 1, i.rescue())
		}
		return nil
	})
}

// inspect checks every revision of a kind of gear, and adds the current ones up.
func (g *gear[T]) inspect(i *inspection, tx *transaction, sum *catalog.Digest) error {
	orphans, err := texts(i.ctx, tx, fmt.Sprintf(`SELECT r.label FROM %[1]s_revision r LEFT JOIN %[1]s g ON g.id = r.id WHERE g.id IS NULL OR r.number > g.number`, g.noun))
	if err != nil {
		return err
	}
	for _, label := range orphans {
		i.found("orphan", label, "a revision of this "+g.noun+" belongs to no record", 1, i.rescue())
	}
	current, err := g.currentNumbers(i.ctx, tx)
	if err != nil {
		return err
	}
	rows, err := tx.QueryContext(i.ctx, g.selectAll)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var record T
		var stored digest
		if err := rows.Scan(g.values(&record, &stored)...); err != nil {
			return err
		}
		id, r, label := g.base(&record)
		computed := g.digest(record)
		if catalog.Digest(stored) != computed {
			i.found("changed-"+g.noun, *label, fmt.Sprintf("revision %d is not what was written: it was changed by other means than centwise", r.Number), 1,
				fmt.Sprintf("centwise %s show %s", g.noun, catalog.ShellWord(*label)))
		}
		if current[*id] == r.Number {
			*sum = sum.Plus(computed)
		}
	}
	return rows.Err()
}

func (g *gear[T]) currentNumbers(ctx context.Context, tx *transaction) (map[catalog.ID]int, error) {
	rows, err := tx.QueryContext(ctx, `SELECT id, number FROM `+g.noun)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := map[catalog.ID]int{}
	for rows.Next() {
		var id catalog.ID
		var n int
		if err := rows.Scan(&id, &n); err != nil {
			return nil, err
		}
		out[id] = n
	}
	return out, rows.Err()
}

// sessions checks every session against its digest, a block at a time.
func (i *inspection) sessions(tx *transaction, sum *catalog.Digest) error {
	for last := int64(0); ; {
		found, seqs, err := querySessions(i.ctx, tx, selectSession+` WHERE s.seq > $1 ORDER BY s.seq LIMIT $2`, last, sessionsPerChunk)
		if err != nil || len(seqs) == 0 {
			return err
		}
		stated, err := statedOf(i.ctx, tx, seqs)
		if err != nil {
			return err
		}
		readings, err := readingsOf(i.ctx, tx, seqs)
		if err != nil {
			return err
		}
		for k := range found {
			found[k].Readings = readings[seqs[k]]
			i.session(found[k], stated[seqs[k]], sum)
		}
		last = seqs[len(seqs)-1]
	}
}

func (i *inspection) session(s catalog.SessionSummary, stated statedSession, sum *catalog.Digest) {
	shown := s.Name
	s.Name = stated.shared.Record.Name // the digest is of the name that the session was given
	content := s.Content()
	if catalog.Digest(stated.content) != content || len(s.Readings) != s.ReadingCount {
		i.found("changed-session", shown, fmt.Sprintf("the session is not what was recorded (%d of %d readings are there): it was changed by other means than centwise", len(s.Readings), s.ReadingCount),
			1, "centwise session retract "+catalog.ShellWord(shown))
	}
	if s.Retraction == nil {
		*sum = sum.Plus(catalog.SessionDigest(content, s.HornLabel, s.MouthpieceLabel, s.PlayerLabel))
	}
}

// fit checks the sections of the stored fit.
func (i *inspection) fit() error {
	err := i.store.LoadFit(i.ctx, func(catalog.StoredFit, string, []byte) error { return nil })
	if catalog.KindOf(err) != catalog.NotFound {
		return err
	}
	var fits int
	if err := i.store.db.QueryRowContext(i.ctx, `SELECT COUNT(*) FROM fit`).Scan(&fits); err != nil || fits == 0 {
		return err
	}
	i.found("fit", "", "the stored fit is damaged", 1, "centwise fit")
	return nil
}
