package sqlstore

import (
	"cmp"
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"centwise/catalog"
)

// Backup writes a complete copy to path: to a temporary file beside it, which
// is brought to disk and then given its name. The copy is compact, its indices
// are built anew, and it is one moment of the catalog; others may write
// meanwhile. An existing file is never replaced.
//
// From a server the copy is a file too, and path may be the address of an empty
// database: so a catalog goes to a server and comes back.
func (s *Store) Backup(ctx context.Context, path string) error {
	if path == "" {
		return catalog.Errorf(catalog.Invalid, "name the file to write", "the backup has no path")
	}
	copyTo := s.copyTo
	if IsAddress(path) {
		copyTo = s.copyToServer
	}
	if err := copyTo(ctx, path); err != nil {
		var domain *catalog.Error
		if errors.As(err, &domain) || ctx.Err() != nil {
			return s.fail(ctx, "backing up", err)
		}
		if errors.Is(err, fs.ErrExist) {
			return catalog.Errorf(catalog.Conflict, "choose another name, or move it away", "%s exists already", path)
		}
		kind, hint := s.dialect.explain(s.dialect.classify(err))
		if kind == catalog.Internal {
			kind, hint = catalog.Unavailable, "choose a folder that is there, has room and that you may write"
		}
		return &catalog.Error{Kind: kind, What: "backing up to " + Shown(path), Err: err, Hint: hint}
	}
	return nil
}

// copyToServer fills an empty database.
func (s *Store) copyToServer(ctx context.Context, address string) error {
	to, err := Open(ctx, address, Options{Create: true, WithFirstChange: true})
	if err != nil {
		return err
	}
	defer to.Close()
	if !to.unmade {
		return catalog.Errorf(catalog.Conflict, "name another database, or another schema in it: ?search_path=NAME", "there is a catalog at %s already", to.path)
	}
	return s.transfer(ctx, to)
}

// copyToFile writes the copy to a new file.
func (s *Store) copyToFile(ctx context.Context, path string) error {
	if s.dialect.backup != "" {
		_, err := s.db.ExecContext(ctx, s.dialect.backup, path)
		return err
	}
	to, err := Open(ctx, path, Options{Create: true})
	if err != nil {
		return err
	}
	err = s.transfer(ctx, to)
	return cmp.Or(err, to.Close()) // closing puts the journal's pages into the file
}

func (s *Store) copyTo(ctx context.Context, path string) error {
	if _, err := os.Lstat(path); err == nil {
		return fs.ErrExist
	} else if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	dir := filepath.Dir(path)
	folder, err := os.MkdirTemp(dir, ".centwise-backup-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	temporary := filepath.Join(folder, "catalog.db")
	if err := s.copyToFile(ctx, temporary); err != nil {
		return err
	}
	// The copy holds what the catalog holds: no more people may read it.
	mode := fs.FileMode(0o600)
	if info, err := os.Stat(s.path); err == nil {
		mode |= info.Mode().Perm()
	}
	if err := os.Chmod(temporary, mode); err != nil {
		return err
	}
	if err := syncFile(temporary); err != nil {
		return err
	}
	if err := place(temporary, path); err != nil {
		return err
	}
	syncFolder(dir)
	return nil
}

// place gives a finished file its name unless that is taken. A second link
// fails when the name is taken, in one step; where there are no links, the name
// is reserved by an empty file first.
func place(temporary, path string) error {
	err := os.Link(temporary, path)
	if err == nil || errors.Is(err, fs.ErrExist) {
		return err
	}
	reserved, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	reserved.Close()
	if err := os.Rename(temporary, path); err != nil {
		os.Remove(path)
		return err
	}
	return nil
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

// syncFolder brings a new name to disk, where folders can be synced.
func syncFolder(path string) {
	if f, err := os.Open(path); err == nil {
		_ = f.Sync() // refused by some systems, which then need none
		f.Close()
	}
}
