package sqlstore

import (
	"fmt"
	"slices"
	"strings"

	"centwise/catalog"
)

// labelled says where labels are kept that must differ from each other: table,
// column, and which rows they must differ among.
type labelled struct {
	noun, column, among string
}

var (
	gearLabels   = []labelled{{"horn", "label", "1 = 1"}, {"mouthpiece", "label", "1 = 1"}, {"player", "label", "1 = 1"}}
	sessionNames = labelled{"session", "name", "retracted_at IS NULL"}
)

// relabelIfNeeded calls records anew where some are not called what they were
// given, as the reason may be gone.
func (w *changer) relabelIfNeeded(l labelled) error {
	var any bool
	err := w.tx.QueryRowContext(w.ctx, fmt.Sprintf(`SELECT EXISTS (SELECT 1 FROM %s WHERE %s <> stated)`, l.noun, l.column)).Scan(&any)
	if err != nil || !any {
		return err
	}
	_, err = w.relabel(l)
	return err
}

// relabel gives every record a label of its own, see [catalog.Distinct], and
// tells of those that are not called what they were given. The digest of a
// session names its gear, so the sum follows.
func (w *changer) relabel(l labelled) ([]catalog.Renaming, error) {
	records, have, err := w.clashing(l)
	if err != nil || len(records) == 0 {
		return nil, err
	}
	shown, err := catalog.Distinct(records, func(label string) (used bool, err error) {
		err = w.tx.QueryRowContext(w.ctx, fmt.Sprintf(`SELECT EXISTS (SELECT 1 FROM %s WHERE stated = $1 AND %s)`, l.noun, l.among), label).Scan(&used)
		return used, err
	})
	if err != nil {
		return nil, err
	}
	var changed []catalog.ID
	var out []catalog.Renaming
	sessions := map[int64]bool{}
	for _, r := range records {
		if shown[r.ID] != have[r.ID] {
			changed = append(changed, r.ID)
			if shown[r.ID] != r.Label {
				out = append(out, catalog.Renaming{Kind: l.noun, ID: r.ID, Stated: r.Label, Label: shown[r.ID]})
			}
			if l != sessionNames {
				if err := w.sessionsWith(l.noun, r.ID, sessions); err != nil {
					return nil, err
				}
			}
		}
	}
	if err := w.countSessions(sessions, catalog.Digest.Minus); err != nil {
		return nil, err
	}
	if err := w.setLabels(l, changed, shown); err != nil {
		return nil, err
	}
	return out, w.countSessions(sessions, catalog.Digest.Plus)
}

// clashing lists the records whose label is not what they were given, or was
// given to several, and what they are called now.
func (w *changer) clashing(l labelled) (records []catalog.Stated, have map[catalog.ID]string, err error) {
	rows, err := w.tx.QueryContext(w.ctx, fmt.Sprintf(`SELECT id, stated, %[2]s FROM %[1]s WHERE %[3]s AND (%[2]s <> stated OR stated IN
		(SELECT stated FROM %[1]s WHERE %[3]s GROUP BY stated HAVING COUNT(*) > 1)) ORDER BY id`, l.noun, l.column, l.among))
	if err != nil {
		return nil, nil, err
	}
	defer rows.Close()
	have = map[catalog.ID]string{}
	for rows.Next() {
		var r catalog.Stated
		var label string
		if err := rows.Scan(&r.ID, &r.Label, &label); err != nil {
			return nil, nil, err
		}
		records, have[r.ID] = append(records, r), label
	}
	return records, have, rows.Err()
}

// setLabels first frees the old labels, so that records can exchange theirs.
func (w *changer) setLabels(l labelled, changed []catalog.ID, shown map[catalog.ID]string) error {
	block := w.store.dialect.block
	for some := range slices.Chunk(changed, block) {
		var c conditions
		oneOf(&c, "id", some)
		if _, err := w.tx.ExecContext(w.ctx, fmt.Sprintf(`UPDATE %s SET %s = id%s`, l.noun, l.column, c.where()), c.args...); err != nil {
			return err
		}
	}
	for some := range slices.Chunk(changed, block) {
		var rows []string
		var args []any
		for _, id := range some {
			n := len(args)
			rows = append(rows, fmt.Sprintf("(CAST($%d AS TEXT), CAST($%d AS TEXT), CAST($%d AS TEXT))", n+1, n+2, n+3))
			args = append(args, id, shown[id], catalog.Fold(shown[id]))
		}
		_, err := w.tx.ExecContext(w.ctx, fmt.Sprintf(`WITH given (id, label, folded) AS (VALUES %[3]s)
			UPDATE %[1]s SET %[2]s = given.label, folded = given.folded FROM given WHERE given.id = %[1]s.id`,
			l.noun, l.column, strings.Join(rows, ", ")), args...)
		if err != nil {
			return err
		}
	}
	return nil
}
