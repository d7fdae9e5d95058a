package sqlstore

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"centwise/catalog"
)

// selectSession gives the horn and the mouthpiece that those of the session go by.
const selectSession = `SELECT s.seq, s.id, s.name, hh.id, mh.id, s.player, s.contributor, s.played_at, s.recorded_at, s.a4_hz,
	s.temperature_c, s.slide_mm, s.gap_mm, s.dynamic, s.method, s.remark, s.source, s.adapter, s.reading_count,
	s.retracted_at, COALESCE(s.retracted_by, ''), COALESCE(s.retraction_reason, ''), s.replaced_by,
	hh.label, mh.label, COALESCE(ph.label, '') FROM session s` + labelsOfSession

// querySessions reads sessions without their readings, and their numbers.
func querySessions(ctx context.Context, db queryer, query string, args ...any) (out []catalog.SessionSummary, seqs []int64, err error) {
	rows, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var s catalog.SessionSummary
		var r catalog.Retraction
		var seq int64
		err := rows.Scan(&seq, &s.ID, &s.Name, &s.Horn, &s.Mouthpiece, (*reference)(&s.Player), &s.Contributor,
			(*instant)(&s.At), (*instant)(&s.Recorded), &s.A4Hz, &s.TemperatureC, &s.SlideMM, &s.GapMM, &s.Dynamic, &s.Method,
			&s.Remark, &s.Source, (*flag)(&s.Adapter), &s.ReadingCount,
			(*instant)(&r.At), &r.Contributor, &r.Reason, (*reference)(&r.ReplacedBy),
			&s.HornLabel, &s.MouthpieceLabel, &s.PlayerLabel)
		if err != nil {
			return nil, nil, err
		}
		if !r.At.IsZero() {
			s.Retraction = &r
		}
		out, seqs = append(out, s), append(seqs, seq)
	}
	return out, seqs, rows.Err()
}

// conditions gathers the parts of a WHERE clause with their arguments.
type conditions struct {
	parts []string
	args  []any
}

// add takes a condition with one %s for the placeholder of its argument.
func (c *conditions) add(condition string, arg any) {
	c.args = append(c.args, arg)
	c.parts = append(c.parts, fmt.Sprintf(condition, fmt.Sprintf("$%d", len(c.args))))
}

func (c *conditions) where() string {
	if len(c.parts) == 0 {
		return ""
	}
	return " WHERE " + strings.Join(c.parts, " AND ")
}

// Sessions lists sessions in order of recording, without readings.
func (s *Store) Sessions(ctx context.Context, f catalog.SessionFilter) ([]catalog.SessionSummary, error) {
	var c conditions
	if !f.Retracted {
		c.parts = append(c.parts, "s.retracted_at IS NULL")
	}
	if f.Horn != "" {
		c.add("s.horn IN (SELECT id FROM horn WHERE id = %[1]s OR kept = %[1]s)", f.Horn)
	}
	if f.Mouthpiece != "" {
		c.add("s.mouthpiece IN (SELECT id FROM mouthpiece WHERE id = %[1]s OR kept = %[1]s)", f.Mouthpiece)
	}
	if f.Player != "" {
		c.add("s.player = %s", f.Player)
	}
	if f.Contributor != "" {
		c.add("s.contributor = %s", catalog.NormalLabel(askable(f.Contributor)))
	}
	if f.Method != "" {
		c.add("s.method = %s", f.Method)
	}
	if !f.Since.IsZero() {
		c.add("COALESCE(s.played_at, s.recorded_at) >= %s", (*instant)(&f.Since))
	}
	query := selectSession + c.where() + ` ORDER BY s.seq`
	if f.Limit > 0 {
		c.args = append(c.args, f.Limit)
		query += fmt.Sprintf(` LIMIT $%d`, len(c.args))
	}
	out, _, err := querySessions(ctx, s.db, query, c.args...)
	if err != nil {
		return nil, s.fail(ctx, "listing the sessions", err)
	}
	return out, nil
}

