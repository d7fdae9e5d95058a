package sqlstore

import (
	"context"
	"database/sql"
	"io/fs"

	"github.com/pressly/goose/v3"

	"centwise/catalog"
)

// dialect is all that differs between databases: everything else of this
// package is written once in the SQL they share ($1 placeholders, ON CONFLICT,
// RETURNING, CAST, COALESCE).
type dialect struct {
	goose      goose.Dialect
	migrations fs.FS // numbered alike in every dialect
	// migrate brings a catalog from a schema, 0 for none, up to date.
	migrate func(s *Store, ctx context.Context, from, to int64) error
	// makeIn makes a catalog in the transaction of its first change. Nil where
	// there is no such thing.
	makeIn func(s *Store, ctx context.Context, tx *transaction) error

	// reading is a transaction that sees one moment, writing one that sees what
	// the writer before it did.
	reading, writing sql.TxOptions
	// lock makes a write transaction the only one, so that sequence numbers
	// and the digest follow the order of commits. Empty where beginning the
	// transaction does that.
	lock string
	// patience says how long a change waits for others, and lock begins with it.
	patience string

	// classify sorts an error of the driver by its number, never by its text.
	classify func(error) class
	// explain gives the kind of a class of errors and what to do about it.
	explain func(class) (catalog.Kind, string)
	// writable is what to do about a catalog that can only be read.
	writable string
	// rescue names the file for what can be saved of a damaged catalog.
	rescue func(path string) string

	// state tells what the database is.
	state func(ctx context.Context, db queryer) (state, error)
	// tables lists the tables of a catalog with their columns.
	tables func(ctx context.Context, db queryer) ([]table, error)
	// block is how many sessions are looked up and inserted at once.
	block int
	// bulk inserts many rows of a table, in the order given; where single is set
	// and block is 1, an error is that of the row just added.
	bulk func(ctx context.Context, tx *transaction, table string, columns []string, single bool) (bulk, error)
	// analyze lets the database look at the tables after many rows came, so that it
	// knows how to find some of them again. Empty where it need not.
	analyze string
	// deferRules puts off the rules between tables to the end of a transaction.
	// Empty where tables are filled parents first, which is enough.
	deferRules string
	// size is a query for the bytes that the catalog takes.
	size string
	// damage lists what the database's own checks find wrong.
	damage func(ctx context.Context, db *sql.DB) ([]string, error)
	// backup writes a complete copy of the database to a new file. Empty where
	// it is made table by table.
	backup string
}

// bulk takes rows and inserts them several at a time.
type bulk interface {
	add(values ...any) error
	flush() error // what is left over
	close()
}

// state is what a database turns out to be when opened.
type state struct {
	empty   bool  // nothing in it yet
	foreign bool  // another program's
	version int64 // schema of the catalog, 0 if none
}

// class sorts database errors by what they mean to the store.
type class int

const (
	other       class = iota
	unique            // a unique constraint
	constraint        // any other constraint
	busy              // locked by somebody else
	readOnly          // not writable
	full              // disk or database full
	damaged           // the file is broken
	notDatabase       // the file is something else
	cannotOpen        // the file or a file beside it cannot be opened
	inputOutput       // the disk or the file system failed
	tooBig            // a value beyond the database's limits
	interrupted       // stopped by its context
	badText           // text that the database can't hold
	brokenOff         // broken off because of another change, to be repeated
	crowded           // no connection free, or not yet
	gone              // the connection was lost
	forbidden         // no right to what was asked for
	vanished          // the tables are not there any more
)
