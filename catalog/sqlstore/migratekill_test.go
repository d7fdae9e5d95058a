package sqlstore_test

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
)

// slowStep is a migration that takes a while and touches every session.
const slowStep = `ALTER TABLE session ADD COLUMN hall TEXT NOT NULL DEFAULT 'unknown';
CREATE TABLE work AS WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n WHERE x < 100000) SELECT x FROM n;
UPDATE session SET hall = 'harbour hall';`

// bringUpToDate says when it begins, and what came of it.
func bringUpToDate(path string) {
	next, err := withLater(sqlstore.Migrations(), slowStep)
	if err == nil {
		fmt.Println("begins")
		var s *sqlstore.Store
		if s, err = sqlstore.OpenMigrated(ctx, path, sqlstore.Options{}, next); err == nil {
			fmt.Println("done")
			s.Close()
		}
	}
	if err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
}

// Killed anywhere while it is brought up to date, a catalog is as it was or as it
// is to be, the copy made beforehand is whole if it is there, and the next one
// who opens it finishes.
func TestKilledWhileBroughtUpToDate(t *testing.T) {
	next := later(t, slowStep)
	path := small(t)
	was := openFile(t, path, sqlstore.Options{})
	info, err := was.Info(ctx)
	if err != nil {
		t.Fatal(err)
	}
	was.Close()
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	finished := 0
	for wait := time.Millisecond; wait < 300*time.Millisecond; wait = wait*3/2 + time.Millisecond {
		here := filepath.Join(t.TempDir(), "catalog.db")
		if err := os.WriteFile(here, content, 0o600); err != nil {
			t.Fatal(err)
		}
		p := startTask(t, "migrate", here)
		p.lines(t, 1)
		time.Sleep(wait)
		p.cmd.Process.Kill()
		acknowledged := p.out.Scan()
		p.cmd.Wait()
		for _, copied := range copiesOf(t, here) {
			c := openFile(t, copied, sqlstore.Options{ReadOnly: true})
			if got, err := c.Info(ctx); err != nil || got.Digest != info.Digest {
				t.Errorf("after %v the copy holds %+v, error %v", wait, got, err)
			}
			c.Close()
		}
		if s, err := sqlstore.Open(ctx, here, sqlstore.Options{}); err == nil {
			s.Close()
			if acknowledged {
				t.Errorf("after %v the step was acknowledged, but is not there", wait)
			}
		} else if finished++; catalog.KindOf(err) != catalog.Unavailable {
			t.Errorf("after %v: %v", wait, err)
		}
		s, err := sqlstore.OpenMigrated(ctx, here, sqlstore.Options{}, next)
		if err != nil {
			t.Fatalf("after %v: %v", wait, err)
		}
		var halls int
		if err := s.DB().QueryRow(`SELECT COUNT(*) FROM session WHERE hall = 'harbour hall'`).Scan(&halls); err != nil || halls != info.Sessions {
			t.Errorf("after %v %d sessions of %d were changed, error %v", wait, halls, info.Sessions, err)
		}
		if found, err := s.Integrity(ctx); err != nil || len(found) > 0 {
			t.Errorf("after %v: findings %v, error %v", wait, found, err)
		}
		s.Close()
	}
	t.Logf("%d were finished before they were killed", finished)
}
