package sqlstore

import (
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"strings"

	"centwise/catalog"
)

// changeLog gives a change its number and notes the records that it touches, see
// [catalog.Position].
type changeLog struct {
	number  int64 // 0 before the first record
	waiting map[catalog.RecordRef]string
}

// changesPerInsert is how many records are noted with one statement at least,
// see rowsPerInsert.
const changesPerInsert = 10

// touched notes that the change touched a record. from is the URL it came from,
// if it is as it came.
func (w *changer) touched(kind, id, from string) error {
	if w.log.waiting == nil {
		if err := w.beginLog(); err != nil {
			return err
		}
	}
	ref := catalog.RecordRef{Kind: kind, ID: id}
	if before, again := w.log.waiting[ref]; again && before != from {
		from = ""
	}
	w.log.waiting[ref] = from
	if len(w.log.waiting) < max(changesPerInsert, w.store.dialect.block) {
		return nil
	}
	return w.flushLog()
}

// beginLog takes the next number. The transaction is the only writer, so numbers
// follow the order of commits.
func (w *changer) beginLog() error {
	w.log.waiting = map[catalog.RecordRef]string{}
	var tag [8]byte
	rand.Read(tag[:])
	return w.tx.QueryRowContext(w.ctx, `INSERT INTO pool_commit (number, tag) SELECT COALESCE(MAX(number), 0) + 1, CAST($1 AS TEXT) FROM pool_commit RETURNING number`,
		hex.EncodeToString(tag[:])).Scan(&w.log.number)
}

// flushLog writes what waits. A record that was touched by something else than
// its source before has none.
func (w *changer) flushLog() error {
	if len(w.log.waiting) == 0 {
		return nil
	}
	var rows []string
	args := make([]any, 0, 4*len(w.log.waiting))
	for ref, from := range w.log.waiting {
		rows = append(rows, "("+placeholders(len(args)+1, 4)+")")
		args = append(args, catalog.KindRank(ref.Kind), ref.ID, w.log.number, from)
	}
	clear(w.log.waiting)
	_, err := w.tx.ExecContext(w.ctx, `INSERT INTO pool_change (rank, id, number, source) VALUES `+strings.Join(rows, ", ")+`
		ON CONFLICT (rank, id) DO UPDATE SET number = excluded.number,
		source = CASE WHEN pool_change.source = excluded.source THEN excluded.source ELSE '' END`, args...)
	return err
}

// unlogged lists records of the catalog that are missing in the order of changes,
// which others would never learn of.
var unlogged = func() string {
	query := ""
	for _, from := range []struct{ kind, table string }{
		{catalog.PooledPlayer, "player"}, {catalog.PooledHorn, "horn"}, {catalog.PooledMouthpiece, "mouthpiece"},
		{catalog.PooledOther, "pool_other"}, {catalog.PooledSession, "session"}, {catalog.PooledLink, "link"},
	} {
		if query != "" {
			query += ` UNION ALL `
		}
		query += fmt.Sprintf(`SELECT '%s ' || t.id FROM %s t LEFT JOIN pool_change c ON c.rank = %d AND c.id = t.id WHERE c.id IS NULL`,
			from.kind, from.table, catalog.KindRank(from.kind))
	}
	return query
}()
