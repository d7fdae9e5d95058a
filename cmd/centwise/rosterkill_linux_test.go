package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
)

// A commit that is killed, sooner or later, lent everything or nothing, and the
// next one lends the rest.
func TestRosterCommitKilled(t *testing.T) {
	const students = 40
	folder := t.TempDir()
	path := filepath.Join(folder, "catalog.db")
	store, err := sqlstore.Open(context.Background(), path, sqlstore.Options{Create: true})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	var c catalog.Changes
	plan := "student,horn\n"
	for i := range students {
		c.Horns = append(c.Horns, catalog.Horn{Label: fmt.Sprintf("Horn %d", i)})
		c.Players = append(c.Players, catalog.Player{Label: fmt.Sprintf("student-%d", i)})
		plan += fmt.Sprintf("student-%d,Horn %d\n", i, i)
	}
	if err := store.Apply(context.Background(), c); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(folder, "plan.csv")
	if err := os.WriteFile(file, []byte(plan), 0o644); err != nil {
		t.Fatal(err)
	}
	commit := func() *exec.Cmd {
		cmd := exec.Command("centwise", "roster", "commit", file)
		cmd.Env = []string{"HOME=" + folder, "PATH=" + os.Getenv("PATH"), "CENTWISE_CATALOG=" + path}
		return cmd
	}
	out := func() int {
		loans, err := store.Loans(context.Background(), catalog.LoanFilter{Out: true})
		if err != nil {
			t.Fatal(err)
		}
		return len(loans)
	}
	for wait := range 8 {
		cmd := commit()
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(wait) * 6 * time.Millisecond)
		cmd.Process.Kill()
		cmd.Wait()
		if n := out(); n != 0 && n != students {
			t.Fatalf("killed after %d ms: %d of %d loans are written", 6*wait, n, students)
		}
	}
	if text, err := commit().CombinedOutput(); err != nil || out() != students {
		t.Fatalf("%d loans, error %v: %s", out(), err, text)
	}
	if findings, err := store.Integrity(context.Background()); err != nil || len(findings) > 0 {
		t.Errorf("findings %v, error %v", findings, err)
	}
}
