package sqlstore

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"centwise/catalog"
)

// Options say how to open a catalog. The zero value opens an existing catalog
// for reading and writing.
type Options struct {
	Create bool // make the catalog, and its folder, if it is not there
	// WithFirstChange leaves the making, on a server, to the first change: both
	// come to be in one transaction, and only that change may be asked for
	// before. Conflict when there is a catalog by then.
	WithFirstChange bool
	ReadOnly        bool // never write, not even to bring an older catalog up to date
	// BusyTimeout is how long to wait for another process that is writing; 0 is
	// 2 minutes. Only to open a file that others keep from being read it waits 5
	// seconds at most.
	BusyTimeout time.Duration
	// Notice is told, in a sentence, what the user should know: that an older
	// catalog was brought up to date and where the copy from before is, that
	// readers and writers will wait for each other, or that it has been waiting for
	// another process for some seconds. May be nil.
	Notice func(text string)
}

const (
	defaultBusyTimeout = 2 * time.Minute
	// mostLockTimeout is how long SQLite itself waits for a lock, after which a
	// writer hears what it is waiting for.
	mostLockTimeout = 5 * time.Second
)

// Open opens the catalog in the file path, or at the address postgres://... of
// a database. Errors are [*catalog.Error]:
// NotFound when there is no catalog and Create is false; Busy when another
// process holds it longer than the busy timeout; Unavailable when the file is
// something else, damaged, made by a newer version, or cannot be used.
//
// Journal: the catalog is kept in write-ahead mode, in which readers and a
// writer never wait for each other. Where the file system refuses that mode,
// which some network folders do, the ordinary rollback journal is used: equally
// safe, but readers and writers wait for each other. A network folder that
// pretends to support shared memory cannot be recognised: keep a catalog that
// several machines write on a local disk.
//
// A catalog on a medium that cannot be written is opened for reading only.
func Open(ctx context.Context, path string, o Options) (*Store, error) {
	if IsAddress(path) {
		return openServer(ctx, path, o, migrationsOf("postgres"))
	}
	return open(ctx, path, o, sqliteDialect(), nil)
}

func open(ctx context.Context, path string, o Options, d dialect, extra map[string][]string) (*Store, error) {
	s := &Store{path: path, dialect: d, notice: o.Notice, readOnly: o.ReadOnly, writer: make(chan struct{}, 1)}
	if s.notice == nil {
		s.notice = func(string) {}
	}
	missing, err := s.locate(o)
	if err != nil {
		return nil, err
	}
	s.patience = cmp.Or(max(0, o.BusyTimeout), defaultBusyTimeout)
	c := connection{path: s.path, mode: "rw", journal: "WAL", timeout: min(s.patience, mostLockTimeout), extra: extra}
	switch {
	case o.ReadOnly:
		c.mode, c.journal = "ro", ""
	case o.Create:
		c.mode = "rwc"
	}
	if err := s.openAs(ctx, c, o); err != nil {
		if missing {
			removeEmpty(s.path)
		}
		return nil, s.fail(ctx, "opening", err)
	}
	return s, nil
}

// openAs connects and makes sure that a catalog is there.
func (s *Store) openAs(ctx context.Context, c connection, o Options) error {
	if c.journal != "" && !marked(s.path) {
		// Asking for write-ahead mode writes to the file, so look first
		// whether it is another program's.
		look := c
		look.journal = ""
		if err := s.connect(ctx, look); err != nil {
			return err
		}
		st, err := s.dialect.state(ctx, s.db)
		s.db.Close()
		if err != nil {
			return err
		}
		if st.foreign {
			return s.foreign()
		}
		s.readOnly = o.ReadOnly
	}
	if err := s.connect(ctx, c); err != nil {
		return err
	}
	if err := s.prepare(ctx, o); err != nil {
		s.db.Close()
		return err
	}
	return nil
}

// marked reports whether the file says in its header that it is a catalog
// (https://www.sqlite.org/fileformat2.html#the_database_header). A catalog may
// not say so yet while its first pages are still in the journal.
func marked(path string) bool {
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	var header [100]byte
	if _, err := io.ReadFull(f, header[:]); err != nil {
		return false
	}
	return string(header[:16]) == "SQLite format 3\x00" && binary.BigEndian.Uint32(header[68:]) == applicationID
}

