package sqlstore_test

import (
	"context"
	"database/sql"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
)

var ctx = context.Background()

// wantKind expects an error of a kind that says all the words.
func wantKind(t *testing.T, err error, kind catalog.Kind, words ...string) {
	t.Helper()
	if err == nil {
		t.Fatal("no error")
	}
	if catalog.KindOf(err) != kind {
		t.Errorf("error %q is of kind %d, want %d", err, catalog.KindOf(err), kind)
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("error %q does not say %q", err, w)
		}
	}
}

// openFile opens and closes with the test.
func openFile(t *testing.T, path string, o sqlstore.Options) *sqlstore.Store {
	t.Helper()
	s, err := sqlstore.Open(ctx, path, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// raw opens the file with the driver alone.
func raw(t *testing.T, path string) *sql.DB {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	db.SetMaxOpenConns(1)
	t.Cleanup(func() { db.Close() })
	return db
}

func execSQL(t *testing.T, db *sql.DB, statements ...string) {
	t.Helper()
	for _, s := range statements {
		if _, err := db.Exec(s); err != nil {
			t.Fatalf("%s: %v", s, err)
		}
	}
}

func apply(t *testing.T, s *sqlstore.Store, c catalog.Changes) {
	t.Helper()
	if err := s.Apply(ctx, c); err != nil {
		t.Fatal(err)
	}
}

func TestPathsMeanThemselves(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"plain.db", "with space.db", "a#b.db", "what?.db", "100%.db", "%20.db", "a?mode=memory", "x&y=z.db", "é山.db", "'quoted\".db", "file:x.db", "semi;colon.db", "no extension"} {
		path := filepath.Join(dir, name)
		s := openFile(t, path, sqlstore.Options{Create: true})
		apply(t, s, catalog.Changes{Horns: []catalog.Horn{{Label: name}}})
		s.Close()
		if _, err := os.Stat(path); err != nil {
			t.Errorf("%s: the file has another name: %v", name, err)
		}
		if _, err := openFile(t, path, sqlstore.Options{ReadOnly: true}).Horn(ctx, name); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if files, err := filepath.Glob(filepath.Join(dir, "*")); err != nil || len(files) < 13 {
		t.Errorf("%d files, error %v", len(files), err)
	}
}

func TestRelativePath(t *testing.T) {
	t.Chdir(t.TempDir())
	s := openFile(t, "catalog.db", sqlstore.Options{Create: true})
	if !filepath.IsAbs(s.Path()) {
		t.Errorf("path %s", s.Path())
	}
	openFile(t, filepath.Join("sub", "folder", "catalog.db"), sqlstore.Options{Create: true})
	if _, err := os.Stat(filepath.Join("sub", "folder", "catalog.db")); err != nil {
		t.Error(err)
	}
}

func TestMissingCatalog(t *testing.T) {
	path := filepath.Join(t.TempDir(), "sub", "catalog.db")
	_, err := sqlstore.Open(ctx, path, sqlstore.Options{})
	wantKind(t, err, catalog.NotFound, path)
	_, err = sqlstore.Open(ctx, path, sqlstore.Options{ReadOnly: true, Create: true})
	wantKind(t, err, catalog.NotFound, path)
	if _, err := os.Stat(filepath.Dir(path)); err == nil {
		t.Error("looking for a catalog made its folder")
	}
	_, err = sqlstore.Open(ctx, "", sqlstore.Options{Create: true})
	wantKind(t, err, catalog.Invalid)
	_, err = sqlstore.Open(ctx, "a\x00b", sqlstore.Options{Create: true})
	wantKind(t, err, catalog.Invalid)
}

func TestNotACatalog(t *testing.T) {
	dir := t.TempDir()
	write := func(name, content string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	foreign := filepath.Join(dir, "foreign.db")
	execSQL(t, raw(t, foreign), `CREATE TABLE songs (title TEXT)`)
	marked := filepath.Join(dir, "marked.db")
	execSQL(t, raw(t, marked), `PRAGMA application_id = 7`)
	for _, tc := range []struct {
		path, word string
	}{
		{dir, "folder"},
		{write("notes.txt", strings.Repeat("not a database at all\n", 200)), "not a catalog"},
		{write("short.txt", "session,horn\n"), "not a catalog"},
		{write("header.db", "SQLite format 3\x00"+strings.Repeat("\xff", 5000)), ""},
		{foreign, "another program"},
		{marked, "another program"},
		{os.DevNull, "ordinary file"},
		{filepath.Join(foreign, "catalog.db"), ""},
	} {
		before, _ := os.ReadFile(tc.path)
		for _, o := range []sqlstore.Options{{}, {Create: true}, {ReadOnly: true}} {
			s, err := sqlstore.Open(ctx, tc.path, o)
			if err == nil {
				s.Close()
			}
			wantKind(t, err, catalog.Unavailable, tc.path, tc.word)
		}
		if after, _ := os.ReadFile(tc.path); string(after) != string(before) {
			t.Errorf("%s was altered", tc.path)
		}
	}
}

func TestEmptyFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "empty.db")
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := sqlstore.Open(ctx, path, sqlstore.Options{})
	wantKind(t, err, catalog.NotFound, path, "empty")
	_, err = sqlstore.Open(ctx, path, sqlstore.Options{ReadOnly: true})
	wantKind(t, err, catalog.NotFound, path, "empty")
	openFile(t, path, sqlstore.Options{Create: true})
}

func TestEveryConnectionIsSetUp(t *testing.T) {
	s := newStore(t)
	var conns []*sql.Conn
	for range 12 {
		c, err := s.DB().Conn(ctx)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		conns = append(conns, c)
	}
	for i, c := range conns {
		for _, tc := range []struct {
			pragma string
			want   string
		}{
			{"foreign_keys", "1"}, {"busy_timeout", "5000"}, {"journal_mode", "wal"}, {"synchronous", "2"}, {"application_id", fmt.Sprint(0x63776973)},
		} {
			var got string
			if err := c.QueryRowContext(ctx, "PRAGMA "+tc.pragma).Scan(&got); err != nil || got != tc.want {
				t.Errorf("connection %d: %s is %q, want %q (error %v)", i, tc.pragma, got, tc.want, err)
			}
		}
		// Without _dqs=0 a misspelt column would be read as text.
		if _, err := c.ExecContext(ctx, `SELECT "no such column"`); err == nil {
			t.Errorf("connection %d takes a quoted word for text", i)
		}
	}
}

// A misspelt setting is ignored by the driver; reading back notices.
func TestSettingsAreReadBack(t *testing.T) {
	const good = "_pragma=foreign_keys(1)&_pragma=busy_timeout(5000)&_pragma=synchronous(FULL)"
	dsn := "file:" + filepath.ToSlash(filepath.Join(t.TempDir(), "x.db")) + "?"
	if err := sqlstore.Connect(ctx, dsn+good, 5*time.Second); err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct{ right, wrong, word string }{
		{"foreign_keys(1)", "foreign_key(1)", "foreign_keys"},
		{"busy_timeout(5000)", "busytimeout(5000)", "busy_timeout"},
		{"synchronous(FULL)", "synchronous(NORMAL)", "synchronous"},
	} {
		err := sqlstore.Connect(ctx, dsn+strings.Replace(good, tc.right, tc.wrong, 1), 5*time.Second)
		if err == nil || !strings.Contains(err.Error(), tc.word) {
			t.Errorf("%s: error %v", tc.wrong, err)
		}
	}
}

func TestTablesAreStrict(t *testing.T) {
	s := newStore(t)
	rows, err := s.DB().Query(`SELECT name, strict FROM pragma_table_list WHERE schema = 'main' AND type = 'table' AND name NOT LIKE 'sqlite_%' AND name <> 'goose_db_version'`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	n := 0
	for rows.Next() {
		var name string
		var strict bool
		if err := rows.Scan(&name, &strict); err != nil {
			t.Fatal(err)
		}
		if !strict {
			t.Errorf("table %s is not strict", name)
		}
		n++
	}
	want := 0
	names, err := fs.Glob(sqlstore.Migrations(), "*.sql")
	for _, name := range names {
		want += strings.Count(readMigration(t, name), "\nCREATE TABLE ")
	}
	if n != want || n < 10 || err != nil || rows.Err() != nil {
		t.Errorf("%d tables, error %v", n, rows.Err())
	}
}

// Where write-ahead mode is refused (here by a file system layer of SQLite
// that has no shared memory), the catalog works and the user is told.
func TestWithoutWriteAhead(t *testing.T) {
	var notices []string
	path := filepath.Join(t.TempDir(), "catalog.db")
	s, err := sqlstore.OpenWith(ctx, path, sqlstore.Options{Create: true, Notice: func(n string) { notices = append(notices, n) }},
		map[string][]string{"vfs": {"unix-dotfile"}})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if len(notices) != 1 || !strings.Contains(notices[0], "write-ahead") || !strings.Contains(notices[0], path) {
		t.Errorf("notices %q", notices)
	}
	apply(t, s, invented(3))
	n := 0
	for _, err := range s.Measurements(ctx, 0) {
		if err != nil {
			t.Fatal(err)
		}
		n++
	}
	if n != 3 {
		t.Errorf("%d sessions", n)
	}
}

func TestLockedByAnother(t *testing.T) {
	s := openFile(t, newStore(t).Path(), sqlstore.Options{BusyTimeout: 50 * time.Millisecond})
	apply(t, s, invented(1))
	other := raw(t, s.Path())
	execSQL(t, other, `BEGIN IMMEDIATE`)
	wantKind(t, s.Apply(ctx, catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}}}), catalog.Busy, s.Path(), "another program")
	wantKind(t, s.SaveFit(ctx, catalog.StoredFit{Digest: "x"}), catalog.Busy)
	wantKind(t, s.SetTitle(ctx, "x"), catalog.Busy)
	// Readers are not stopped, nor is opening for reading or writing.
	if _, err := openFile(t, s.Path(), sqlstore.Options{ReadOnly: true}).Horn(ctx, "Alder"); err != nil {
		t.Error(err)
	}
	if _, err := openFile(t, s.Path(), sqlstore.Options{BusyTimeout: 50 * time.Millisecond}).Info(ctx); err != nil {
		t.Error(err)
	}
	execSQL(t, other, `ROLLBACK`)
	apply(t, s, catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}}})
}

