package sqlstore_test

import (
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/catalog/sqlstore"
)

// small is a fixed catalog file of a few sessions, closed.
func small(t *testing.T) string {
	t.Helper()
	s := newStore(t)
	apply(t, s, invented(40))
	if err := s.SaveFit(ctx, catalog.StoredFit{Digest: "x", Sections: map[string][]byte{"items": []byte("profiles")}}); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return s.Path()
}

func findings(t *testing.T, path string) []catalog.Finding {
	t.Helper()
	s := openFile(t, path, sqlstore.Options{})
	defer s.Close()
	out, err := s.Integrity(ctx)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Each way to tamper with a catalog is found, named, and has a command.
func TestIntegrityFinds(t *testing.T) {
	if f := findings(t, small(t)); len(f) > 0 {
		t.Fatalf("a sound catalog: %+v", f)
	}
	for _, tc := range []struct {
		name, kind, subject, repair string
		statements                  []string
	}{
		{"a reading changed", "changed-session", "visit 3", "session retract", []string{`UPDATE reading SET cents = cents + 1 WHERE session = 4 AND valves = 0 AND partial = 2`}},
		{"a reading removed", "changed-session", "visit 3", "session retract", []string{`DELETE FROM reading WHERE session = 4 AND valves = 0 AND partial = 2`}},
		{"a count changed", "changed-session", "visit 3", "session retract", []string{`UPDATE session SET reading_count = reading_count + 1 WHERE seq = 4`}},
		{"a session's temperature changed", "changed-session", "visit 0", "session retract", []string{`UPDATE session SET temperature_c = 30 WHERE seq = 1`}},
		{"a session's horn changed", "digest", "", "backup", []string{
			`INSERT INTO horn_revision SELECT 'x', 1, revised_at, contributor, retired, digest, 'Rowan', maker, model, serial, instrument, pitch_key, valves, receiver, bore_mm, throw1_mm, throw3_mm, loaner, owner, tags, bore_geometry, withheld, extra, arrived_at FROM horn_revision`,
			`INSERT INTO horn (id, number, label, folded, stated) VALUES ('x', 1, 'Rowan', 'rowan', 'Rowan')`, `UPDATE session SET horn = 'x' WHERE seq = 1`}},
		{"a link changed", "link", "Alder", "backup", []string{
			`INSERT INTO horn_revision SELECT 'x', 1, revised_at, contributor, retired, digest, 'Rowan', maker, model, serial, instrument, pitch_key, valves, receiver, bore_mm, throw1_mm, throw3_mm, loaner, owner, tags, bore_geometry, withheld, extra, arrived_at FROM horn_revision`,
			`INSERT INTO horn (id, number, label, folded, stated) VALUES ('x', 1, 'Rowan', 'rowan', 'Rowan')`,
			`INSERT INTO link SELECT 'horn', id, 'horn ' || id, 'x', 1, 0, '', 0, '[]', '', 0, NULL FROM horn WHERE id <> 'x'`}},
		{"a horn changed", "changed-horn", "Alder", "horn show", []string{`UPDATE horn_revision SET bore_mm = 12`}},
		{"a mouthpiece changed", "changed-mouthpiece", "Plover 16.2", "mouthpiece show", []string{`UPDATE mouthpiece_revision SET rim_mm = 17`}},
		{"a player changed", "changed-player", "reed-otter", "player show", []string{`UPDATE player_revision SET level = 'x'`}},
		{"the digest changed", "digest", "", "backup", []string{`UPDATE catalog SET digest = zeroblob(32)`}},
		{"a session removed", "damage", "", "backup", []string{`PRAGMA foreign_keys = 0`, `DELETE FROM session WHERE seq = 1`}},
		{"a horn removed", "orphan", "Alder", "backup", []string{`PRAGMA foreign_keys = 0`, `DELETE FROM horn`}},
		{"the fit changed", "fit", "", "centwise fit", []string{`UPDATE fit_section SET body = x'00'`}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			path := small(t)
			db := raw(t, path)
			execSQL(t, db, tc.statements...)
			db.Close()
			all := findings(t, path)
			for _, f := range all {
				if f.Kind == tc.kind && f.Subject+f.Session == tc.subject && strings.Contains(f.Repair, tc.repair) && f.Detail != "" && f.Certainty == 1 {
					return
				}
			}
			t.Errorf("not found among %+v", all)
		})
	}
}

