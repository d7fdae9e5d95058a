package sqlstore

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"time"

	"centwise/catalog"
)

// queryer is a database or a transaction to read from.
type queryer interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// transaction is one under way, with its connection for what only the driver
// itself can do.
type transaction struct {
	*sql.Tx
	conn *sql.Conn
}

// attempts is how often a change is tried when the database breaks it off
// because of another one, before the user hears of it.
const attempts = 10

// write runs do in one transaction that no other writer overlaps. The database
// may break it off and have it repeated, so do must not rely on what an earlier
// call of it left.
func (s *Store) write(ctx context.Context, doing string, do func(tx *transaction) error) error {
	return s.writeUpTo(attempts, ctx, doing, do)
}

// writeOnce is write for what can't be repeated.
func (s *Store) writeOnce(ctx context.Context, doing string, do func(tx *transaction) error) error {
	return s.writeUpTo(1, ctx, doing, do)
}

func (s *Store) writeUpTo(times int, ctx context.Context, doing string, do func(tx *transaction) error) error {
	if s.readOnly {
		return catalog.Errorf(catalog.Unavailable, s.dialect.writable, "%s: the catalog %s is open for reading only", doing, s.path)
	}
	select {
	case s.writer <- struct{}{}:
		defer func() { <-s.writer }()
	case <-ctx.Done():
		return s.fail(ctx, doing, ctx.Err())
	}
	err := s.change(ctx, do)
	for ; times > 1 && s.dialect.classify(err) == brokenOff && ctx.Err() == nil; times-- {
		err = s.change(ctx, do)
	}
	return s.fail(ctx, doing, err)
}

// change runs do as the only writer.
func (s *Store) change(ctx context.Context, do func(tx *transaction) error) error {
	err := s.transact(ctx, s.dialect.writing, func(tx *transaction) error {
		if err := s.only(ctx, tx); err != nil {
			return err
		}
		return do(tx)
	})
	if err == nil {
		s.unmade = false
	}
	return err
}

// only makes a transaction the only writer, of a catalog that is made now if it
// is to be with its first change.
func (s *Store) only(ctx context.Context, tx *transaction) error {
	if s.unmade {
		return s.dialect.makeIn(s, ctx, tx)
	}
	if s.dialect.lock == "" {
		return nil
	}
	locked := make(chan error, 1)
	go func() {
		_, err := tx.ExecContext(ctx, s.dialect.lock)
		locked <- err
	}()
	select {
	case err := <-locked:
		return err
	case <-time.After(mostLockTimeout):
		s.notice(waiting)
	}
	return <-locked
}

// waiting is what a writer hears that waits for another one.
const waiting = "another program is writing into the catalog: waiting until it has finished"

// transact runs do in one transaction.
func (s *Store) transact(ctx context.Context, options sql.TxOptions, do func(tx *transaction) error) error {
	conn, err := s.db.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	tx, err := s.begin(ctx, conn, options)
	if err != nil {
		return err
	}
	defer tx.Rollback() // does nothing after a commit
	if err := do(&transaction{tx, conn}); err != nil {
		return err
	}
	if options.ReadOnly {
		return nil
	}
	err = tx.Commit()
	if s.dialect.classify(err) == gone {
		return &catalog.Error{Kind: catalog.Unavailable, What: "the connection was lost while the change was being completed: it is either in the catalog " + s.path + " as a whole or not at all", Err: err,
			Hint: "look which, before you repeat the command"}
	}
	return err
}

// begin begins a transaction. One that writes waits for another process that is
// writing, and says so when SQLite itself has waited for long.
func (s *Store) begin(ctx context.Context, conn *sql.Conn, options sql.TxOptions) (*sql.Tx, error) {
	told := false
	for deadline := time.Now().Add(s.patience); ; {
		tx, err := conn.BeginTx(ctx, &options)
		if options.ReadOnly || s.dialect.classify(err) != busy || ctx.Err() != nil || time.Now().After(deadline) {
			return tx, err
		}
		if !told && time.Until(deadline) > mostLockTimeout {
			s.notice(waiting)
			told = true
		}
	}
}

// read runs do in one transaction that sees the catalog at one moment.
func (s *Store) read(ctx context.Context, doing string, do func(tx *transaction) error) error {
	return s.fail(ctx, doing, s.transact(ctx, s.dialect.reading, do))
}

// raw hands the driver's own connection to do.
func (tx *transaction) raw(do func(conn any) error) error {
	var inner error
	err := tx.conn.Raw(func(conn any) error {
		inner = do(conn)
		return nil // so that the pool does not judge the connection by it
	})
	return cmp.Or(inner, err)
}

// unexpected says that a driver can't do what it is asked for.
func unexpected(conn any, what string) error {
	return fmt.Errorf("the database driver %T cannot %s", conn, what)
}
