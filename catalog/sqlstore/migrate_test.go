package sqlstore_test

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
)

// schema is the newest that this program knows.
var schema = func() int {
	names, err := fs.Glob(sqlstore.Migrations(), "*.sql")
	if err != nil {
		panic(err)
	}
	newest := 0
	for _, name := range names {
		newest = max(newest, numberOf(name))
	}
	return newest
}()

// numberOf is the number that a migration's name begins with.
func numberOf(name string) int {
	n, err := strconv.Atoi(name[:5])
	if err != nil {
		panic(err)
	}
	return n
}

// later is our migrations with one more.
func later(t *testing.T, sql string) fstest.MapFS {
	t.Helper()
	out, err := withLater(sqlstore.Migrations(), sql)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func withLater(ours fs.FS, sql string) (fstest.MapFS, error) {
	out := fstest.MapFS{}
	names, err := fs.Glob(ours, "*.sql")
	if err != nil {
		return nil, err
	}
	for _, name := range names {
		b, err := fs.ReadFile(ours, name)
		if err != nil {
			return nil, err
		}
		out[name] = &fstest.MapFile{Data: b}
	}
	out["00099_later.sql"] = &fstest.MapFile{Data: []byte("-- +goose Up\n" + sql + "\n")}
	return out, nil
}

func TestNewerSchemaIsRefused(t *testing.T) {
	path := small(t)
	db := raw(t, path)
	execSQL(t, db, `INSERT INTO goose_db_version (version_id, is_applied) VALUES (99, 1)`)
	db.Close()
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range []sqlstore.Options{{}, {Create: true}, {ReadOnly: true}} {
		_, err := sqlstore.Open(ctx, path, o)
		wantKind(t, err, catalog.Unavailable, path, "newer version", "schema 99")
	}
	if after, err := os.ReadFile(path); err != nil || string(after) != string(before) {
		t.Errorf("the catalog was altered (error %v)", err)
	}
}

func TestOlderCatalogIsCopiedAndBroughtUpToDate(t *testing.T) {
	path := small(t)
	next := later(t, "ALTER TABLE session ADD COLUMN hall TEXT NOT NULL DEFAULT 'unknown';")
	_, err := sqlstore.OpenMigrated(ctx, path, sqlstore.Options{ReadOnly: true}, next)
	wantKind(t, err, catalog.Unavailable, fmt.Sprintf("schema %d", schema), "schema 99", "read")

	var notices []string
	s, err := sqlstore.OpenMigrated(ctx, path, sqlstore.Options{Notice: func(n string) { notices = append(notices, n) }}, next)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	info, err := s.Info(ctx)
	if err != nil || info.Schema != 99 || info.Sessions != 40 {
		t.Errorf("%+v, error %v", info, err)
	}
	var hall string
	if err := s.DB().QueryRow(`SELECT hall FROM session WHERE seq = 40`).Scan(&hall); err != nil || hall != "unknown" {
		t.Errorf("hall %q, error %v", hall, err)
	}

	copies := copiesOf(t, path)
	if len(copies) != 1 || len(notices) != 1 || !strings.Contains(notices[0], copies[0]) {
		t.Fatalf("copies %q, notices %q", copies, notices)
	}
	old := openFile(t, copies[0], sqlstore.Options{})
	if was, err := old.Info(ctx); err != nil || was.Schema != schema || was.Digest != info.Digest {
		t.Errorf("the copy: %+v, error %v", was, err)
	}
	// Opening again brings nothing up to date and copies nothing.
	again, err := sqlstore.OpenMigrated(ctx, path, sqlstore.Options{}, next)
	if err != nil {
		t.Fatal(err)
	}
	again.Close()
	if n := len(copiesOf(t, path)); n != 1 {
		t.Errorf("%d copies", n)
	}
	// And this version refuses what the later one made.
	_, err = sqlstore.Open(ctx, path, sqlstore.Options{})
	wantKind(t, err, catalog.Unavailable, "newer version")
}

// A program that writes meanwhile is waited for, and the user told.
func TestOlderCatalogIsInUse(t *testing.T) {
	path := small(t)
	other := raw(t, path)
	execSQL(t, other, `BEGIN IMMEDIATE`)
	var notices []string
	s, err := sqlstore.OpenMigrated(ctx, path, sqlstore.Options{BusyTimeout: 100 * time.Millisecond, Notice: func(n string) {
		if notices = append(notices, n); len(notices) == 1 {
			execSQL(t, other, `ROLLBACK`)
		}
	}}, later(t, "ALTER TABLE session ADD COLUMN hall TEXT NOT NULL DEFAULT 'unknown';"))
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	if len(notices) != 2 || !strings.Contains(notices[0], "another program is writing") || !strings.Contains(notices[1], "brought from schema") {
		t.Errorf("notices %q", notices)
	}
}

func copiesOf(t *testing.T, path string) []string {
	t.Helper()
	out, err := filepath.Glob(strings.TrimSuffix(path, ".db") + ".schema*-*.db")
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestFailedMigrationChangesNothing(t *testing.T) {
	path := small(t)
	broken := later(t, "CREATE TABLE hall (name TEXT) STRICT;\nINSERT INTO hall VALUES ('x');\nINSERT INTO no_such_table VALUES (1);")
	_, err := sqlstore.OpenMigrated(ctx, path, sqlstore.Options{}, broken)
	if err == nil {
		t.Fatal("no error")
	}
	copies := copiesOf(t, path)
	if len(copies) != 1 || !strings.Contains(err.Error(), copies[0]) {
		t.Errorf("copies %q, error %v", copies, err)
	}
	s := openFile(t, path, sqlstore.Options{})
	var n int
	if err := s.DB().QueryRow(`SELECT COUNT(*) FROM sqlite_schema WHERE name = 'hall'`).Scan(&n); err != nil || n != 0 {
		t.Errorf("%d tables of half a migration, error %v", n, err)
	}
	if list, err := s.Integrity(ctx); err != nil || len(list) > 0 {
		t.Errorf("findings %v, error %v", list, err)
	}
}

// Every migration has a way back, and the way back leaves nothing.
func TestMigrationsDown(t *testing.T) {
	names, err := fs.Glob(sqlstore.Migrations(), "*.sql")
	if err != nil {
		t.Fatal(err)
	}
	for i, name := range names {
		b, err := fs.ReadFile(sqlstore.Migrations(), name)
		if err != nil {
			t.Fatal(err)
		}
		if i > 0 && numberOf(name) <= numberOf(names[i-1]) || !strings.Contains(string(b), "-- +goose Down") {
			t.Errorf("%s does not have a number of its own, or has no way back", name)
		}
	}
	s := newStore(t)
	for _, name := range slices.Backward(names) {
		_, down, _ := strings.Cut(readMigration(t, name), "-- +goose Down")
		execSQL(t, s.DB(), down)
	}
	var n int
	if err := s.DB().QueryRow(`SELECT COUNT(*) FROM sqlite_schema WHERE name NOT LIKE 'sqlite_%' AND name <> 'goose_db_version'`).Scan(&n); err != nil || n != 0 {
		t.Errorf("%d things left, error %v", n, err)
	}
}

func readMigration(t *testing.T, name string) string {
	t.Helper()
	b, err := fs.ReadFile(sqlstore.Migrations(), name)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// A catalog from before players had weights keeps its players, who get none,
// and its digest.
func TestPlayersFromBeforeWeights(t *testing.T) {
	first, err := fs.ReadFile(sqlstore.Migrations(), "00001_catalog.sql")
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "old.db")
	old, err := sqlstore.OpenMigrated(ctx, path, sqlstore.Options{Create: true}, fstest.MapFS{"00001_catalog.sql": {Data: first}})
	if err != nil {
		t.Fatal(err)
	}
	player := catalog.Player{ID: catalog.NewID(), Label: "reed-otter", ToleranceCents: 8}
	player.Normalize()
	d := player.Digest()
	if _, err := old.DB().Exec(`INSERT INTO player_revision VALUES ($1, 1, 0, '', 0, $2, 'reed-otter', '', 0, 0, 0, 0, 8, 0, 0, '[]')`, player.ID, d[:]); err != nil {
		t.Fatal(err)
	}
	for _, q := range []string{`INSERT INTO player SELECT id, 1, label, label FROM player_revision`, `UPDATE catalog SET digest = (SELECT digest FROM player_revision)`} {
		if _, err := old.DB().Exec(q); err != nil {
			t.Fatal(err)
		}
	}
	old.Close()
	s := openFile(t, path, sqlstore.Options{})
	got, err := s.Player(ctx, "reed-otter")
	if err != nil || got.ToleranceCents != 8 || got.Weights != nil {
		t.Fatalf("%+v, error %v", got, err)
	}
	if findings, err := s.Integrity(ctx); err != nil || len(findings) > 0 {
		t.Errorf("findings %v, error %v", findings, err)
	}
	got.Number, got.Weights = 2, catalog.Weights{60: 2}
	if err := s.Apply(ctx, catalog.Changes{Players: []catalog.Player{got}}); err != nil {
		t.Fatal(err)
	}
	if again, err := s.Player(ctx, "reed-otter"); err != nil || again.Weights[60] != 2 {
		t.Errorf("%+v, error %v", again, err)
	}
}

// A catalog whose version did not know of links takes up those it was given and
// kept.
func TestLinksKeptByAnOlderVersion(t *testing.T) {
	older := fstest.MapFS{}
	names, err := fs.Glob(sqlstore.Migrations(), "*.sql")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		if numberOf(name) < 7 {
			older[name] = &fstest.MapFile{Data: []byte(readMigration(t, name))}
		}
	}
	path := filepath.Join(t.TempDir(), "old.db")
	old, err := sqlstore.OpenMigrated(ctx, path, sqlstore.Options{Create: true}, older)
	if err != nil {
		t.Fatal(err)
	}
	var sum catalog.Digest
	var ids []catalog.ID
	for _, label := range []string{"Alder", "Old Alder"} {
		h := catalog.Horn{ID: catalog.NewID(), Label: label}
		h.Normalize()
		d := h.Digest()
		sum, ids = sum.Plus(d), append(ids, h.ID)
		if _, err := old.DB().Exec(`INSERT INTO horn_revision VALUES ($1, 1, 0, '', 0, $2, $3, '', '', '', 'trumpet', 'Bb', 3, 'trumpet', 0, 0, 0, 0, '', '[]', '', '[]', '', 0)`, h.ID, d[:], label); err != nil {
			t.Fatal(err)
		}
	}
	execSQL(t, old.DB(), `INSERT INTO horn SELECT id, 1, label, lower(label), label FROM horn_revision`)
	if _, err := old.DB().Exec(`UPDATE catalog SET digest = $1`, sum[:]); err != nil {
		t.Fatal(err)
	}
	l := catalog.Link{Kind: catalog.LinkHorn, Alias: string(ids[1]), Kept: string(ids[0]), Revision: catalog.Revision{Number: 1, At: time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)}}
	body, err := catalog.Pooled{Link: &catalog.Shared[catalog.Link]{Record: l}}.Encode()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := old.DB().Exec(`INSERT INTO pool_other VALUES ('link', $1, 0)`, string(body)); err != nil {
		t.Fatal(err)
	}
	old.Close()
	s := openFile(t, path, sqlstore.Options{})
	if h, err := s.Horn(ctx, "Old Alder"); err != nil || h.ID != ids[0] {
		t.Errorf("%+v, error %v", h, err)
	}
	if findings, err := s.Integrity(ctx); err != nil || len(findings) > 0 {
		t.Errorf("findings %v, error %v", findings, err)
	}
}
