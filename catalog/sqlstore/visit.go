package sqlstore

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// Lines of a visit are acknowledged to somebody whose lips won't play them again:
// like those of a draft, each is a transaction of its own, synced to disk.

const visitColumns = "id, name, folded, started_at, horn, mouthpiece, player, contributor, planned, notes, times, tries, minutes, " +
	"stop_cents, stop_chance, blind, adapter, seed, recorded_at"

var insertVisit = fmt.Sprintf(`INSERT INTO visit (%s) VALUES (%s)`, visitColumns, placeholders(1, strings.Count(visitColumns, ",")+1))

var selectVisit = "SELECT " + goingBy(visitColumns) + `, hh.label, mh.label, COALESCE(ph.label, ''),
	(SELECT COUNT(*) FROM visit_line l WHERE l.visit = s.id) FROM visit s` + labelsOfSession

// visitFields are pointers to what the columns hold, for scanning and as
// arguments.
func visitFields(v *catalog.Visit, folded *string, notes *rounds) []any {
	return []any{&v.ID, &v.Name, folded, (*instant)(&v.Started), &v.Horn, &v.Mouthpiece, &v.Player, &v.Contributor, &v.Planned, notes,
		&v.Times, &v.Tries, &v.Minutes, &v.Cents, &v.Chance, (*flag)(&v.Blind), (*flag)(&v.Adapter), &v.Seed, (*instant)(&v.Recorded)}
}

// OpenVisit keeps a planned visit.
func (s *Store) OpenVisit(ctx context.Context, v catalog.Visit) error {
	v.Normalize(time.Now())
	if err := v.Validate(); err != nil {
		return err
	}
	return s.write(ctx, "keeping the visit", func(tx *transaction) error {
		refs := newRefs(&changer{ctx: ctx, tx: tx, store: s})
		for _, c := range append([]catalog.VisitCandidate{{Mouthpiece: v.Mouthpiece}}, v.Candidates...) {
			set, err := refs.resolve(&catalog.Session{Name: v.Name, Horn: v.Horn, Mouthpiece: c.Mouthpiece, Player: v.Player})
			if err != nil {
				return err
			}
			if err := v.Session(c, "").Fits(set.horn, set.mouthpiece); err != nil {
				return err
			}
		}
		folded, notes := catalog.Fold(v.Name), rounds([][]pitch.Slot{v.Notes})
		_, err := tx.ExecContext(ctx, insertVisit, visitFields(&v, &folded, &notes)...)
		if s.dialect.classify(err) == unique {
			return catalog.Errorf(catalog.Conflict, "choose another name, or go on with: centwise visit record "+catalog.ShellWord(v.Name),
				"there is a visit called %q already", v.Name)
		}
		for i, c := range v.Candidates {
			if err != nil {
				return err
			}
			_, err = tx.ExecContext(ctx, `INSERT INTO visit_candidate (visit, place, code, mouthpiece) VALUES ($1, $2, $3, $4)`, v.ID, i+1, c.Code, c.Mouthpiece)
		}
		return err
	})
}

// AddVisitLine writes line n of a visit.
func (s *Store) AddVisitLine(ctx context.Context, id catalog.ID, n int, l catalog.VisitLine) error {
	if err := l.Validate(); err != nil {
		return err
	}
	return s.write(ctx, "writing down a line", func(tx *transaction) error {
		name, lines, err := openVisit(ctx, tx, id)
		if err != nil {
			return err
		}
		if lines != n-1 {
			return catalog.Errorf(catalog.Conflict, "look at what is there: centwise visit result "+catalog.ShellWord(name),
				"line %d of visit %q can't be written: it has %s, so another terminal enters it too", n, name, lineCount(lines))
		}
		var codes int
		if err := tx.QueryRowContext(ctx, `SELECT COUNT(*) FROM visit_candidate WHERE visit = $1 AND code = $2`, id, l.Code).Scan(&codes); err != nil {
			return err
		}
		if codes == 0 {
			return catalog.Errorf(catalog.NotFound, "list the candidates with: centwise visit show "+catalog.ShellWord(name), "visit %q has no candidate %q", name, l.Code)
		}
		now := instant(time.Now())
		_, err = tx.ExecContext(ctx, `INSERT INTO visit_line (visit, number, entered_at, entry) VALUES ($1, $2, $3, $4)`, id, n, &now, l.String())
		return err
	})
}

func lineCount(n int) string {
	if n == 1 {
		return "1 line"
	}
	return fmt.Sprintf("%d lines", n)
}

// openVisit counts the lines of a visit that is not recorded yet.
func openVisit(ctx context.Context, tx *transaction, id catalog.ID) (name string, lines int, err error) {
	var recorded time.Time
	err = tx.QueryRowContext(ctx, `SELECT v.name, v.recorded_at, (SELECT COALESCE(MAX(number), 0) FROM visit_line WHERE visit = v.id) FROM visit v WHERE v.id = $1`, id).
		Scan(&name, (*instant)(&recorded), &lines)
	switch {
	case err == sql.ErrNoRows:
		return "", 0, catalog.Errorf(catalog.NotFound, "list them with: centwise visit list", "there is no visit with the id %s", id)
	case err == nil && !recorded.IsZero():
		return name, lines, catalog.Errorf(catalog.Conflict, "plan another one: centwise visit plan", "the readings of visit %q are recorded as sessions already", name)
	}
	return name, lines, err
}