// drop takes a section of a fit and makes nothing of it.
func drop(catalog.StoredFit, string, []byte) error { return nil }

func TestDamagedFit(t *testing.T) {
	path := small(t)
	s := openFile(t, path, sqlstore.Options{})
	sum := sha256.Sum256([]byte("profiles"))
	if _, err := s.DB().Exec(`UPDATE fit_section SET body = $1, checksum = $2 WHERE name = 'items'`, []byte("profilez"), sum[:]); err != nil {
		t.Fatal(err)
	}
	err := s.LoadFit(ctx, drop, "items")
	wantKind(t, err, catalog.NotFound, `"items"`, "damaged", "centwise fit")
	err = s.LoadFit(ctx, drop)
	wantKind(t, err, catalog.NotFound, "damaged")
}

// Pages overwritten by garbage give clear errors and findings, never a panic
// or silent nonsense.
func TestDamagedPages(t *testing.T) {
	original, err := os.ReadFile(small(t))
	if err != nil {
		t.Fatal(err)
	}
	const page = 4096
	dir, found := t.TempDir(), 0
	for n := 1; n < len(original)/page; n++ {
		b := append([]byte(nil), original...)
		for i := n * page; i < (n+1)*page; i++ {
			b[i] = byte(i*131 + n)
		}
		found += useDamaged(t, filepath.Join(dir, fmt.Sprintf("page%d.db", n)), b)
	}
	if pages := len(original)/page - 1; found < pages*9/10 {
		t.Errorf("damage found in %d of %d files", found, pages)
	}
	for _, size := range []int{50, 100, 600, page, 3 * page, len(original) - page, len(original) - 100} {
		if useDamaged(t, filepath.Join(dir, fmt.Sprintf("cut%d.db", size)), original[:size]) == 0 {
			t.Errorf("a file cut to %d bytes went unnoticed", size)
		}
	}
}

// useDamaged does everything with a damaged file. It gives 1 if the damage came
// to light.
func useDamaged(t *testing.T, path string, content []byte) int {
	t.Helper()
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	noticed := 0
	check := func(err error) {
		t.Helper()
		if err == nil {
			return
		}
		noticed = 1
		if k := catalog.KindOf(err); k != catalog.Unavailable && k != catalog.NotFound {
			t.Errorf("%s: kind %d: %v", filepath.Base(path), k, err)
		}
	}
	s, err := sqlstore.Open(ctx, path, sqlstore.Options{})
	check(err)
	if err != nil {
		return noticed
	}
	defer s.Close()
	list, err := s.Integrity(ctx)
	check(err)
	if len(list) > 0 {
		noticed = 1
	}
	for _, err := range s.Measurements(ctx, 0) {
		check(err)
	}
	_, err = s.Horn(ctx, "Alder")
	check(err)
	_, err = s.Session(ctx, "visit 3")
	check(err)
	err = s.LoadFit(ctx, drop)
	check(err)
	_, err = s.Info(ctx)
	check(err)
	check(s.Backup(ctx, path+".copy"))
	return noticed
}

func TestDiskFull(t *testing.T) {
	path := filepath.Join(t.TempDir(), "catalog.db")
	openFile(t, path, sqlstore.Options{Create: true}).Close()
	s, err := sqlstore.OpenWith(ctx, path, sqlstore.Options{}, map[string][]string{"_pragma": {"max_page_count(60)"}})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	apply(t, s, invented(1))
	before, err := s.Info(ctx)
	if err != nil {
		t.Fatal(err)
	}
	c := catalog.Changes{Players: []catalog.Player{{Label: "blue-kite"}}}
	set := invented(400)
	for i := range set.Sessions {
		x := &set.Sessions[i]
		h, m, p := gearOf(t, s)
		x.Name, x.Horn, x.Mouthpiece, x.Player = "more "+x.Name, h, m, p
		c.Sessions = append(c.Sessions, *x)
	}
	wantKind(t, s.Apply(ctx, c), catalog.Unavailable, "full", path)
	wantKind(t, s.SaveFit(ctx, catalog.StoredFit{Digest: "x", Sections: map[string][]byte{"a": make([]byte, 1<<20)}}), catalog.Unavailable, "full")
	after, err := s.Info(ctx)
	if err != nil || after.Digest != before.Digest || after.Players != before.Players || after.FitDigest != "" {
		t.Errorf("before %+v\nafter %+v\nerror %v", before, after, err)
	}
	if list, err := s.Integrity(ctx); err != nil || len(list) > 0 {
		t.Errorf("findings %v, error %v", list, err)
	}
}

