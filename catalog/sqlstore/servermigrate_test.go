package sqlstore_test

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"sync"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
	"centwise/catalog/sqlstore/pgtest"
)

// laterOnServer is our migrations for servers with one more.
func laterOnServer(t *testing.T, sql string) fs.FS {
	t.Helper()
	out, err := withLater(sqlstore.ServerMigrations(), sql)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestNewerServerSchemaIsRefused(t *testing.T) {
	address := pgtest.Start(t).Catalog(t)
	s, err := sqlstore.OpenServerMigrated(ctx, address, sqlstore.Options{Create: true}, laterOnServer(t, "CREATE TABLE hall (name TEXT);"))
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	for _, o := range []sqlstore.Options{{}, {Create: true}, {ReadOnly: true}} {
		_, err := sqlstore.Open(ctx, address, o)
		wantKind(t, err, catalog.Unavailable, "newer version", "schema 99")
	}
}

// Several programs of a new version meet an older catalog: one brings it up to
// date, the others wait for it, and nothing is lost.
func TestServerIsBroughtUpToDateOnce(t *testing.T) {
	address := pgtest.Start(t).Catalog(t)
	apply(t, openAt(t, address, sqlstore.Options{Create: true}), invented(40))
	next := laterOnServer(t, "ALTER TABLE session ADD COLUMN hall TEXT COLLATE \"C\" NOT NULL DEFAULT 'unknown';\nUPDATE session SET hall = 'harbour hall' WHERE seq > 20;")
	_, err := sqlstore.OpenServerMigrated(ctx, address, sqlstore.Options{ReadOnly: true}, next)
	wantKind(t, err, catalog.Unavailable, fmt.Sprintf("schema %d", schema), "schema 99", "read")
	var mu sync.Mutex
	var notices []string
	var wg sync.WaitGroup
	for range 6 {
		wg.Go(func() {
			s, err := sqlstore.OpenServerMigrated(ctx, address, sqlstore.Options{Notice: func(n string) {
				mu.Lock()
				defer mu.Unlock()
				notices = append(notices, n)
			}}, next)
			if err != nil {
				t.Error(err)
				return
			}
			defer s.Close()
			var halls int
			if err := s.DB().QueryRow(`SELECT COUNT(*) FROM session WHERE hall = 'harbour hall'`).Scan(&halls); err != nil || halls != 20 {
				t.Errorf("%d halls, error %v", halls, err)
			}
			if info, err := s.Info(ctx); err != nil || info.Schema != 99 || info.Sessions != 40 {
				t.Errorf("%+v, error %v", info, err)
			}
		})
	}
	wg.Wait()
	if len(notices) == 0 || !strings.Contains(notices[0], fmt.Sprintf("from schema %d to 99", schema)) {
		t.Errorf("notices %q", notices)
	}
	_, err = sqlstore.Open(ctx, address, sqlstore.Options{})
	wantKind(t, err, catalog.Unavailable, "newer version")
}

func TestFailedServerMigrationChangesNothing(t *testing.T) {
	address := pgtest.Start(t).Catalog(t)
	s := openAt(t, address, sqlstore.Options{Create: true})
	apply(t, s, invented(3))
	broken := laterOnServer(t, "CREATE TABLE hall (name TEXT);\nINSERT INTO hall VALUES ('x');\nINSERT INTO no_such_table VALUES (1);")
	if _, err := sqlstore.OpenServerMigrated(ctx, address, sqlstore.Options{}, broken); err == nil || !strings.Contains(err.Error(), "00099_later.sql") {
		t.Errorf("error %v", err)
	}
	columns, err := s.Columns(ctx)
	if err != nil || columns["hall"] != nil {
		t.Errorf("half a migration: %v, error %v", columns["hall"], err)
	}
	apply(t, openAt(t, address, sqlstore.Options{}), catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}}})
}

// Only the owner of the tables may change them; others are told.
func TestSomebodyElsesCatalogIsNotBroughtUpToDate(t *testing.T) {
	server := pgtest.Start(t)
	guest := role(t, server, "")
	database := server.Database(t)
	openAt(t, server.Address(pgtest.Keeper, database), sqlstore.Options{Create: true})
	if err := server.ExecIn(database, "GRANT USAGE ON SCHEMA centwise TO "+guest, "GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA centwise TO "+guest); err != nil {
		t.Fatal(err)
	}
	apply(t, openAt(t, server.Address(guest+":secret", database), sqlstore.Options{}), invented(1))
	_, err := sqlstore.OpenServerMigrated(ctx, server.Address(guest+":secret", database), sqlstore.Options{}, laterOnServer(t, "ALTER TABLE session ADD COLUMN hall TEXT;"))
	wantKind(t, err, catalog.Unavailable, fmt.Sprintf("of schema %d", schema), "owner of its tables", "catalog info")
}

// A program that was connected while another one brought the catalog up to date
// ends its work.
func TestChangedUnderAnOpenStore(t *testing.T) {
	address := pgtest.Start(t).Catalog(t)
	old := openAt(t, address, sqlstore.Options{Create: true})
	apply(t, old, invented(2))
	if _, err := old.Horn(ctx, "Alder"); err != nil {
		t.Fatal(err)
	}
	s, err := sqlstore.OpenServerMigrated(ctx, address, sqlstore.Options{}, laterOnServer(t, "ALTER TABLE horn_revision ADD COLUMN hall TEXT NOT NULL DEFAULT '';"))
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	if _, err := old.Horn(ctx, "Alder"); err != nil {
		t.Error(err)
	}
	apply(t, old, catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}}})
}

// A catalog and its first change come to be together or not at all.
func TestFirstChange(t *testing.T) {
	address := pgtest.Start(t).Catalog(t)
	first := sqlstore.Options{Create: true, WithFirstChange: true}
	bad := invented(2)
	bad.Sessions[1].Horn = catalog.NewID()
	wantKind(t, openAt(t, address, first).Apply(ctx, bad), catalog.NotFound)
	wantNone := func() {
		t.Helper()
		_, err := sqlstore.Open(ctx, address, sqlstore.Options{})
		wantKind(t, err, catalog.NotFound)
	}
	wantNone()
	_, err := openAt(t, address, first).Merge(ctx, func(yield func(catalog.Pooled, error) bool) {
		horn := catalog.Horn{ID: catalog.NewID(), Revision: catalog.Revision{Number: 1, At: time.Now()}, Label: "Alder"}
		horn.Normalize()
		if yield(catalog.Pooled{Horn: &catalog.Shared[catalog.Horn]{Record: horn}}, nil) {
			yield(catalog.Pooled{}, errors.New("the bundle ends early"))
		}
	})
	if err == nil {
		t.Error("no error")
	}
	wantNone()

	// Of several at once, one makes it, and the others are told to repeat.
	errs := make(chan error)
	for range 5 {
		s := openAt(t, address, first)
		go func() { errs <- s.Apply(ctx, invented(2)) }()
	}
	made := 0
	for range 5 {
		if err := <-errs; err == nil {
			made++
		} else {
			wantKind(t, err, catalog.Conflict, "just made", "repeat")
		}
	}
	s := openAt(t, address, sqlstore.Options{})
	if info, err := s.Info(ctx); err != nil || info.Sessions != 2 || made != 1 {
		t.Errorf("made %d times, %d sessions, error %v", made, info.Sessions, err)
	}
	// Opened so when it is there, it is opened as ever.
	apply(t, openAt(t, address, first), catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}}})
}

func TestOpenTogetherOnServer(t *testing.T) { openTogether(t, pgtest.Start(t).Catalog(t)) }
