package sqlstore

import (
	"context"
	"fmt"
	"io/fs"
	"strings"

	"github.com/pressly/goose/v3/database"

	"centwise/catalog"
)

// versionTable is where goose keeps which migrations a database has.
const versionTable = "goose_db_version"

// migrateServer brings the catalog of a server from a schema, 0 for none, up to
// date: all steps in one transaction, one process at a time. No copy is made
// before: the transaction is undone when a step fails, and backups of a server
// are its keeper's.
func (s *Store) migrateServer(ctx context.Context, from, to int64, schema string) error {
	var err error
	for range attempts {
		err = s.transact(ctx, s.dialect.writing, func(tx *transaction) error {
			st, err := s.alone(ctx, tx, schema)
			if err != nil || st.version >= to {
				return err // another process was first
			}
			return s.step(ctx, tx, st.version)
		})
		if s.dialect.classify(err) != brokenOff {
			break
		}
	}
	switch {
	case from == 0:
		return err
	case s.dialect.classify(err) == forbidden:
		return &catalog.Error{Kind: catalog.Unavailable, Err: err, Hint: "have them open it once with this version, as with: centwise catalog info",
			What: fmt.Sprintf("the catalog %s is of schema %d and must be brought up to schema %d by the owner of its tables", s.path, from, to)}
	case err != nil:
		return fmt.Errorf("bringing the catalog from schema %d to %d: %w", from, to, err)
	}
	s.notice(fmt.Sprintf("the catalog was brought from schema %d to %d: older versions of centwise can't use it any more", from, to))
	return nil
}

// alone keeps other processes from making or changing tables to the end of the
// transaction, and tells what is there then.
func (s *Store) alone(ctx context.Context, tx *transaction, schema string) (state, error) {
	if _, err := tx.ExecContext(ctx, s.dialect.patience); err != nil {
		return state{}, err
	}
	if _, err := tx.ExecContext(ctx, `SELECT pg_advisory_xact_lock(hashtextextended($1, 0))`, "centwise catalog "+schema); err != nil {
		return state{}, err
	}
	return s.dialect.state(ctx, tx)
}

// makeOnServer makes a catalog in the transaction of its first change.
func (s *Store) makeOnServer(ctx context.Context, tx *transaction, schema string) error {
	st, err := s.alone(ctx, tx, schema)
	if err != nil {
		return err
	}
	if !st.empty {
		return catalog.Errorf(catalog.Conflict, "repeat the command", "another program has just made the catalog %s", s.path)
	}
	return s.step(ctx, tx, 0)
}

// step applies the migrations after a schema.
func (s *Store) step(ctx context.Context, tx *transaction, after int64) error {
	versions, err := database.NewStore(database.DialectPostgres, versionTable)
	if err != nil {
		return err
	}
	if after == 0 {
		if err := s.makeSchema(ctx, tx, versions); err != nil {
			return err
		}
	}
	p, err := s.provider()
	if err != nil {
		return err
	}
	for _, source := range p.ListSources() {
		if source.Version <= after {
			continue
		}
		text, err := fs.ReadFile(s.dialect.migrations, source.Path)
		if err != nil {
			return err
		}
		// Without arguments, the server takes many statements at once.
		if _, err := tx.ExecContext(ctx, upward(string(text))); err != nil {
			return fmt.Errorf("%s: %w", source.Path, err)
		}
		if err := versions.Insert(ctx, tx, database.InsertRequest{Version: source.Version}); err != nil {
			return err
		}
	}
	return nil
}

// upward is the part of a migration that brings a database up to date. A server
// takes it as a whole, so goose's marks of statements are not needed.
func upward(text string) string {
	text, _, _ = strings.Cut(text, "-- +goose Down")
	_, up, _ := strings.Cut(text, "-- +goose Up")
	return up
}

// makeSchema makes the schema, if it is not there, and the table of versions.
func (s *Store) makeSchema(ctx context.Context, tx *transaction, versions database.Store) error {
	var schema, database, role string
	var there, usable bool
	err := tx.QueryRowContext(ctx, `SELECT current_setting('search_path'), current_database(), current_user,
		EXISTS (SELECT 1 FROM pg_catalog.pg_namespace WHERE nspname = current_setting('search_path')),
		COALESCE((SELECT has_schema_privilege(oid, 'USAGE') AND has_schema_privilege(oid, 'CREATE') FROM pg_catalog.pg_namespace
			WHERE nspname = current_setting('search_path')), TRUE)`).Scan(&schema, &database, &role, &there, &usable)
	if err == nil && !there {
		_, err = tx.ExecContext(ctx, `CREATE SCHEMA `+schema)
	}
	if err == nil && usable {
		if err = versions.CreateVersionTable(ctx, tx); err == nil {
			err = versions.Insert(ctx, tx, firstVersion)
		}
	}
	if usable && s.dialect.classify(err) != forbidden {
		return err
	}
	grant := fmt.Sprintf("GRANT CREATE ON DATABASE %s TO %s", quoted(database), quoted(role))
	if there {
		grant = fmt.Sprintf("GRANT USAGE, CREATE ON SCHEMA %s TO %s", quoted(schema), quoted(role))
	}
	return &catalog.Error{Kind: catalog.Unavailable, Err: err, Hint: "have the owner of the database run: " + grant,
		What: fmt.Sprintf("%q may not make tables for the catalog %s", role, s.path)}
}

// firstVersion is what goose puts into an empty table of versions.
var firstVersion = database.InsertRequest{Version: 0}

// quoted is a name as SQL takes it.
func quoted(name string) string {
	if schemaName.MatchString(name) {
		return name
	}
	return `"` + strings.ReplaceAll(name, `"`, `""`) + `"`
}