// locate makes the path absolute and looks at what is there. It reports whether
// the file is missing and to be made.
func (s *Store) locate(o Options) (missing bool, err error) {
	if s.path == "" || strings.ContainsRune(s.path, 0) {
		return false, catalog.Errorf(catalog.Invalid, "name a file, as in lantern-bay.db", "%q is not the path of a catalog", s.path)
	}
	abs, err := filepath.Abs(s.path)
	if err != nil {
		return false, &catalog.Error{Kind: catalog.Unavailable, What: "finding the catalog " + s.path, Err: err}
	}
	s.path = abs
	info, err := os.Stat(abs)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return s.locateMissing(o)
	case err != nil:
		return false, &catalog.Error{Kind: catalog.Unavailable, What: "opening the catalog", Err: err, Hint: "check the path and its permissions"}
	case info.IsDir():
		return false, catalog.Errorf(catalog.Unavailable, "name a file in it, as in "+catalog.ShellPath(filepath.Join(abs, "catalog.db")), "%s is a folder, not a catalog", abs)
	case !info.Mode().IsRegular():
		return false, catalog.Errorf(catalog.Unavailable, "check the path", "%s is not an ordinary file", abs)
	}
	return false, nil
}

func (s *Store) locateMissing(o Options) (bool, error) {
	if !o.Create || o.ReadOnly {
		return false, catalog.Errorf(catalog.NotFound, "check the path, or make a catalog by importing sessions or adding a horn", "no catalog at %s", s.path)
	}
	if err := os.MkdirAll(filepath.Dir(s.path), 0o700); err != nil {
		return false, &catalog.Error{Kind: catalog.Unavailable, What: "making the folder of the catalog", Err: err, Hint: "choose a folder that you may write"}
	}
	return true, nil
}

// removeEmpty takes away the file of a catalog that could not be made. A file
// with something in it is another process's, and stays.
func removeEmpty(path string) {
	if info, err := os.Stat(path); err == nil && info.Size() == 0 {
		os.Remove(path)
	}
}

// connect opens the database, falling back step by step where the place it is
// in does not support everything.
func (s *Store) connect(ctx context.Context, c connection) error {
	err := s.try(ctx, c)
	if err == nil {
		return s.checkJournal(ctx, c)
	}
	for _, next := range s.fallbacks(c, err) {
		if s.try(ctx, next) == nil {
			s.readOnly = next.mode == "ro"
			return s.checkJournal(ctx, next)
		}
	}
	return err
}

// fallbacks are the other ways to open the database after err: with a rollback
// journal where no memory can be shared between processes; for reading where
// there is no right to write the file, or to make the files beside it.
func (s *Store) fallbacks(c connection, err error) (out []connection) {
	why := s.dialect.classify(err)
	if why != inputOutput && why != cannotOpen && why != readOnly {
		return nil
	}
	if c.journal == "WAL" && why != readOnly {
		c.journal = "DELETE"
		out = append(out, c)
	}
	if why == inputOutput {
		return out
	}
	c.mode, c.journal = "ro", ""
	out = append(out, c)
	if onlyFile(c.path) {
		c.immutable = true
		out = append(out, c)
	}
	return out
}

// try opens the database and one connection to it. Turning a new file to
// write-ahead mode can collide with another process doing the same, which the
// busy timeout does not cover, so that is tried again while time remains.
func (s *Store) try(ctx context.Context, c connection) error {
	conn, err := newConnector(c)
	if err != nil {
		return err
	}
	s.db = sql.OpenDB(conn)
	const pause = 20 * time.Millisecond
	for deadline := time.Now().Add(c.timeout); ; {
		err = s.db.PingContext(ctx)
		if err == nil {
			// Reads the header, which opening alone does not.
			_, err = s.db.ExecContext(ctx, `SELECT COUNT(*) FROM sqlite_schema`)
		}
		if err == nil || s.dialect.classify(err) != busy || time.Now().After(deadline) || ctx.Err() != nil {
			break
		}
		time.Sleep(pause)
	}
	if err != nil {
		s.db.Close()
	}
	return err
}

// onlyFile reports whether path is a file with no journal beside it, so that
// nobody is in the middle of writing it.
func onlyFile(path string) bool {
	if info, err := os.Stat(path); err != nil || info.Size() == 0 {
		return false
	}
	info, err := os.Stat(path + "-wal")
	return errors.Is(err, fs.ErrNotExist) || err == nil && info.Size() == 0
}

// checkJournal reads back the journal mode, which a file system may refuse
// without an error.
func (s *Store) checkJournal(ctx context.Context, c connection) error {
	if c.journal == "" {
		return nil
	}
	var mode string
	if err := s.db.QueryRowContext(ctx, `PRAGMA journal_mode`).Scan(&mode); err != nil {
		s.db.Close()
		return err
	}
	if !strings.EqualFold(mode, "wal") {
		s.notice(fmt.Sprintf("the file system of %s does not support write-ahead journals: readers and writers will wait for each other", s.path))
	}
	return nil
}