func TestLockedWhole(t *testing.T) {
	s := newStore(t)
	path := s.Path()
	s.Close()
	other := raw(t, path)
	execSQL(t, other, `PRAGMA locking_mode = EXCLUSIVE`, `BEGIN IMMEDIATE`)
	_, err := sqlstore.Open(ctx, path, sqlstore.Options{BusyTimeout: 50 * time.Millisecond})
	wantKind(t, err, catalog.Busy, path)
}

// A writer waits for its turn within the busy timeout.
func TestWaitsForAnother(t *testing.T) {
	s := newStore(t)
	other := raw(t, s.Path())
	execSQL(t, other, `BEGIN IMMEDIATE`)
	done := make(chan error, 1)
	go func() { done <- s.Apply(ctx, catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}}}) }()
	time.Sleep(100 * time.Millisecond)
	execSQL(t, other, `ROLLBACK`)
	if err := <-done; err != nil {
		t.Error(err)
	}
}

// The wait for a lock ends with the context.
func TestWaitEndsWithContext(t *testing.T) {
	s := newStore(t)
	execSQL(t, raw(t, s.Path()), `BEGIN IMMEDIATE`)
	short, cancel := context.WithTimeout(ctx, 50*time.Millisecond)
	defer cancel()
	err := s.Apply(short, catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}}})
	if err == nil || short.Err() == nil || !strings.Contains(err.Error(), context.DeadlineExceeded.Error()) {
		t.Errorf("error %v", err)
	}
}

