package cli

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/adrg/xdg"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
	"centwise/cmd/centwise/show"
	"centwise/match/fit"
)

// Factory holds what commands need, as functions, so that nothing is opened
// before it is used: help and completion never touch a catalog.
type Factory struct {
	Streams *Streams
	Now     func() time.Time
	Getenv  func(string) string
	// Open opens a catalog file.
	Open func(ctx context.Context, path string, o sqlstore.Options) (catalog.Store, error)
	// Fit gives the model of a catalog as it stands.
	Fit func(ctx context.Context, s catalog.Store, o fit.Options) (*fit.Model, error)

	catalogFlag string // --catalog
}

// NewFactory gives the factory of the real program.
func NewFactory(s *Streams) *Factory {
	return &Factory{
		Streams: s,
		Now:     time.Now,
		Getenv:  os.Getenv,
		Open: func(ctx context.Context, path string, o sqlstore.Options) (catalog.Store, error) {
			return sqlstore.Open(ctx, path, o)
		},
		Fit: fit.Current,
	}
}

// defaultCatalog is where the catalog is kept unless the user says otherwise
// (XDG Base Directory Specification: the user's data).
func defaultCatalog() string { return filepath.Join(xdg.DataHome, "centwise", "catalog.db") }

// CatalogPath is where the catalog is: --catalog, else CENTWISE_CATALOG, else
// the user's data directory.
func (f *Factory) CatalogPath() (string, error) {
	path := f.catalogFlag
	if path == "" {
		path = f.Getenv("CENTWISE_CATALOG")
	}
	if path == "" {
		return defaultCatalog(), nil
	}
	if scheme, _, ok := strings.Cut(path, "://"); ok {
		return "", usagef("give a file name: --catalog catalog.db",
			"%s is a database address, and this build keeps catalogs in a file (%s addresses come with the pool server)", hidePassword(path), scheme)
	}
	return path, nil
}

// hidePassword keeps what may be a password in an address off the screen.
func hidePassword(address string) string {
	scheme, rest, _ := strings.Cut(address, "://")
	if at := strings.LastIndex(rest, "@"); at >= 0 {
		rest = "..." + rest[at:]
	}
	return scheme + "://" + rest
}

// Read opens the catalog for a command that reads it. What is worked out from
// the data is kept beside it if the catalog can be written to.
func (f *Factory) Read(ctx context.Context) (catalog.Store, error) {
	path, err := f.existing()
	if err != nil {
		return nil, err
	}
	store, err := f.Open(ctx, path, sqlstore.Options{})
	if catalog.KindOf(err) == catalog.Unavailable {
		if readOnly, roErr := f.Open(ctx, path, sqlstore.Options{ReadOnly: true}); roErr == nil {
			return readOnly, nil
		}
	}
	return store, err
}

// existing is the path of the catalog, which must be there.
func (f *Factory) existing() (string, error) {
	path, err := f.CatalogPath()
	if err != nil {
		return "", err
	}
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return "", &noCatalogError{path}
	}
	return path, nil
}

// Write opens the catalog for a command that changes it, and makes it if there
// is none.
func (f *Factory) Write(ctx context.Context) (catalog.Store, error) {
	path, err := f.CatalogPath()
	if err != nil {
		return nil, err
	}
	if path == defaultCatalog() {
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			return nil, &catalog.Error{Kind: catalog.Unavailable, What: "making the folder of the catalog", Hint: "name another place with --catalog", Err: err}
		}
	}
	return f.Open(ctx, path, sqlstore.Options{Create: true})
}

// Change opens a catalog that must be there already for a command that changes
// it.
func (f *Factory) Change(ctx context.Context) (catalog.Store, error) {
	path, err := f.existing()
	if err != nil {
		return nil, err
	}
	return f.Open(ctx, path, sqlstore.Options{})
}

// Progress shows how far long work got, if there is a terminal to show it on.
func (f *Factory) Progress() catalog.Counter {
	if !f.Streams.Talk.Terminal {
		return catalog.NoCounter{}
	}
	return show.NewProgress(f.Streams.Err, f.Streams.Talk, f.Now)
}