// Session finds a session by name or id, with its readings.
func (s *Store) Session(ctx context.Context, name string) (catalog.Session, error) {
	var out catalog.Session
	err := s.read(ctx, "looking for the session", func(tx *transaction) error {
		found, seqs, err := querySessions(ctx, tx, selectSession+` WHERE s.folded = $1 OR s.id = $2 ORDER BY s.seq`,
			catalog.Fold(askable(name)), strings.ToUpper(catalog.NormalLabel(askable(name))))
		if err != nil {
			return err
		}
		i, err := choose(found, catalog.NormalLabel(name))
		if err != nil {
			return err
		}
		if i < 0 {
			have, err := texts(ctx, tx, `SELECT DISTINCT name FROM session WHERE retracted_at IS NULL ORDER BY name`)
			if err != nil {
				return err
			}
			return catalog.Missing("session", name, have)
		}
		out = found[i].Session
		out.Readings, err = readings(ctx, tx, seqs[i])
		return err
	})
	return out, err
}

// choose picks the session that was meant among those whose name or id fits,
// which are in order of recording: the exact name before one that differs by
// case, a session that counts before retracted ones, the latest of those. It
// gives -1 when there is none.
func choose(found []catalog.SessionSummary, name string) (int, error) {
	best, rank, ties := -1, -1, 0
	for i, s := range found {
		r := 0
		if s.Name == name || strings.EqualFold(string(s.ID), name) {
			r += 2
		}
		if s.Retraction == nil {
			r++
		}
		if r == rank && r == 1 && s.Name != found[best].Name {
			ties++
		}
		if r >= rank {
			best, rank = i, r
		}
	}
	if rank == 1 && ties > 0 {
		return -1, catalog.Errorf(catalog.NotFound, "write capitals and small letters as they are", "several sessions are called %q but for case", name)
	}
	return best, nil
}

// readings reads the readings of one session.
func readings(ctx context.Context, db queryer, seq int64) ([]catalog.Reading, error) {
	all, err := readingsOf(ctx, db, []int64{seq})
	return all[seq], err
}

// readingsOf reads the readings of several sessions at once.
func readingsOf(ctx context.Context, db queryer, seqs []int64) (map[int64][]catalog.Reading, error) {
	var c conditions
	oneOf(&c, "session", seqs)
	rows, err := db.QueryContext(ctx, `SELECT session, valves, partial, repeat, cents, odd FROM reading`+c.where(), c.args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := make(map[int64][]catalog.Reading, len(seqs))
	for rows.Next() {
		var seq int64
		var r catalog.Reading
		if err := rows.Scan(&seq, &r.Slot.Valves, &r.Slot.Partial, &r.Repeat, &r.Cents, (*flag)(&r.Odd)); err != nil {
			return nil, err
		}
		out[seq] = append(out[seq], r)
	}
	for _, list := range out {
		slices.SortFunc(list, catalog.CompareReadings)
	}
	return out, rows.Err()
}

// statedSession is what only the exchange and the checks need of a session. Of
// the record there is what was stated: its name, and the gear that it named.
type statedSession struct {
	content digest
	shared  catalog.Shared[catalog.Session]
}

// of completes a session as it is exchanged.
func (s statedSession) of(record catalog.Session) catalog.Shared[catalog.Session] {
	stated := &s.shared.Record
	record.Name, record.Horn, record.Mouthpiece = stated.Name, stated.Horn, stated.Mouthpiece
	return catalog.Shared[catalog.Session]{Record: record, Withheld: s.shared.Withheld, Extra: s.shared.Extra}
}

// statedOf reads that of several sessions at once.
func statedOf(ctx context.Context, db queryer, seqs []int64) (map[int64]statedSession, error) {
	var c conditions
	oneOf(&c, "seq", seqs)
	rows, err := db.QueryContext(ctx, `SELECT seq, stated, horn, mouthpiece, content, withheld, extra FROM session`+c.where(), c.args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := make(map[int64]statedSession, len(seqs))
	for rows.Next() {
		var seq int64
		var s statedSession
		r := &s.shared.Record
		extra := ""
		err := rows.Scan(&seq, &r.Name, &r.Horn, &r.Mouthpiece, &s.content, (*list)(&s.shared.Withheld), &extra)
		if err == nil {
			s.shared.Extra, err = catalog.ParseExtra(extra)
		}
		if err != nil {
			return nil, err
		}
		out[seq] = s
	}
	return out, rows.Err()
}