// openTogether has several make a catalog at once: they make one.
func openTogether(t *testing.T, address string) {
	t.Helper()
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			s, err := sqlstore.Open(ctx, address, sqlstore.Options{Create: true})
			if err != nil {
				t.Error(err)
				return
			}
			defer s.Close()
			if err := s.Apply(ctx, catalog.Changes{Horns: []catalog.Horn{{Label: fmt.Sprintf("Horn %d", i)}}}); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	s, err := sqlstore.Open(ctx, address, sqlstore.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if horns, err := s.Horns(ctx, true); err != nil || len(horns) != 8 {
		t.Errorf("%d horns, error %v", len(horns), err)
	}
}

func TestOpenTogether(t *testing.T) {
	path := filepath.Join(t.TempDir(), "catalog.db")
	openTogether(t, path)
	s := openFile(t, path, sqlstore.Options{})
	if findings, err := s.Integrity(ctx); err != nil || len(findings) > 0 {
		t.Errorf("findings %v, error %v", findings, err)
	}
}

func TestOpenForReading(t *testing.T) {
	w := newStore(t)
	apply(t, w, invented(2))
	s := openFile(t, w.Path(), sqlstore.Options{ReadOnly: true})
	for _, err := range []error{
		s.Apply(ctx, catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}}}),
		s.SetTitle(ctx, "x"), s.SaveFit(ctx, catalog.StoredFit{}),
	} {
		wantKind(t, err, catalog.Unavailable, "reading only", s.Path())
	}
	if info, err := s.Info(ctx); err != nil || info.Sessions != 2 {
		t.Errorf("%+v, error %v", info, err)
	}
	if findings, err := s.Integrity(ctx); err != nil || len(findings) > 0 {
		t.Errorf("findings %v, error %v", findings, err)
	}
	// The connection itself refuses too.
	if _, err := s.DB().Exec(`UPDATE catalog SET title = 'x'`); err == nil {
		t.Error("a write went through")
	}
	// A catalog open for reading can be copied, and sees what others write.
	if err := s.Backup(ctx, filepath.Join(t.TempDir(), "copy.db")); err != nil {
		t.Error(err)
	}
	apply(t, w, catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}}})
	if _, err := s.Horn(ctx, "Hazel"); err != nil {
		t.Error(err)
	}
}

func contextFor(d time.Duration) (context.Context, context.CancelFunc) {
	return context.WithTimeout(ctx, d)
}
