package sqlstore

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"

	"centwise/catalog"
)

// Lines of a draft are acknowledged to somebody who would not write them down
// again. So each is a transaction of its own, and every connection runs with
// synchronous = FULL (made sure of by connector.verify): in write-ahead mode a
// commit then returns after the journal is synced, and neither a killed process
// nor a power cut loses it. A line takes about a millisecond, unnoticed at a keyboard.

const draftColumns = "id, started_at, name, folded, horn, mouthpiece, player, contributor, played_at, a4_hz, " +
	"temperature_c, slide_mm, gap_mm, dynamic, method, remark, source, adapter, seed, rounds"

var insertDraft = fmt.Sprintf(`INSERT INTO draft (%s) VALUES (%s)`, draftColumns, placeholders(1, strings.Count(draftColumns, ",")+1))

var selectDraft = "SELECT " + goingBy(draftColumns) + `, hh.label, mh.label, COALESCE(ph.label, ''),
	(SELECT COUNT(*) FROM draft_line l WHERE l.draft = s.id),
	(SELECT l.entered_at FROM draft_line l WHERE l.draft = s.id ORDER BY l.number DESC LIMIT 1) FROM draft s` + labelsOfSession

// goingBy lists columns of s, a session or the like, with its horn and mouthpiece
// as what they go by, see labelsOfSession.
func goingBy(columns string) string {
	return strings.NewReplacer("s.horn,", "hh.id,", "s.mouthpiece,", "mh.id,").Replace("s." + strings.ReplaceAll(columns, ", ", ", s."))
}

// draftFields are pointers to what the columns hold, for scanning and as
// arguments.
func draftFields(d *catalog.Draft, folded *string) []any {
	s := &d.Session
	return []any{&d.ID, (*instant)(&d.Started), &s.Name, folded, &s.Horn, &s.Mouthpiece, (*reference)(&s.Player), &s.Contributor,
		(*instant)(&s.At), &s.A4Hz, &s.TemperatureC, &s.SlideMM, &s.GapMM, &s.Dynamic, &s.Method, &s.Remark, &s.Source,
		(*flag)(&s.Adapter), &d.Seed, (*rounds)(&d.Rounds)}
}

// OpenDraft begins a session that is entered line by line.
func (s *Store) OpenDraft(ctx context.Context, d catalog.Draft) error {
	d.Normalize(time.Now())
	if err := d.Validate(); err != nil {
		return err
	}
	return s.write(ctx, "beginning a draft", func(tx *transaction) error {
		set, err := newRefs(&changer{ctx: ctx, tx: tx, store: s}).resolve(&d.Session)
		if err != nil {
			return err
		}
		if err := d.Fits(set.horn, set.mouthpiece); err != nil {
			return err
		}
		folded := catalog.Fold(d.Session.Name)
		_, err = tx.ExecContext(ctx, insertDraft, draftFields(&d, &folded)...)
		if s.dialect.classify(err) == unique {
			return catalog.Errorf(catalog.Conflict, "leave the id of a new draft empty", "there is a draft with the id %s already", d.ID)
		}
		return err
	})
}

// AddDraftLine writes line n of a draft.
func (s *Store) AddDraftLine(ctx context.Context, id catalog.ID, n int, l catalog.DraftLine) error {
	if err := l.Validate(); err != nil {
		return err
	}
	return s.write(ctx, "writing down a line", func(tx *transaction) error {
		lines, err := linesOf(ctx, tx, id)
		if err != nil {
			return err
		}
		if lines != n-1 {
			return catalog.Errorf(catalog.Conflict, "look at what is there: centwise measure --resume "+string(id),
				"line %d of the draft can't be written: it has %d lines, so another terminal enters it too", n, lines)
		}
		now := instant(time.Now())
		_, err = tx.ExecContext(ctx, `INSERT INTO draft_line (draft, number, entered_at, entry) VALUES ($1, $2, $3, $4)`, id, n, &now, l.String())
		return err
	})
}

// linesOf counts the lines of an open draft.
func linesOf(ctx context.Context, tx *transaction, id catalog.ID) (n int, err error) {
	err = tx.QueryRowContext(ctx, `SELECT (SELECT COALESCE(MAX(number), 0) FROM draft_line WHERE draft = d.id) FROM draft d WHERE d.id = $1`, id).Scan(&n)
	if err == sql.ErrNoRows {
		return 0, catalog.Errorf(catalog.NotFound, "list the open ones with: centwise session drafts", "there is no open draft with the id %s: it was recorded, or discarded", id)
	}
	return n, err
}

