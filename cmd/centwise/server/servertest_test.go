package server_test

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/catalog/pool"
	"centwise/catalog/sqlstore"
	"centwise/cmd/centwise/server"
	"centwise/cmd/centwise/wire"
)

var ctx = context.Background()

func must[T any](x T, err error) func(testing.TB) T {
	return func(tb testing.TB) T {
		tb.Helper()
		if err != nil {
			tb.Fatal(err)
		}
		return x
	}
}

func newStore(tb testing.TB) *sqlstore.Store {
	tb.Helper()
	s := must(sqlstore.Open(ctx, filepath.Join(tb.TempDir(), "catalog.db"), sqlstore.Options{Create: true}))(tb)
	tb.Cleanup(func() { s.Close() })
	return s
}

// journal is a log that can be read while it is written.
type journal struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (j *journal) Write(p []byte) (int, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.b.Write(p)
}

func (j *journal) String() string {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.b.String()
}

// running is a server that listens on this machine until the test ends.
type running struct {
	testing.TB
	url   string
	store catalog.Store
	log   *journal
	stop  func() error // finishes what runs
	ahead atomic.Int64 // of the clock, in nanoseconds
}

// pass moves the server's clock.
func (r *running) pass(d time.Duration) { r.ahead.Add(int64(d)) }

func (r *running) now() time.Time { return time.Now().Add(time.Duration(r.ahead.Load())) }

// start serves a catalog; change alters how.
func start(tb testing.TB, store catalog.Store, change func(*server.Config)) *running {
	tb.Helper()
	r := &running{TB: tb, store: store, log: &journal{}}
	c := server.Config{Address: "127.0.0.1:0", Rate: 1e6, Version: "test", Log: server.NewLog(r.log), Now: r.now}
	if change != nil {
		change(&c)
	}
	l := must(server.Listen(ctx, c))(tb)
	r.url = server.URL(c, l)
	r.url = r.url[:len(r.url)-1]
	r.serve(c, l)
	return r
}

func (r *running) serve(c server.Config, l net.Listener) {
	serving, cancel := context.WithCancel(ctx)
	ended := make(chan error, 1)
	go func() { ended <- server.New(r.store, c).Serve(serving, l) }()
	r.stop = sync.OnceValue(func() error { cancel(); return <-ended })
	r.Cleanup(func() {
		if err := r.stop(); err != nil {
			r.Errorf("the server ended with %v", err)
		}
	})
}

// token makes a token; change alters it.
func (r *running) token(contributor string, scope catalog.Scope, change func(*catalog.Token)) catalog.Secret {
	r.Helper()
	secret := catalog.NewSecret()
	t := catalog.Token{ID: catalog.NewID(), Contributor: contributor, Scope: scope, Hash: secret.Hash(), Created: time.Now().Add(-time.Hour)}
	if change != nil {
		change(&t)
	}
	if err := r.store.AddToken(ctx, t); err != nil {
		r.Fatal(err)
	}
	return secret
}

// ask makes a request and gives the answer with its body.
func (r *running) ask(method, path string, body []byte, header ...string) (*http.Response, []byte) {
	r.Helper()
	var in io.Reader
	if body != nil {
		in = bytes.NewReader(body)
	}
	q := must(http.NewRequest(method, r.url+path, in))(r)
	for i := 0; i < len(header); i += 2 {
		if header[i] == "Host" {
			q.Host = header[i+1]
		}
		q.Header.Set(header[i], header[i+1])
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	defer client.CloseIdleConnections()
	answer := must(client.Do(q))(r)
	defer answer.Body.Close()
	return answer, must(io.ReadAll(answer.Body))(r)
}

func bearer(s catalog.Secret) []string { return []string{"Authorization", "Bearer " + s.Reveal()} }

// problem expects an answer that refuses with a problem of a kind.
func (r *running) problem(answer *http.Response, body []byte, status int, kind string) wire.Problem {
	r.Helper()
	var p wire.Problem
	if answer.Header.Get("Content-Type") != wire.ProblemType || json.Unmarshal(body, &p) != nil {
		r.Errorf("status %d with %s: %.200s", answer.StatusCode, answer.Header.Get("Content-Type"), body)
		return p
	}
	if answer.StatusCode != status || p.Status != status || p.Type != "/problems#"+kind || p.Title == "" || p.Request == "" {
		r.Errorf("status %d, %+v; want %d, %s", answer.StatusCode, p, status, kind)
	}
	return p
}

// band fills a catalog: n sessions by turns of two contributors.
func band(tb testing.TB, s catalog.Store, n int) catalog.Changes {
	tb.Helper()
	c := catalog.Changes{
		Horns:       []catalog.Horn{{ID: catalog.NewID(), Label: "Alder", Revision: catalog.Revision{Contributor: "reed-otter"}}},
		Mouthpieces: []catalog.Mouthpiece{{ID: catalog.NewID(), Label: "Plover 16.2", Owner: "the band"}},
		Players:     []catalog.Player{{ID: catalog.NewID(), Label: "blue-kite", Level: "fourth year"}},
	}
	for i := range n {
		x := catalog.Session{ID: catalog.NewID(), Name: "s" + string(rune('a'+i%26)) + string(c.Horns[0].ID[20:]) + string(rune('a'+i/26%26)) + string(rune('a'+i/676)), Horn: c.Horns[0].ID, Mouthpiece: c.Mouthpieces[0].ID, Player: c.Players[0].ID,
			Contributor: []string{"reed-otter", "lamp-keeper"}[i%2], Remark: "cold hall"}
		for k, slot := range pitch.UsualSlots(pitch.RangeLow, pitch.RangeHigh, 3) {
			x.Readings = append(x.Readings, catalog.Reading{Slot: slot, Cents: float64((i*7+k*3)%40) - 20})
		}
		c.Sessions = append(c.Sessions, x)
	}
	if err := s.Apply(ctx, c); err != nil {
		tb.Fatal(err)
	}
	return c
}

func bundleOf(tb testing.TB, s catalog.Store, p pool.Privacy) []byte {
	tb.Helper()
	var b bytes.Buffer
	must(pool.Export(ctx, s, &b, pool.ExportOptions{Privacy: p}))(tb)
	return b.Bytes()
}

var everything = pool.Privacy{Handles: true, Remarks: true, Owners: true}

// dial opens a connection by hand.
func (r *running) dial() net.Conn {
	r.Helper()
	c := must(net.Dial("tcp", r.url[len("http://"):]))(r)
	r.Cleanup(func() { c.Close() })
	return c
}
