package sqlstore

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"

	"github.com/pressly/goose/v3"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

//go:embed migrations
var migrations embed.FS

// applicationID marks the header of a catalog's file: "cwis".
const applicationID = 0x63776973

// migrationsOf are the migrations of a dialect.
func migrationsOf(name string) fs.FS {
	files, err := fs.Sub(migrations, "migrations/"+name)
	if err != nil {
		panic("sqlstore: " + err.Error()) // embedded above
	}
	return files
}

func sqliteDialect() dialect {
	return dialect{
		goose:      goose.DialectSQLite3,
		migrations: migrationsOf("sqlite"),
		migrate:    (*Store).migrateFile,
		reading:    sql.TxOptions{ReadOnly: true},
		classify:   classifySQLite,
		explain:    explainFile,
		writable:   "open it for writing, or copy it to a place that can be written",
		rescue:     func(path string) string { return path + ".rescued" },
		state:      stateSQLite,
		tables:     tablesSQLite,
		block:      1,
		bulk:       newInserts,
		deferRules: `PRAGMA defer_foreign_keys = 1`,
		size:       `SELECT page_count * page_size FROM pragma_page_count, pragma_page_size`,
		damage:     damageSQLite,
		backup:     `VACUUM INTO $1`,
	}
}

// classifySQLite sorts by result code (https://www.sqlite.org/rescode.html);
// the low byte is the primary code.
func classifySQLite(err error) class {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return other
	}
	switch e.Code() {
	case sqlite3.SQLITE_CONSTRAINT_UNIQUE, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY:
		return unique
	}
	switch e.Code() & 0xff {
	case sqlite3.SQLITE_CONSTRAINT, sqlite3.SQLITE_MISMATCH:
		return constraint
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_PROTOCOL:
		return busy
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH:
		return readOnly
	case sqlite3.SQLITE_FULL:
		return full
	case sqlite3.SQLITE_CORRUPT:
		return damaged
	case sqlite3.SQLITE_NOTADB:
		return notDatabase
	case sqlite3.SQLITE_CANTOPEN:
		return cannotOpen
	case sqlite3.SQLITE_IOERR:
		return inputOutput
	case sqlite3.SQLITE_TOOBIG:
		return tooBig
	case sqlite3.SQLITE_INTERRUPT:
		return interrupted
	}
	return other
}

func stateSQLite(ctx context.Context, db queryer) (st state, err error) {
	var id, tables, versions int64
	err = db.QueryRowContext(ctx, `
		SELECT (SELECT application_id FROM pragma_application_id),
			(SELECT COUNT(*) FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' AND name <> 'goose_db_version'),
			(SELECT COUNT(*) FROM sqlite_schema WHERE type = 'table' AND name = 'goose_db_version')`).Scan(&id, &tables, &versions)
	if err != nil {
		return state{}, err
	}
	switch {
	case id != applicationID && (id != 0 || tables > 0):
		return state{foreign: true}, nil
	case versions == 0:
		return state{empty: true}, nil
	}
	err = db.QueryRowContext(ctx, `SELECT COALESCE(MAX(version_id), 0) FROM goose_db_version WHERE is_applied = 1`).Scan(&st.version)
	st.empty = st.version == 0
	return st, err
}

func damageSQLite(ctx context.Context, db *sql.DB) ([]string, error) {
	out, err := texts(ctx, db, `SELECT integrity_check FROM pragma_integrity_check WHERE integrity_check <> 'ok'`)
	if err != nil {
		return nil, err
	}
	rows, err := db.QueryContext(ctx, `SELECT "table", COALESCE(parent, ''), COUNT(*) FROM pragma_foreign_key_check GROUP BY 1, 2`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var child, parent string
		var n int
		if err := rows.Scan(&child, &parent, &n); err != nil {
			return nil, err
		}
		out = append(out, fmt.Sprintf("%d orphan rows in table %s: the %s they belong to is not there", n, child, parent))
	}
	return out, rows.Err()
}

// texts runs a query that gives one text column.
func texts(ctx context.Context, db queryer, query string, args ...any) ([]string, error) {
	rows, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []string
	for rows.Next() {
		var text string
		if err := rows.Scan(&text); err != nil {
			return nil, err
		}
		out = append(out, text)
	}
	return out, rows.Err()
}