// Drafts lists the open drafts in the order they were begun.
func (s *Store) Drafts(ctx context.Context) ([]catalog.DraftSummary, error) {
	out, err := queryDrafts(ctx, s.db, selectDraft+` ORDER BY s.started_at, s.id`)
	if err != nil {
		return nil, s.fail(ctx, "listing the drafts", err)
	}
	return out, nil
}

func queryDrafts(ctx context.Context, db queryer, query string, args ...any) ([]catalog.DraftSummary, error) {
	rows, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []catalog.DraftSummary
	for rows.Next() {
		var d catalog.DraftSummary
		var folded string
		err := rows.Scan(append(draftFields(&d.Draft, &folded), &d.HornLabel, &d.MouthpieceLabel, &d.PlayerLabel, &d.LineCount, (*instant)(&d.LastLine))...)
		if err != nil {
			return nil, err
		}
		out = append(out, d)
	}
	return out, rows.Err()
}

// Draft finds an open draft by id or by the name of its session.
func (s *Store) Draft(ctx context.Context, name string) (catalog.Draft, error) {
	var out catalog.Draft
	err := s.read(ctx, "looking for the draft", func(tx *transaction) error {
		found, err := queryDrafts(ctx, tx, selectDraft+` WHERE s.id = $1 OR s.folded = $2`, strings.ToUpper(catalog.NormalLabel(askable(name))), catalog.Fold(askable(name)))
		if err != nil {
			return err
		}
		d, err := chooseDraft(found, catalog.NormalLabel(name))
		if err != nil {
			return err
		}
		if d == nil {
			return missingDraft(ctx, tx, name)
		}
		out = d.Draft
		out.Lines, err = draftLines(ctx, tx, out.ID)
		return err
	})
	return out, err
}

// chooseDraft picks the draft that was meant: by its id, else the only one with
// exactly the name, else the only one with it but for case. Nil for none.
func chooseDraft(found []catalog.DraftSummary, name string) (*catalog.DraftSummary, error) {
	var exact []*catalog.DraftSummary
	for i := range found {
		d := &found[i]
		if strings.EqualFold(string(d.ID), name) {
			return d, nil
		}
		if d.Session.Name == name {
			exact = append(exact, d)
		}
	}
	switch {
	case len(exact) == 1:
		return exact[0], nil
	case len(found) == 1:
		return &found[0], nil
	case len(found) > 1:
		return nil, catalog.Errorf(catalog.Conflict, "give the id instead; list them with: centwise session drafts", "%d drafts are called %q", len(found), name)
	}
	return nil, nil
}

func missingDraft(ctx context.Context, tx *transaction, name string) error {
	have, err := texts(ctx, tx, `SELECT DISTINCT name FROM draft ORDER BY name`)
	if err != nil {
		return err
	}
	missing := catalog.Missing("draft", name, have)
	if len(catalog.Near(name, have, 1)) == 0 {
		missing.Hint = "list the open ones with: centwise session drafts"
	}
	return missing
}

func draftLines(ctx context.Context, tx *transaction, id catalog.ID) ([]catalog.DraftLine, error) {
	entries, err := texts(ctx, tx, `SELECT entry FROM draft_line WHERE draft = $1 ORDER BY number`, id)
	if err != nil {
		return nil, err
	}
	var out []catalog.DraftLine
	for _, entry := range entries {
		l, err := catalog.ParseDraftLine(entry)
		if err != nil {
			return nil, err
		}
		out = append(out, l)
	}
	return out, nil
}

// DiscardDraft throws a draft away.
func (s *Store) DiscardDraft(ctx context.Context, id catalog.ID) error {
	return s.write(ctx, "discarding the draft", func(tx *transaction) error {
		if _, err := linesOf(ctx, tx, id); err != nil {
			return err
		}
		return deleteDraft(ctx, tx, id)
	})
}

func deleteDraft(ctx context.Context, tx *transaction, id catalog.ID) error {
	for _, q := range []string{`DELETE FROM draft_line WHERE draft = $1`, `DELETE FROM draft WHERE id = $1`} {
		if _, err := tx.ExecContext(ctx, q, id); err != nil {
			return err
		}
	}
	return nil
}

// finish closes drafts whose sessions are recorded.
func (w *changer) finish(list []catalog.DraftEnd) error {
	for _, d := range list {
		lines, err := linesOf(w.ctx, w.tx, d.ID)
		if err != nil {
			return err
		}
		if lines != d.Lines {
			return catalog.Errorf(catalog.Conflict, "look at what is there: centwise measure --resume "+string(d.ID),
				"the draft has %d lines by now, not %d: another terminal enters it too", lines, d.Lines)
		}
		if err := deleteDraft(w.ctx, w.tx, d.ID); err != nil {
			return err
		}
	}
	return nil
}
