package cli

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
)

// noCatalog reports whether an error is that there is no catalog yet.
func noCatalog(err error) bool {
	var missing *noCatalogError
	return errors.As(err, &missing)
}

// Begin makes the catalog with its first content, see BeginWith.
func (f *Factory) Begin(ctx context.Context, first catalog.Changes) error {
	return f.BeginWith(ctx, func(s catalog.Store) error { return s.Apply(ctx, first) })
}

// BeginWith makes the catalog and fills it. A file is made in a folder beside its
// place and appears there whole or not at all; in a database, content must be one
// change, and the catalog is made in its transaction. Conflict when there is a
// catalog by now.
func (f *Factory) BeginWith(ctx context.Context, content func(catalog.Store) error) error {
	path, err := f.CatalogPath()
	if err != nil {
		return err
	}
	if sqlstore.IsAddress(path) {
		return f.beginOnServer(ctx, content)
	}
	fail := func(err error) error {
		return &catalog.Error{Kind: catalog.Unavailable, What: "making the catalog " + path, Err: err,
			Hint: "choose a place that you may write to and that has room, as in --catalog catalog.db"}
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return fail(err)
	}
	folder, err := os.MkdirTemp(filepath.Dir(path), ".centwise-new-")
	if err != nil {
		return fail(err)
	}
	defer os.RemoveAll(folder)
	workshop := filepath.Join(folder, "catalog.db")
	err = f.fill(ctx, workshop, path, content)
	if catalog.KindOf(err) == catalog.Conflict {
		return catalog.Errorf(catalog.Conflict, "repeat the command", "another program has just made the catalog %s", path)
	}
	return named(err, workshop, path)
}

// beginOnServer makes the catalog in a database with its first change.
func (f *Factory) beginOnServer(ctx context.Context, content func(catalog.Store) error) error {
	store, err := f.open(ctx, sqlstore.Options{Create: true, WithFirstChange: true})
	if err != nil {
		return err
	}
	defer store.Close()
	return content(store)
}

// fill makes the catalog in the workshop and copies it to its place.
func (f *Factory) fill(ctx context.Context, workshop, path string, content func(catalog.Store) error) error {
	store, err := f.Open(ctx, workshop, sqlstore.Options{Create: true, Notice: func(text string) {
		f.Streams.Note("%s", strings.ReplaceAll(text, workshop, path))
	}})
	if err != nil {
		return err
	}
	defer store.Close()
	if err := content(store); err != nil {
		return err
	}
	return store.Backup(ctx, path)
}

// named puts the catalog's own name into an error of its workshop.
func named(err error, workshop, path string) error {
	var domain *catalog.Error
	if !errors.As(err, &domain) {
		return err
	}
	own := *domain
	own.What = strings.ReplaceAll(own.What, workshop, path)
	return &own
}
