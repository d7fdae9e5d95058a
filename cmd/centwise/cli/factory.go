package cli

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/adrg/xdg"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
	"centwise/cmd/centwise/show"
	"centwise/match"
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
	// Fit gives the fit of a catalog as it stands: the stored one if the data
	// have not changed since and again is not set, else a new one, which it stores.
	Fit func(ctx context.Context, s catalog.Store, again bool, progress catalog.Counter) (*fit.Model, error)
	// Engine gives what predicts from a catalog as it stands.
	Engine func(ctx context.Context, s catalog.Store, progress catalog.Counter) (match.Engine, error)

	catalogFlag string // --catalog
	asking      asking
}

// NewFactory gives the factory of the real program.
func NewFactory(s *Streams) *Factory {
	f := &Factory{
		Streams: s,
		Now:     time.Now,
		Getenv:  os.Getenv,
		Open: func(ctx context.Context, path string, o sqlstore.Options) (catalog.Store, error) {
			return sqlstore.Open(ctx, path, o)
		},
		Fit: func(ctx context.Context, s catalog.Store, again bool, progress catalog.Counter) (*fit.Model, error) {
			return fit.Current(ctx, s, fit.Options{Refit: again, Progress: progress})
		},
	}
	f.Engine = func(ctx context.Context, s catalog.Store, progress catalog.Counter) (match.Engine, error) {
		return f.Fit(ctx, s, false, progress)
	}
	return f
}

// defaultCatalog is where the catalog is kept unless the user says otherwise
// (XDG Base Directory Specification: the user's data).
func defaultCatalog() string { return filepath.Join(xdg.DataHome, "centwise", "catalog.db") }

// CatalogPath is where the catalog is: --catalog, else CENTWISE_CATALOG, else
// the user's data directory. It is the path of a file, or the address of a
// database, which may hold a password: [sqlstore.Shown] is what may be shown.
func (f *Factory) CatalogPath() (string, error) {
	path := f.catalogFlag
	if path == "" {
		path = f.Getenv("CENTWISE_CATALOG")
	}
	if path == "" {
		return defaultCatalog(), nil
	}
	if scheme, _, ok := strings.Cut(path, "://"); ok && !sqlstore.IsAddress(path) {
		return "", usagef("give a file, as in --catalog catalog.db, or a PostgreSQL database, as in --catalog postgres://NAME@HOST/DATABASE",
			"catalogs are not kept at %s addresses", scheme)
	}
	return path, nil
}

// Here is what a command that is suggested needs at its end to mean the same
// catalog: --catalog, if it was given.
func (f *Factory) Here() string {
	if f.catalogFlag == "" {
		return ""
	}
	return " --catalog " + catalog.ShellPath(sqlstore.Shown(f.catalogFlag))
}

// Existing opens a catalog that must be there already.
func (f *Factory) Existing(ctx context.Context) (catalog.Store, error) {
	return f.open(ctx, sqlstore.Options{})
}

// open opens a catalog. What the user should know of it is said, unless the
// options give another place for it.
func (f *Factory) open(ctx context.Context, o sqlstore.Options) (catalog.Store, error) {
	path, err := f.CatalogPath()
	if err != nil {
		return nil, err
	}
	if o.Notice == nil {
		o.Notice = func(text string) { f.Streams.Note("%s", text) }
	}
	store, err := f.Open(ctx, path, o)
	if catalog.KindOf(err) == catalog.NotFound {
		return nil, &noCatalogError{sqlstore.Shown(path), err}
	}
	return store, err
}

// Progress shows how far long work got, if there is a terminal to show it on.
func (f *Factory) Progress() catalog.Counter {
	if !f.Streams.Talk.Terminal {
		return catalog.NoCounter{}
	}
	f.Streams.progress = show.NewProgress(f.Streams.Err, f.Streams.Talk)
	return f.Streams.progress
}

// orRun is what a command runs with its options: runF, which a test may give,
// else run.
func orRun[O any](runF func(*O) error, run func(context.Context, *O) error) func(context.Context, *O) error {
	if runF == nil {
		return run
	}
	return func(_ context.Context, o *O) error { return runF(o) }
}
