package sqlstore

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"

	"centwise/catalog"
)

const loanColumns = "id, horn, mouthpiece, copy, player, since, until, recorded_at, contributor, remark, returned_at, returned_to, return_remark"

var insertLoan = fmt.Sprintf(`INSERT INTO loan (seq, %s) VALUES (%s)`, loanColumns, placeholders(1, strings.Count(loanColumns, ",")+2))

var selectLoan = "SELECT " + strings.NewReplacer("l.horn,", "hh.id,", "l.mouthpiece,", "mh.id,").Replace("l."+strings.ReplaceAll(loanColumns, ", ", ", l.")) +
	`, COALESCE(hh.label, ''), COALESCE(mh.label, ''), ph.label FROM loan l
	LEFT JOIN horn hg ON hg.id = l.horn LEFT JOIN horn hh ON hh.id = COALESCE(hg.kept, hg.id)
	LEFT JOIN mouthpiece mg ON mg.id = l.mouthpiece LEFT JOIN mouthpiece mh ON mh.id = COALESCE(mg.kept, mg.id)
	JOIN player ph ON ph.id = l.player`

// Loans lists loans in the order they were recorded.
func (s *Store) Loans(ctx context.Context, f catalog.LoanFilter) ([]catalog.LoanSummary, error) {
	var where []string
	var args []any
	for _, by := range []struct {
		column string
		id     catalog.ID
	}{{"hh.id", f.Horn}, {"mh.id", f.Mouthpiece}, {"l.player", f.Player}} {
		if by.id != "" {
			args = append(args, by.id)
			where = append(where, fmt.Sprintf("%s = $%d", by.column, len(args)))
		}
	}
	if f.Out {
		where = append(where, "l.returned_at IS NULL")
	}
	query := selectLoan
	if len(where) > 0 {
		query += " WHERE " + strings.Join(where, " AND ")
	}
	out, err := queryLoans(ctx, s.db, query+" ORDER BY l.seq", args...)
	if err != nil {
		return nil, s.fail(ctx, "listing the loans", err)
	}
	return out, nil
}

func queryLoans(ctx context.Context, db queryer, query string, args ...any) ([]catalog.LoanSummary, error) {
	rows, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []catalog.LoanSummary
	for rows.Next() {
		var l catalog.LoanSummary
		var back catalog.Return
		var to, remark sql.NullString
		err := rows.Scan(&l.ID, (*reference)(&l.Horn), (*reference)(&l.Mouthpiece), &l.Copy, &l.Player, (*instant)(&l.Since), (*instant)(&l.Until),
			(*instant)(&l.Recorded), &l.Contributor, &l.Remark, (*instant)(&back.At), &to, &remark, &l.HornLabel, &l.MouthpieceLabel, &l.PlayerLabel)
		if err != nil {
			return nil, err
		}
		if !back.At.IsZero() {
			back.Contributor, back.Remark = to.String, remark.String
			l.Return = &back
		}
		out = append(out, l)
	}
	return out, rows.Err()
}

// takeBack ends loans.
func (w *changer) takeBack(list []catalog.ReturnOf) error {
	for i := range list {
		r := &list[i]
		found, err := queryLoans(w.ctx, w.tx, selectLoan+` WHERE l.id = $1`, r.Loan)
		switch {
		case err != nil:
			return err
		case len(found) == 0:
			return catalog.Errorf(catalog.NotFound, "list what is out with: centwise roster loans", "no loan with the id %s in the catalog", r.Loan)
		case found[0].Return != nil:
			return catalog.Errorf(catalog.Conflict, "list what is out with: centwise roster loans", "%s came back from %s already, on %s",
				thing(found[0]), found[0].PlayerLabel, day(found[0].Return.At))
		case catalog.DayBefore(r.At, found[0].Since):
			return catalog.Errorf(catalog.Invalid, "check the dates", "%s was handed out on %s, after the day it is to have come back, %s", thing(found[0]), day(found[0].Since), day(r.At))
		}
		_, err = w.tx.ExecContext(w.ctx, `UPDATE loan SET returned_at = $1, returned_to = $2, return_remark = $3 WHERE id = $4`, (*instant)(&r.At), r.Contributor, r.Remark, r.Loan)
		if err != nil {
			return err
		}
	}
	return nil
}

// lend records loans.
func (w *changer) lend(list []catalog.Loan) error {
	if len(list) == 0 {
		return nil
	}
	var last int64
	if err := w.tx.QueryRowContext(w.ctx, `SELECT COALESCE(MAX(seq), 0) FROM loan`).Scan(&last); err != nil {
		return err
	}
	for i := range list {
		if err := w.lendOne(last+1+int64(i), &list[i]); err != nil {
			return err
		}
	}
	return nil
}

func (w *changer) lendOne(seq int64, l *catalog.Loan) error {
	if err := w.refersTo(l); err != nil {
		return err
	}
	var back catalog.Return
	var to, remark *string
	if l.Return != nil {
		back = *l.Return
		to, remark = &back.Contributor, &back.Remark
	} else if err := w.free(l); err != nil {
		return err
	}
	_, err := w.tx.ExecContext(w.ctx, insertLoan, seq, l.ID, (*reference)(&l.Horn), (*reference)(&l.Mouthpiece), l.Copy, l.Player, (*instant)(&l.Since), (*instant)(&l.Until),
		(*instant)(&l.Recorded), l.Contributor, l.Remark, (*instant)(&back.At), to, remark)
	if w.store.dialect.classify(err) == unique {
		return catalog.Errorf(catalog.Conflict, "leave the id of a new loan empty", "there is a loan with the id %s already", l.ID)
	}
	return err
}

// refersTo makes sure that what a loan names is in the catalog.
func (w *changer) refersTo(l *catalog.Loan) error {
	for _, ref := range []struct {
		noun string
		id   catalog.ID
	}{{"horn", l.Horn}, {"mouthpiece", l.Mouthpiece}, {"player", l.Player}} {
		if ref.id == "" {
			continue
		}
		var n int
		if err := w.tx.QueryRowContext(w.ctx, `SELECT COUNT(*) FROM `+ref.noun+` WHERE id = $1`, ref.id).Scan(&n); err != nil {
			return err
		}
		if n == 0 {
			return catalog.Errorf(catalog.NotFound, "add the "+ref.noun+" first", "a loan names a %s with the id %s, which is not in the catalog", ref.noun, ref.id)
		}
	}
	return nil
}

// free makes sure that nobody has what is to be lent.
func (w *changer) free(l *catalog.Loan) error {
	found, err := queryLoans(w.ctx, w.tx, selectLoan+` WHERE l.returned_at IS NULL AND l.copy = $1
		AND (hh.id = (SELECT COALESCE(kept, id) FROM horn WHERE id = $2) OR mh.id = (SELECT COALESCE(kept, id) FROM mouthpiece WHERE id = $3))`,
		l.Copy, (*reference)(&l.Horn), (*reference)(&l.Mouthpiece))
	if err != nil || len(found) == 0 {
		return err
	}
	has := found[0]
	return catalog.Errorf(catalog.Conflict, "take it back first: centwise roster return "+catalog.ShellWord(has.HornLabel+has.MouthpieceLabel),
		"%s has %s since %s", has.PlayerLabel, thing(has), day(has.Since))
}

// day is when something was, for people.
func day(t time.Time) string { return t.Local().Format(time.DateOnly) }

// thing names what a loan is of.
func thing(l catalog.LoanSummary) string {
	name := l.HornLabel + l.MouthpieceLabel
	if l.Copy > 1 {
		return fmt.Sprintf("%s (copy %d)", name, l.Copy)
	}
	return name
}
