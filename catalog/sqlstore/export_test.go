package sqlstore

import (
	"context"
	"database/sql"
	"io/fs"
	"time"

	"modernc.org/sqlite"
)

// OpenWith opens with more connection parameters, such as a limit of pages.
func OpenWith(ctx context.Context, path string, o Options, extra map[string][]string) (*Store, error) {
	return open(ctx, path, o, sqliteDialect(), extra)
}

// OpenMigrated opens with other migrations than ours.
func OpenMigrated(ctx context.Context, path string, o Options, migrations fs.FS) (*Store, error) {
	d := sqliteDialect()
	d.migrations = migrations
	return open(ctx, path, o, d, nil)
}

// Migrations are ours.
func Migrations() fs.FS { return sqliteDialect().migrations }

// OpenServerMigrated opens on a server with other migrations than ours.
func OpenServerMigrated(ctx context.Context, address string, o Options, migrations fs.FS) (*Store, error) {
	return openServer(ctx, address, o, migrations)
}

// ServerMigrations are ours for servers.
func ServerMigrations() fs.FS { return migrationsOf("postgres") }

// Columns lists the tables of a catalog with their columns.
func (s *Store) Columns(ctx context.Context) (map[string][]string, error) {
	tables, err := s.dialect.tables(ctx, s.db)
	out := map[string][]string{}
	for _, t := range tables {
		out[t.name] = t.columns
	}
	return out, err
}

// AskForServer sets the oldest version of a server that is supported, and gives
// what puts it back.
func AskForServer(version int) (back func()) {
	was := oldestServer
	oldestServer = version
	return func() { oldestServer = was }
}

// DB is the pool of connections.
func (s *Store) DB() *sql.DB { return s.db }

// Connect opens one connection by a connection string of the driver's and reads
// the settings back.
func Connect(ctx context.Context, dsn string, timeout time.Duration) error {
	inner, err := sqlite.NewConnector(dsn)
	if err != nil {
		return err
	}
	conn, err := (&connector{inner, connection{timeout: timeout}}).Connect(ctx)
	if err != nil {
		return err
	}
	return conn.Close()
}
