package main

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"centwise/catalog/sqlstore"
	"centwise/match/fit/simulate"
)

// poolKilling is a catalog with something to exchange.
type poolKilling struct {
	t      *testing.T
	folder string
}

func newPoolKilling(t *testing.T) *poolKilling {
	k := &poolKilling{t, t.TempDir()}
	s, err := sqlstore.Open(context.Background(), filepath.Join(k.folder, "full.db"), sqlstore.Options{Create: true})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for c := range simulate.Generate(simulate.Harder, simulate.Small, 1).Changes(1000) {
		if err := s.Apply(context.Background(), c); err != nil {
			t.Fatal(err)
		}
	}
	return k
}

func (k *poolKilling) command(args ...string) *exec.Cmd {
	cmd := exec.Command("centwise", args...)
	cmd.Dir = k.folder
	cmd.Env = []string{"HOME=" + k.folder, "PATH=" + os.Getenv("PATH")}
	return cmd
}

// sessions counts those of a catalog that must be sound; -1 if there is none.
func (k *poolKilling) sessions(name string) int {
	k.t.Helper()
	if _, err := os.Stat(filepath.Join(k.folder, name)); os.IsNotExist(err) {
		return -1
	}
	s, err := sqlstore.Open(context.Background(), filepath.Join(k.folder, name), sqlstore.Options{})
	if err != nil {
		k.t.Fatal(err)
	}
	defer s.Close()
	if findings, err := s.Integrity(context.Background()); err != nil || len(findings) > 0 {
		k.t.Fatalf("findings %v, error %v", findings, err)
	}
	info, err := s.Info(context.Background())
	if err != nil {
		k.t.Fatal(err)
	}
	return info.Sessions
}

// killedAt runs a command and kills it after so long; done says that it was
// faster.
func (k *poolKilling) killedAt(wait time.Duration, args ...string) (done bool) {
	k.t.Helper()
	cmd := k.command(args...)
	if err := cmd.Start(); err != nil {
		k.t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	select {
	case err := <-ended:
		if err != nil {
			k.t.Fatal(err)
		}
		return true
	case <-time.After(wait):
		cmd.Process.Kill()
		return <-ended == nil
	}
}

// Killed anywhere in an export or a merge: the bundle is whole or not there, the
// catalog holds all of the bundle or nothing, what was acknowledged is there,
// and what is begun again ends well.
func TestExportAndMergeKilled(t *testing.T) {
	k := newPoolKilling(t)
	all := k.sessions("full.db")
	full := k.command("pool", "export", "full.gz", "--catalog", "full.db")
	if out, err := full.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	wait := 30 * time.Millisecond
	exported, merged := 0, 0
	for range 7 {
		os.Remove(filepath.Join(k.folder, "some.gz"))
		done := k.killedAt(wait, "pool", "export", "some.gz", "--catalog", "full.db")
		if _, err := os.Stat(filepath.Join(k.folder, "some.gz")); err == nil {
			exported++
			if out, err := k.command("pool", "merge", "some.gz", "--catalog", "full.db").CombinedOutput(); err != nil {
				t.Fatalf("a bundle of a killed export is not whole: %v: %s", err, out)
			}
		} else if done {
			t.Fatal("the export was acknowledged, but there is no bundle")
		}
		for _, suffix := range []string{"", "-wal", "-shm"} {
			os.Remove(filepath.Join(k.folder, "empty.db"+suffix))
		}
		if out, err := k.command("import", oneSession(t, k.folder), "--create", "--catalog", "empty.db").CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		done = k.killedAt(wait, "pool", "merge", "full.gz", "--catalog", "empty.db")
		switch got := k.sessions("empty.db"); {
		case got == all+1:
			merged++
		case got != 1 || done:
			t.Fatalf("after %v (acknowledged: %v) there are %d sessions of %d", wait, done, got, all+1)
		}
		wait *= 2
	}
	if out, err := k.command("pool", "merge", "full.gz", "--catalog", "empty.db").CombinedOutput(); err != nil || k.sessions("empty.db") != all+1 {
		t.Errorf("merging after being killed: %v: %s", err, out)
	}
	t.Logf("of 7 exports %d got through, of 7 merges %d", exported, merged)
}

// oneSession writes a sheet with one session.
func oneSession(t *testing.T, folder string) string {
	t.Helper()
	text := "session,player,horn,mouthpiece,note,cents\nmon-1,reed-otter,Alder,Plover 16.2,C4,-3\n"
	if err := os.WriteFile(filepath.Join(folder, "one.csv"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return "one.csv"
}