// Visits lists the visits in the order they were planned.
func (s *Store) Visits(ctx context.Context) ([]catalog.VisitSummary, error) {
	var out []catalog.VisitSummary
	err := s.read(ctx, "listing the visits", func(tx *transaction) (err error) {
		out, err = queryVisits(ctx, tx, selectVisit+` ORDER BY s.started_at, s.id`)
		return err
	})
	return out, err
}

func queryVisits(ctx context.Context, tx *transaction, query string, args ...any) ([]catalog.VisitSummary, error) {
	rows, err := tx.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []catalog.VisitSummary
	for rows.Next() {
		var v catalog.VisitSummary
		var folded string
		var notes rounds
		err := rows.Scan(append(visitFields(&v.Visit, &folded, &notes), &v.HornLabel, &v.MouthpieceLabel, &v.PlayerLabel, &v.LineCount)...)
		if err != nil {
			return nil, err
		}
		v.Notes = notes[0]
		out = append(out, v)
	}
	if err := rows.Err(); err != nil {
		return nil, err
	}
	for i := range out {
		if out[i].Candidates, err = visitCandidates(ctx, tx, out[i].ID); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func visitCandidates(ctx context.Context, tx *transaction, id catalog.ID) ([]catalog.VisitCandidate, error) {
	rows, err := tx.QueryContext(ctx, `SELECT c.code, COALESCE(m.kept, m.id) FROM visit_candidate c JOIN mouthpiece m ON m.id = c.mouthpiece
		WHERE c.visit = $1 ORDER BY c.place`, id)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []catalog.VisitCandidate
	for rows.Next() {
		var c catalog.VisitCandidate
		if err := rows.Scan(&c.Code, &c.Mouthpiece); err != nil {
			return nil, err
		}
		out = append(out, c)
	}
	return out, rows.Err()
}

// Visit finds a visit by its name or its id, with its lines.
func (s *Store) Visit(ctx context.Context, name string) (catalog.VisitSummary, error) {
	var out catalog.VisitSummary
	err := s.read(ctx, "looking for the visit", func(tx *transaction) error {
		found, err := queryVisits(ctx, tx, selectVisit+` WHERE s.folded = $1 OR s.id = $2`, catalog.Fold(askable(name)), strings.ToUpper(catalog.NormalLabel(askable(name))))
		if err != nil {
			return err
		}
		if len(found) == 0 {
			return missingVisit(ctx, tx, name)
		}
		out = found[0]
		entries, err := texts(ctx, tx, `SELECT entry FROM visit_line WHERE visit = $1 ORDER BY number`, out.ID)
		if err != nil {
			return err
		}
		for _, entry := range entries {
			l, err := catalog.ParseVisitLine(entry)
			if err != nil {
				return err
			}
			out.Lines = append(out.Lines, l)
		}
		return nil
	})
	return out, err
}

func missingVisit(ctx context.Context, tx *transaction, name string) error {
	have, err := texts(ctx, tx, `SELECT name FROM visit ORDER BY name`)
	if err != nil {
		return err
	}
	missing := catalog.Missing("visit", name, have)
	if len(catalog.Near(name, have, 1)) == 0 {
		missing.Hint = "list them with: centwise visit list"
	}
	return missing
}

// DiscardVisit throws a visit away.
func (s *Store) DiscardVisit(ctx context.Context, id catalog.ID) error {
	return s.write(ctx, "discarding the visit", func(tx *transaction) error {
		var there int
		if err := tx.QueryRowContext(ctx, `SELECT COUNT(*) FROM visit WHERE id = $1`, id).Scan(&there); err != nil {
			return err
		}
		if there == 0 {
			return catalog.Errorf(catalog.NotFound, "list them with: centwise visit list", "there is no visit with the id %s", id)
		}
		for _, q := range []string{`DELETE FROM visit_line WHERE visit = $1`, `DELETE FROM visit_candidate WHERE visit = $1`, `DELETE FROM visit WHERE id = $1`} {
			if _, err := tx.ExecContext(ctx, q, id); err != nil {
				return err
			}
		}
		return nil
	})
}

// closeVisits marks visits whose readings are recorded as sessions.
func (w *changer) closeVisits(list []catalog.VisitEnd) error {
	for _, v := range list {
		name, lines, err := openVisit(w.ctx, w.tx, v.ID)
		if err != nil {
			return err
		}
		if lines != v.Lines {
			return catalog.Errorf(catalog.Conflict, "look at what is there: centwise visit result "+catalog.ShellWord(name),
				"visit %q has %s by now, not %d: another terminal enters it too", name, lineCount(lines), v.Lines)
		}
		now := instant(time.Now())
		if _, err := w.tx.ExecContext(w.ctx, `UPDATE visit SET recorded_at = $1 WHERE id = $2`, &now, v.ID); err != nil {
			return err
		}
	}
	return nil
}