func gearOf(t *testing.T, s *sqlstore.Store) (h, m, p catalog.ID) {
	t.Helper()
	horn, err := s.Horn(ctx, "Alder")
	if err != nil {
		t.Fatal(err)
	}
	mouthpiece, err := s.Mouthpiece(ctx, "Plover 16.2")
	if err != nil {
		t.Fatal(err)
	}
	player, err := s.Player(ctx, "reed-otter")
	if err != nil {
		t.Fatal(err)
	}
	return horn.ID, mouthpiece.ID, player.ID
}

func TestDiskFullWhenMaking(t *testing.T) {
	path := filepath.Join(t.TempDir(), "catalog.db")
	_, err := sqlstore.OpenWith(ctx, path, sqlstore.Options{Create: true}, map[string][]string{"_pragma": {"max_page_count(10)"}})
	wantKind(t, err, catalog.Unavailable, "full")
	// Once there is room, the half-made file becomes a catalog.
	apply(t, openFile(t, path, sqlstore.Options{Create: true}), invented(1))
}

func TestBackupIsComplete(t *testing.T) {
	s := newStore(t)
	c := invented(30)
	c.Sessions[2].Readings[0] = catalog.Reading{Slot: pitch.Slot{Partial: 12}, Repeat: 3, Cents: 333, Odd: true}
	apply(t, s, c)
	if err := s.SaveFit(ctx, catalog.StoredFit{Digest: "d", Version: 2, Sections: map[string][]byte{"items": []byte("x")}}); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(s.Path(), 0o640); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "copy.db")
	if err := s.Backup(ctx, path); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o640 {
		t.Errorf("mode %v, error %v", info.Mode(), err)
	}
	b := openFile(t, path, sqlstore.Options{})
	want, err := s.Info(ctx)
	if err != nil {
		t.Fatal(err)
	}
	got, err := b.Info(ctx)
	if err != nil {
		t.Fatal(err)
	}
	got.Path, got.Bytes = want.Path, want.Bytes
	if got != want {
		t.Errorf("got %+v\nwant %+v", got, want)
	}
	if list, err := b.Integrity(ctx); err != nil || len(list) > 0 {
		t.Errorf("findings %v, error %v", list, err)
	}
	apply(t, b, catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}}}) // it is a catalog of its own
}

func TestBackupWhileWriting(t *testing.T) {
	s := newStore(t)
	apply(t, s, invented(100))
	tx, err := s.DB().Begin() // a writer in the middle of its work
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback()
	if _, err := tx.Exec(`DELETE FROM reading`); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "copy.db")
	if err := s.Backup(ctx, path); err != nil {
		t.Fatal(err)
	}
	if list := findings(t, path); len(list) > 0 {
		t.Errorf("findings %v", list)
	}
}

// Of several backups to one path at once, one is written whole.
func TestBackupsTogether(t *testing.T) {
	s := newStore(t)
	apply(t, s, invented(5))
	path := filepath.Join(t.TempDir(), "copy.db")
	errs := make(chan error)
	for range 6 {
		go func() { errs <- s.Backup(ctx, path) }()
	}
	written := 0
	for range 6 {
		if err := <-errs; err == nil {
			written++
		} else {
			wantKind(t, err, catalog.Conflict, path)
		}
	}
	if written != 1 {
		t.Errorf("%d backups written to one path", written)
	}
	if list := findings(t, path); len(list) > 0 {
		t.Errorf("findings %v", list)
	}
}

// A catalog that cannot be made leaves no empty file behind.
func TestNothingLeftBehind(t *testing.T) {
	path := filepath.Join(t.TempDir(), "catalog.db")
	_, err := sqlstore.OpenWith(ctx, path, sqlstore.Options{Create: true}, map[string][]string{"_pragma": {"user_version(("}})
	if err == nil {
		t.Fatal("no error")
	}
	if _, err := os.Stat(path); !os.IsNotExist(err) {
		t.Errorf("a file is left: %v", err)
	}
}

func TestUnwritableFolder(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := sqlstore.Open(ctx, filepath.Join(file, "catalog.db"), sqlstore.Options{Create: true})
	wantKind(t, err, catalog.Unavailable, file)
	if b, err := os.ReadFile(file); err != nil || len(b) > 0 {
		t.Errorf("the file was altered: %q (error %v)", b, err)
	}
}
