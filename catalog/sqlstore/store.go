// Package sqlstore keeps a catalog in a SQL database: SQLite, in one file, or
// PostgreSQL, on a server that many share. It is the only package of centwise
// that knows SQL. The statements are written once in the SQL that both share;
// what differs is in dialect.
package sqlstore

import (
	"context"
	"database/sql"
	"time"

	"centwise/catalog"
)

// Store is a [catalog.Store] in a SQL database. Safe for use from several
// goroutines and by several processes at once.
type Store struct {
	db       *sql.DB
	path     string // of the file, or the address without its password
	dialect  dialect
	readOnly bool
	schema   int
	notice   func(string)
	unmade   bool // the catalog comes to be with the first change
	// patience is how long a writer waits for another process that writes into the
	// file; on a server the dialect's lock waits.
	patience time.Duration
	// writer holds the one place for a writer of this process: goroutines
	// queue here in turn instead of polling the database for its lock.
	writer chan struct{}
}

var _ catalog.Store = (*Store)(nil)

// Path is the absolute path of the catalog's file, or the address of the
// database without its password.
func (s *Store) Path() string { return s.path }

// ReadOnly reports whether the catalog can only be read.
func (s *Store) ReadOnly() bool { return s.readOnly }

// Close lets go of the catalog.
func (s *Store) Close() error {
	return s.fail(context.Background(), "closing", s.db.Close())
}

// SetTitle names the catalog.
func (s *Store) SetTitle(ctx context.Context, title string) error {
	title = catalog.NormalLabel(title)
	if err := catalog.ValidateTitle(title); err != nil {
		return err
	}
	return s.write(ctx, "naming the catalog", func(tx *transaction) error {
		_, err := tx.ExecContext(ctx, `UPDATE catalog SET title = $1 WHERE one = 1`, title)
		return err
	})
}
