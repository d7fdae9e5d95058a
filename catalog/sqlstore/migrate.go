package sqlstore

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/pressly/goose/v3"

	"centwise/catalog"
)

// prepare makes sure that the database is a catalog of the schema that this
// program knows: a new one is filled, an older one is copied and brought up to
// date, a newer or foreign one is refused.
func (s *Store) prepare(ctx context.Context, o Options) error {
	st, err := s.dialect.state(ctx, s.db)
	if err != nil {
		return err
	}
	latest, err := s.latest()
	if err != nil {
		return err
	}
	s.schema = int(latest)
	switch {
	case st.foreign:
		return s.foreign()
	case st.version == latest:
		return nil
	case st.version > latest:
		return catalog.Errorf(catalog.Unavailable, "use that newer version, or go back to a backup",
			"the catalog %s was made by a newer version of centwise (schema %d; this one knows up to %d)", s.path, st.version, latest)
	case st.empty && (!o.Create || s.readOnly):
		return s.empty()
	case st.empty && o.WithFirstChange && s.dialect.makeIn != nil:
		s.unmade = true
		return nil
	case s.readOnly:
		return catalog.Errorf(catalog.Unavailable, "open it once for writing with this version",
			"the catalog %s is of schema %d and must be brought up to schema %d, but can only be read", s.path, st.version, latest)
	}
	if err := s.dialect.migrate(s, ctx, st.version, latest); err != nil || st.empty || st.version >= linksSchema {
		return err
	}
	return s.takeUpLinks(ctx)
}

func (s *Store) empty() error {
	return catalog.Errorf(catalog.NotFound, "check the path, or make a catalog by importing sessions or adding a horn", "%s is empty: no catalog in it", s.path)
}

// migrateFile brings a catalog in a file up to date.
func (s *Store) migrateFile(ctx context.Context, from, to int64) error {
	if from == 0 {
		return s.migrate(ctx, to)
	}
	return s.upgrade(ctx, from, to)
}

func (s *Store) foreign() error {
	return catalog.Errorf(catalog.Unavailable, "check the path; nothing was changed", "%s is a database of another program, not a catalog", s.path)
}

func (s *Store) provider() (*goose.Provider, error) {
	return goose.NewProvider(s.dialect.goose, s.db, s.dialect.migrations, goose.WithDisableGlobalRegistry(true))
}

// latest is the newest schema that this program knows.
func (s *Store) latest() (int64, error) {
	p, err := s.provider()
	if err != nil {
		return 0, err
	}
	sources := p.ListSources()
	return sources[len(sources)-1].Version, nil
}

// migrate applies what is missing, each step in one transaction. When another
// process does the same at the same moment, one of the two fails; it has
// nothing left to do then. For one that writes it waits, and says so.
func (s *Store) migrate(ctx context.Context, latest int64) error {
	p, err := s.provider()
	if err != nil {
		return err
	}
	told := false
	for range 20 {
		if _, err = p.Up(ctx); err == nil {
			return nil
		}
		if st, again := s.dialect.state(ctx, s.db); again == nil && st.version == latest {
			return nil
		}
		why := s.dialect.classify(err)
		if why == full || ctx.Err() != nil {
			break
		}
		if why == busy && !told {
			s.notice(waiting)
			told = true
		}
		time.Sleep(10 * time.Millisecond)
	}
	return err
}

// upgrade copies an older catalog before bringing it up to date.
func (s *Store) upgrade(ctx context.Context, from, to int64) error {
	copyPath, err := s.copyBefore(ctx, from)
	if err != nil {
		return fmt.Errorf("copying the catalog before bringing it up to date: %w", err)
	}
	if err := s.migrate(ctx, to); err != nil {
		return fmt.Errorf("bringing the catalog from schema %d to %d (the copy from before is %s): %w", from, to, copyPath, err)
	}
	if info, err := os.Stat(copyPath); err == nil {
		s.notice(fmt.Sprintf("the catalog was brought from schema %d to %d; the copy from before is %s (%d bytes)", from, to, copyPath, info.Size()))
	}
	return nil
}

// copyBefore copies the catalog to a file named after its schema and the time;
// another process may do so in the same millisecond.
func (s *Store) copyBefore(ctx context.Context, schema int64) (path string, err error) {
	for range 20 {
		path = fmt.Sprintf("%s.schema%d-%s%s", strings.TrimSuffix(s.path, filepath.Ext(s.path)), schema,
			time.Now().UTC().Format("20060102T150405.000Z"), filepath.Ext(s.path))
		if err = s.Backup(ctx, path); catalog.KindOf(err) != catalog.Conflict {
			return path, err
		}
		time.Sleep(3 * time.Millisecond)
	}
	return path, err
}
