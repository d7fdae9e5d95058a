package sqlstore

import (
	"context"
	"database/sql"
	"fmt"
	"io/fs"
	"strconv"
	"time"

	"github.com/pressly/goose/v3"

	"centwise/catalog"
)

// sessionsPerCopy is how many sessions go to a server at once.
const sessionsPerCopy = 512

// idleWriter is how long the server keeps the turn of a writer that it does not
// hear of, such as one on a computer that sleeps.
const idleWriter = 5 * time.Minute

// oldestServer is the oldest version that is supported, as in
// server_version_num.
var oldestServer = 130000

func postgresDialect(at *server, timeout time.Duration, migrations fs.FS) dialect {
	// Plans made when a table was almost empty, and kept, would read it through for
	// each block of a large import.
	patience := fmt.Sprintf(`SET LOCAL enable_seqscan = off; SET LOCAL lock_timeout = %d; SET LOCAL idle_in_transaction_session_timeout = %d`, timeout.Milliseconds(), idleWriter.Milliseconds())
	return dialect{
		goose:      goose.DialectPostgres,
		migrations: migrations,
		migrate: func(s *Store, ctx context.Context, from, to int64) error {
			return s.migrateServer(ctx, from, to, at.schema)
		},
		makeIn: func(s *Store, ctx context.Context, tx *transaction) error {
			return s.makeOnServer(ctx, tx, at.schema)
		},
		reading: sql.TxOptions{Isolation: sql.LevelRepeatableRead, ReadOnly: true},
		// Each statement sees what was committed before it, so that a writer that
		// waited for its turn sees what the one before it did.
		writing:  sql.TxOptions{Isolation: sql.LevelReadCommitted},
		patience: patience,
		lock:     patience + `; SELECT one FROM catalog WHERE one = 1 FOR UPDATE`,
		classify: classifyPostgres,
		explain:  at.explain,
		writable: at.rights("SELECT, INSERT, UPDATE, DELETE"),
		rescue:   func(string) string { return "rescued.db" },
		state: func(ctx context.Context, db queryer) (state, error) {
			return statePostgres(ctx, db, at)
		},
		tables: func(ctx context.Context, db queryer) ([]table, error) {
			return tablesPostgres(ctx, db, at.schema)
		},
		block: sessionsPerCopy,
		bulk:  newCopying,
		// The server does so itself, if it may, but not before a minute has gone.
		// Whom the tables don't belong to gets a notice instead, which nobody sees.
		analyze: `ANALYZE session, reading, pool_change, horn, horn_revision, mouthpiece, mouthpiece_revision, player, player_revision`,
		size: `SELECT CAST(COALESCE(SUM(pg_total_relation_size(c.oid)), 0) AS BIGINT) FROM pg_catalog.pg_class c
			JOIN pg_catalog.pg_namespace n ON n.oid = c.relnamespace WHERE n.nspname = current_schema() AND c.relkind IN ('r', 'p')`,
		damage: damagePostgres,
	}
}

// statePostgres tells what is in the schema. The name of a rule marks a catalog:
// unlike a comment, every way of copying a database keeps it.
func statePostgres(ctx context.Context, db queryer, at *server) (st state, err error) {
	var number, version, encoding string
	var tables, versions int
	var marked, usable bool
	err = db.QueryRowContext(ctx, `SELECT current_setting('server_version_num'), current_setting('server_version'), current_setting('server_encoding'),
		(SELECT COUNT(*) FROM pg_catalog.pg_class c JOIN pg_catalog.pg_namespace n ON n.oid = c.relnamespace
			WHERE n.nspname = $1 AND c.relkind IN ('r', 'p', 'v', 'm', 'f')),
		(SELECT COUNT(*) FROM pg_catalog.pg_class c JOIN pg_catalog.pg_namespace n ON n.oid = c.relnamespace
			WHERE n.nspname = $1 AND c.relname = 'goose_db_version'),
		EXISTS (SELECT 1 FROM pg_catalog.pg_constraint k JOIN pg_catalog.pg_namespace n ON n.oid = k.connamespace
			WHERE n.nspname = $1 AND k.conname = 'centwise_catalog'),
		COALESCE((SELECT has_schema_privilege(oid, 'USAGE') FROM pg_catalog.pg_namespace WHERE nspname = $1), TRUE)`, at.schema).
		Scan(&number, &version, &encoding, &tables, &versions, &marked, &usable)
	if err != nil {
		return state{}, err
	}
	if n, err := strconv.Atoi(number); err != nil || n < oldestServer {
		return state{}, catalog.Errorf(catalog.Unavailable, "use a newer server",
			"the server of %s is PostgreSQL %s; centwise needs version %d or a later one", at.shown, version, oldestServer/10000)
	}
	if encoding != "UTF8" {
		return state{}, catalog.Errorf(catalog.Unavailable, "make one that does: createdb --encoding UTF8 --template template0 NAME",
			"the database of %s keeps text as %s, which can't hold every label", at.shown, encoding)
	}
	switch {
	case tables == 0:
		return state{empty: true}, nil
	case !marked || versions == 0:
		return state{foreign: true}, nil
	case !usable:
		return state{}, catalog.Errorf(catalog.Unavailable, at.rights("SELECT"), "%q may not use the catalog %s", at.config.User, at.shown)
	}
	err = db.QueryRowContext(ctx, `SELECT COALESCE(MAX(version_id), 0) FROM goose_db_version WHERE is_applied`).Scan(&st.version)
	return st, err
}

// readingsOfSessions is a rule that the server does not know, see the migration.
var readingsOfSessions = foreignKey{child: "reading", parent: "session", columns: []string{"session"}, theirs: []string{"seq"}}

// damagePostgres lists rows that belong to nothing, which a server lets in when
// it is told not to look, and rules and indices that don't hold for every row.
func damagePostgres(ctx context.Context, db *sql.DB) ([]string, error) {
	out, err := texts(ctx, db, `SELECT 'the index ' || c.relname || ' is not complete: REINDEX INDEX ' || c.relname || ' builds it anew' FROM pg_catalog.pg_index i
		JOIN pg_catalog.pg_class c ON c.oid = i.indexrelid JOIN pg_catalog.pg_namespace n ON n.oid = c.relnamespace
		WHERE n.nspname = current_schema() AND NOT (i.indisvalid AND i.indisready) ORDER BY 1`)
	if err != nil {
		return nil, err
	}
	rules, err := foreignKeys(ctx, db)
	if err != nil {
		return nil, err
	}
	for _, r := range append(rules, readingsOfSessions) {
		var n int
		if err := db.QueryRowContext(ctx, r.orphans()).Scan(&n); err != nil {
			return nil, err
		}
		if n > 0 {
			out = append(out, fmt.Sprintf("%d orphan rows in table %s: the %s they belong to is not there", n, r.child, r.parent))
		}
	}
	return out, nil
}
