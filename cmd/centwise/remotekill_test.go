package main

import (
	"bytes"
	"context"
	"maps"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"centwise/catalog/sqlstore"
	"centwise/cmd/centwise/server/servertest"
)

// records are those of a catalog that must be sound, as text, each once.
func (k *poolKilling) records(name string) map[string]bool {
	k.t.Helper()
	s, err := sqlstore.Open(context.Background(), filepath.Join(k.folder, name), sqlstore.Options{})
	if err != nil {
		k.t.Fatal(err)
	}
	defer s.Close()
	if findings, err := s.Integrity(context.Background()); err != nil || len(findings) > 0 {
		k.t.Fatalf("%s: findings %v, error %v", name, findings, err)
	}
	return servertest.Records(k.t, servertest.Bundle(k.t, s, servertest.Everything))
}

// more adds sessions.
func (k *poolKilling) more(sessions int) {
	k.t.Helper()
	s, err := sqlstore.Open(context.Background(), filepath.Join(k.folder, "full.db"), sqlstore.Options{})
	if err != nil {
		k.t.Fatal(err)
	}
	defer s.Close()
	servertest.Band(k.t, s, sessions)
}

// must runs a command that must end well.
func (k *poolKilling) must(args ...string) string {
	k.t.Helper()
	var out, talk bytes.Buffer
	cmd := k.command(args...)
	cmd.Stdout, cmd.Stderr = &out, &talk
	if err := cmd.Run(); err != nil {
		k.t.Fatalf("%v: %v: %s", args, err, &talk)
	}
	return out.String()
}

// serve runs a server on an address.
func (k *poolKilling) serve(address string) *poolServer {
	k.t.Helper()
	for n := 0; ; n++ {
		s, err := startPoolServer(k.command("pool", "serve", "--catalog", "pool.db", "--listen", address, "--handles", "--remarks", "--owner-notes", "--rate", "1000"))
		if err == nil {
			return s
		}
		if n == 50 {
			k.t.Fatal(err)
		}
		time.Sleep(100 * time.Millisecond) // the port is not free yet
	}
}

// Server and client are killed anywhere in pushes and pulls, again and again. Both
// catalogs are sound after each time, nothing that was acknowledged is lost, and
// once both are left alone they have the same records, each once.
func TestPushAndPullKilled(t *testing.T) {
	k := newPoolKilling(t)
	k.more(900) // more than goes in one part
	k.must("pool", "token", "add", "lamp-keeper", "--scope", "curate", "--output", "keeper.token", "--catalog", "pool.db")
	s := k.serve("127.0.0.1:0")
	address := strings.TrimPrefix(s.url, "http://")
	defer func() { s.kill() }()
	push := []string{"pool", "push", s.url, "--token-file", "keeper.token", "--handles", "--remarks", "--owner-notes", "--catalog", "full.db"}
	pull := []string{"pool", "pull", s.url, "--token-file", "keeper.token", "--catalog", "other.db"}
	k.must("pool", "pull", s.url, "--token-file", "keeper.token", "--catalog", "other.db") // so that the catalog is there
	rng := rand.New(rand.NewPCG(3, 5))
	have := 0
	for round := range 8 {
		args := push
		if round%2 == 1 {
			args = pull
		}
		cmd := k.command(args...)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		ended := make(chan error, 1)
		go func() { ended <- cmd.Wait() }()
		// The server dies first, or the client, or one after the other.
		for range 1 + rng.IntN(2) {
			time.Sleep(time.Duration(rng.Int64N(int64(700 * time.Millisecond))))
			if rng.IntN(2) == 0 {
				cmd.Process.Kill()
				continue
			}
			s.kill()
			pooled := len(k.records("pool.db"))
			if pooled < have {
				t.Fatalf("the pool had %d records and has %d", have, pooled)
			}
			have = pooled
			s = k.serve(address)
		}
		if rng.IntN(2) == 0 {
			cmd.Process.Kill()
		}
		killed := false
		select {
		case <-ended:
		case <-time.After(time.Minute):
			killed = true
			cmd.Process.Kill()
			<-ended
		}
		if killed {
			t.Fatalf("%v did not come through when the server was back", args)
		}
		k.records("full.db")
		k.records("other.db")
	}
	k.must(push...)
	k.must(pull...)
	want, pooled, got := k.records("full.db"), k.records("pool.db"), k.records("other.db")
	if !maps.Equal(want, pooled) || !maps.Equal(want, got) || len(want) < 1100 {
		t.Errorf("records: %d here, %d in the pool, %d with the other", len(want), len(pooled), len(got))
	}
	if err := s.stop(); err != nil {
		t.Error(err)
	}
	s = k.serve("127.0.0.1:0")
	if strings.Contains(s.log.String(), "centwise_") {
		t.Error("a token is in the log")
	}
}
