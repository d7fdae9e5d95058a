// Package servertest runs pool servers in tests, and fills catalogs for them.
package servertest

import (
	"bytes"
	"context"
	"fmt"
	"net"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/catalog/pool"
	"centwise/cmd/centwise/server"
)

// Journal is a log that can be read while it is written.
type Journal struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (j *Journal) Write(p []byte) (int, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.b.Write(p)
}

func (j *Journal) String() string {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.b.String()
}

// Running is a server that runs until its test ends.
type Running struct {
	testing.TB
	URL     string // without a slash at its end
	Store   catalog.Store
	Journal *Journal
	Stop    func() error // finishes what runs

	ahead atomic.Int64 // of the clock, in nanoseconds
}

// Start serves a catalog on this machine; change, unless it is nil, alters how.
func Start(tb testing.TB, store catalog.Store, change func(*server.Config)) *Running {
	tb.Helper()
	r, c := prepare(tb, store, change)
	l, err := server.Listen(context.Background(), c)
	if err != nil {
		tb.Fatal(err)
	}
	url := server.URL(c, l)
	r.URL = url[:len(url)-1]
	r.serve(c, l)
	return r
}

// StartOn serves a catalog to those who come by a listener of the test's.
func StartOn(tb testing.TB, store catalog.Store, l net.Listener, change func(*server.Config)) *Running {
	tb.Helper()
	r, c := prepare(tb, store, change)
	r.serve(c, l)
	return r
}

func prepare(tb testing.TB, store catalog.Store, change func(*server.Config)) (*Running, server.Config) {
	r := &Running{TB: tb, Store: store, Journal: &Journal{}}
	c := server.Config{Address: "127.0.0.1:0", Rate: 1e6, Version: "test", Log: server.NewLog(r.Journal), Now: r.Now}
	if change != nil {
		change(&c)
	}
	return r, c
}

func (r *Running) serve(c server.Config, l net.Listener) {
	serving, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- server.New(r.Store, c).Serve(serving, l) }()
	r.Stop = sync.OnceValue(func() error { cancel(); return <-ended })
	r.Cleanup(func() {
		if err := r.Stop(); err != nil {
			r.Errorf("the server ended with %v", err)
		}
	})
}

// Now is the server's time.
func (r *Running) Now() time.Time { return time.Now().Add(time.Duration(r.ahead.Load())) }

// Pass moves the server's clock.
func (r *Running) Pass(d time.Duration) { r.ahead.Add(int64(d)) }

// Token makes a token; change, unless it is nil, alters it.
func (r *Running) Token(contributor string, scope catalog.Scope, change func(*catalog.Token)) catalog.Secret {
	r.Helper()
	secret := catalog.NewSecret()
	t := catalog.Token{ID: catalog.NewID(), Contributor: contributor, Scope: scope, Hash: secret.Hash(), Created: time.Now().Add(-time.Hour)}
	if change != nil {
		change(&t)
	}
	if err := r.Store.AddToken(context.Background(), t); err != nil {
		r.Fatal(err)
	}
	return secret
}

// Band adds to a catalog: a horn of reed-otter's, a mouthpiece of nobody's, and n
// sessions of 31 readings by turns of reed-otter and lamp-keeper.
func Band(tb testing.TB, s catalog.Store, n int) catalog.Changes {
	tb.Helper()
	c := catalog.Changes{
		Horns:       []catalog.Horn{{ID: catalog.NewID(), Label: "Alder", Revision: catalog.Revision{Contributor: "reed-otter"}}},
		Mouthpieces: []catalog.Mouthpiece{{ID: catalog.NewID(), Label: "Plover 16.2", Owner: "the band"}},
		Players:     []catalog.Player{{ID: catalog.NewID(), Label: "blue-kite", Level: "fourth year"}},
	}
	if _, err := s.Horn(context.Background(), "Alder"); err == nil { // not the first
		mark := " " + string(c.Horns[0].ID[20:])
		c.Horns[0].Label, c.Mouthpieces[0].Label, c.Players[0].Label = "Alder"+mark, "Plover 16.2"+mark, "blue-kite"+mark
	}
	for i := range n {
		x := catalog.Session{ID: catalog.NewID(), Name: fmt.Sprintf("%s-%d", c.Horns[0].ID[20:], i), Horn: c.Horns[0].ID, Mouthpiece: c.Mouthpieces[0].ID,
			Player: c.Players[0].ID, Contributor: []string{"reed-otter", "lamp-keeper"}[i%2], Remark: "cold hall"}
		for k, slot := range pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3) {
			x.Readings = append(x.Readings, catalog.Reading{Slot: slot, Cents: float64((i*7+k*3)%40) - 20})
		}
		c.Sessions = append(c.Sessions, x)
	}
	if err := s.Apply(context.Background(), c); err != nil {
		tb.Fatal(err)
	}
	return c
}

// Everything lets all leave, so that catalogs can be compared.
var Everything = pool.Privacy{Handles: true, Remarks: true, Owners: true}

// Bundle is what a catalog lets leave.
func Bundle(tb testing.TB, s catalog.Store, p pool.Privacy) []byte {
	tb.Helper()
	var b bytes.Buffer
	if _, err := pool.Export(context.Background(), s, &b, pool.ExportOptions{Privacy: p}); err != nil {
		tb.Fatal(err)
	}
	return b.Bytes()
}

// Records are the records of a bundle as text, each once.
func Records(tb testing.TB, bundle []byte) map[string]bool {
	tb.Helper()
	out := map[string]bool{}
	for p, err := range pool.Read(context.Background(), pool.File{Name: "bundle", Content: bytes.NewReader(bundle)}) {
		if err != nil {
			tb.Fatal(err)
		}
		body, err := p.Encode()
		if err != nil {
			tb.Fatal(err)
		}
		out[p.Kind()+" "+string(body)] = true
	}
	return out
}
