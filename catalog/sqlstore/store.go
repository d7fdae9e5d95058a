// Package sqlstore keeps a catalog in a SQL database: SQLite, in one file. It
// is the only package of centwise that knows SQL. The statements are written
// once in the SQL that SQLite and PostgreSQL share; what differs is in dialect.
package sqlstore

import (
	"context"
	"database/sql"

	"centwise/catalog"
)

// Store is a [catalog.Store] in a SQL database. Safe for use from several
// goroutines and by several processes at once.
type Store struct {
	db       *sql.DB
	path     string
	dialect  dialect
	readOnly bool
	schema   int
	notice   func(string)
	// writer holds the one place for a writer of this process: goroutines
	// queue here in turn instead of polling the database for its lock.
	writer chan struct{}
}

var _ catalog.Store = (*Store)(nil)

// Path is the absolute path of the catalog's file.
func (s *Store) Path() string { return s.path }

// ReadOnly reports whether the catalog can only be read.
func (s *Store) ReadOnly() bool { return s.readOnly }

// Close lets go of the catalog.
func (s *Store) Close() error {
	return s.fail(context.Background(), "closing", s.db.Close())
}

// queryer is a database or a transaction to read from.
type queryer interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// write runs do in one transaction that no other writer overlaps.
func (s *Store) write(ctx context.Context, doing string, do func(tx *sql.Tx) error) error {
	if s.readOnly {
		return catalog.Errorf(catalog.Unavailable, "open it for writing, or copy it to a place that can be written", "%s: the catalog %s is open for reading only", doing, s.path)
	}
	select {
	case s.writer <- struct{}{}:
		defer func() { <-s.writer }()
	case <-ctx.Done():
		return s.fail(ctx, doing, ctx.Err())
	}
	return s.fail(ctx, doing, s.transact(ctx, do))
}

func (s *Store) transact(ctx context.Context, do func(tx *sql.Tx) error) error {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() // does nothing after a commit
	if s.dialect.lock != "" {
		if _, err := tx.ExecContext(ctx, s.dialect.lock); err != nil {
			return err
		}
	}
	if err := do(tx); err != nil {
		return err
	}
	return tx.Commit()
}

// read runs do in one transaction that sees the catalog at one moment.
func (s *Store) read(ctx context.Context, doing string, do func(tx *sql.Tx) error) error {
	tx, err := s.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return s.fail(ctx, doing, err)
	}
	defer tx.Rollback()
	return s.fail(ctx, doing, do(tx))
}

// SetTitle names the catalog.
func (s *Store) SetTitle(ctx context.Context, title string) error {
	title = catalog.NormalLabel(title)
	if err := catalog.ValidateTitle(title); err != nil {
		return err
	}
	return s.write(ctx, "naming the catalog", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `UPDATE catalog SET title = $1 WHERE one = 1`, title)
		return err
	})
}
