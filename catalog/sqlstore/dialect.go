package sqlstore

import (
	"context"
	"database/sql"
	"io/fs"

	"github.com/pressly/goose/v3"
)

// dialect is all that differs between databases: everything else of this
// package is written once in the SQL they share ($1 placeholders, ON CONFLICT,
// RETURNING, CAST, COALESCE).
type dialect struct {
	goose      goose.Dialect
	migrations fs.FS // numbered alike in every dialect

	// classify sorts an error of the driver by its number, never by its text.
	classify func(error) class
	// lock makes a write transaction the only one, so that sequence numbers
	// and the digest follow the order of commits. Empty where beginning the
	// transaction does that.
	lock string
	// state tells what the database is.
	state func(ctx context.Context, db *sql.DB) (state, error)
	// size is a query for the bytes that the catalog takes.
	size string
	// damage lists what the database's own checks find wrong.
	damage func(ctx context.Context, db *sql.DB) ([]string, error)
	// backup writes a complete copy of the database to a new file.
	backup string
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
)
