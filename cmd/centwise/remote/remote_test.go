package remote_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pool"
	"centwise/catalog/sqlstore"
	"centwise/catalog/sqlstore/pgtest"
	"centwise/cmd/centwise/remote"
	"centwise/cmd/centwise/server"
	"centwise/cmd/centwise/server/servertest"
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
	return openStore(tb, filepath.Join(tb.TempDir(), "catalog.db"))
}

func openStore(tb testing.TB, path string) *sqlstore.Store {
	tb.Helper()
	s := must(sqlstore.Open(ctx, path, sqlstore.Options{Create: true}))(tb)
	tb.Cleanup(func() { s.Close() })
	return s
}

// client talks to a server at once again after a failure.
func client(tb testing.TB, url string, token catalog.Secret) *remote.Client {
	tb.Helper()
	return must(remote.New(remote.Config{URL: url, Token: token, Version: "test",
		Wait: func(ctx context.Context, _ time.Duration) error { return ctx.Err() }}))(tb)
}

// same expects the records of two catalogs to be the same.
func same(tb testing.TB, a, b catalog.Store) {
	tb.Helper()
	x, y := servertest.Records(tb, servertest.Bundle(tb, a, servertest.Everything)), servertest.Records(tb, servertest.Bundle(tb, b, servertest.Everything))
	if maps.Equal(x, y) {
		return
	}
	for r := range x {
		if !y[r] {
			tb.Fatalf("%d and %d records; only the first has %.300s", len(x), len(y), r)
		}
	}
	tb.Fatalf("%d and %d records", len(x), len(y))
}

// Two who keep a pool push and pull by turns: everybody has everything in the end,
// and what was sent once is not sent again.
func TestKeepingUp(t *testing.T) {
	r := servertest.Start(t, newStore(t), func(c *server.Config) { c.Privacy = servertest.Everything })
	north, south := newStore(t), newStore(t)
	servertest.Band(t, north, 1200)
	servertest.Band(t, south, 5)
	a, b := client(t, r.URL, r.Token("lamp-keeper", catalog.ScopeCurate, nil)), client(t, r.URL+"/", r.Token("tide-table", catalog.ScopeCurate, nil))
	all := remote.Options{Privacy: servertest.Everything}
	push := func(c *remote.Client, s catalog.Store, sessions int) {
		t.Helper()
		got := must(c.Push(ctx, s, all))(t)
		if got.Sent.Sessions != sessions || len(got.HeldBack) != 0 || got.Anew {
			t.Errorf("pushed %+v, want %d sessions", got, sessions)
		}
	}
	pull := func(c *remote.Client, s catalog.Store, sessions int) {
		t.Helper()
		if got := must(c.Pull(ctx, s, all))(t); got.News.Sessions != sessions || got.Anew {
			t.Errorf("pulled %+v, want %d sessions", got, sessions)
		}
	}
	push(a, north, 1200)
	push(b, south, 5)
	pull(a, north, 5)
	pull(b, south, 1200)
	same(t, north, south)
	same(t, north, r.Store)
	end := must(r.Store.End(ctx))(t)
	push(a, north, 0)
	push(b, south, 0)
	if again := must(r.Store.End(ctx))(t); again != end {
		t.Error("pushing what came from there changed something")
	}

	// Changes travel: a retraction here, a revision there.
	x := must(south.Sessions(ctx, catalog.SessionFilter{Limit: 1}))(t)[0]
	if err := south.Apply(ctx, catalog.Changes{Retractions: []catalog.RetractionOf{{Session: x.ID, Retraction: catalog.Retraction{Reason: "wrong horn"}}}}); err != nil {
		t.Fatal(err)
	}
	h := must(north.Horns(ctx, false))(t)[0]
	h.Number, h.BoreMM = 2, 11.7
	if err := north.Apply(ctx, catalog.Changes{Horns: []catalog.Horn{h}}); err != nil {
		t.Fatal(err)
	}
	push(b, south, 0)
	push(a, north, 0)
	pull(a, north, 0)
	pull(b, south, 0)
	same(t, north, south)
	same(t, north, r.Store)
}

// A pool on PostgreSQL behaves alike.
func TestKeepingUpWithAServerDatabase(t *testing.T) {
	r := servertest.Start(t, openStore(t, pgtest.Start(t).Catalog(t)), func(c *server.Config) { c.Privacy = servertest.Everything })
	north, south := newStore(t), newStore(t)
	servertest.Band(t, north, 60)
	servertest.Band(t, south, 40)
	all := remote.Options{Privacy: servertest.Everything}
	a, b := client(t, r.URL, r.Token("lamp-keeper", catalog.ScopeCurate, nil)), client(t, r.URL, r.Token("reed-otter", catalog.ScopeContribute, nil))
	must(a.Push(ctx, north, all))(t)
	if got := must(b.Push(ctx, south, all))(t); got.Sent.Sessions != 20 || got.Others != 20 || len(got.HeldBack) != 0 {
		t.Errorf("pushed %+v", got)
	}
	must(a.Pull(ctx, north, all))(t)
	if got := must(a.Pull(ctx, north, all))(t); got.News != (wire.Counts{}) || got.Changed != (wire.Counts{}) {
		t.Errorf("pulled again %+v", got)
	}
	same(t, north, r.Store)
}

// What went and came is remembered with the records themselves: nothing is asked
// for twice.
func TestOnlyNewsGoesOut(t *testing.T) {
	r := servertest.Start(t, newStore(t), nil)
	north := newStore(t)
	servertest.Band(t, north, 20)
	c := client(t, r.URL, r.Token("lamp-keeper", catalog.ScopeCurate, nil))
	must(c.Push(ctx, north, remote.Options{}))(t)
	must(c.Pull(ctx, north, remote.Options{}))(t)
	posts := func() int { return strings.Count(r.Journal.String(), `"method":"POST"`) }
	before := posts()
	must(c.Push(ctx, north, remote.Options{}))(t)
	if n := posts() - before; n > 1 { // what others made of one's own comes back once
		t.Errorf("%d bundles went out", n)
	}
	before = posts()
	must(c.Push(ctx, north, remote.Options{}))(t)
	if n := posts() - before; n != 0 {
		t.Errorf("%d bundles went out", n)
	}
	// Under other terms all goes again; so it does on demand.
	must(c.Push(ctx, north, remote.Options{Privacy: pool.Privacy{Remarks: true}}))(t)
	if n := posts() - before; n != 1 {
		t.Errorf("%d bundles went out under other terms", n)
	}
	if x := must(r.Store.Sessions(ctx, catalog.SessionFilter{Limit: 1}))(t)[0]; x.Remark != "cold hall" {
		t.Errorf("remark %q", x.Remark)
	}
	must(c.Push(ctx, north, remote.Options{Privacy: pool.Privacy{Remarks: true}, Again: true}))(t)
	if n := posts() - before; n != 2 {
		t.Errorf("%d bundles went out again", n)
	}
}

// Handles, remarks and owner notes stay at home, but for the name of whoever
// contributes.
func TestWhatLeaves(t *testing.T) {
	r := servertest.Start(t, newStore(t), nil)
	north := newStore(t)
	servertest.Band(t, north, 6)
	p := catalog.Player{ID: catalog.NewID(), Label: "reed-otter", Level: "fourth year"} // measures too
	if err := north.Apply(ctx, catalog.Changes{Players: []catalog.Player{p}}); err != nil {
		t.Fatal(err)
	}
	c := client(t, r.URL, r.Token("reed-otter", catalog.ScopeContribute, nil))
	got := must(c.Push(ctx, north, remote.Options{}))(t)
	if got.Sent.Sessions != 3 || got.Others != 3 || len(got.HeldBack) != 0 || got.Contributor != "reed-otter" {
		t.Errorf("%+v", got)
	}
	text := strings.Join(slices.Collect(maps.Keys(servertest.Records(t, servertest.Bundle(t, r.Store, servertest.Everything)))), "\n")
	for word, there := range map[string]bool{"blue-kite": false, "cold hall": false, "the band": false, "lamp-keeper": false, "fourth year": false, `"label":"reed-otter"`: false, `"contributor":"reed-otter"`: true} {
		if strings.Contains(text, word) != there {
			t.Errorf("%q is there: %v", word, !there)
		}
	}
}

// A server that went back to a backup gets again what it lost, and gives again
// what it has got since.
func TestServerBackFromABackup(t *testing.T) {
	folder := t.TempDir()
	store := openStore(t, filepath.Join(folder, "first.db"))
	r := servertest.Start(t, store, nil)
	north := newStore(t)
	servertest.Band(t, north, 3)
	c := client(t, r.URL, r.Token("lamp-keeper", catalog.ScopeCurate, nil))
	must(c.Push(ctx, north, remote.Options{}))(t)
	if err := store.Backup(ctx, filepath.Join(folder, "backup.db")); err != nil {
		t.Fatal(err)
	}
	servertest.Band(t, north, 4)
	must(c.Push(ctx, north, remote.Options{}))(t)
	must(c.Pull(ctx, north, remote.Options{}))(t)
	address := strings.TrimPrefix(r.URL, "http://")
	if err := r.Stop(); err != nil {
		t.Fatal(err)
	}

	back := openStore(t, filepath.Join(folder, "backup.db"))
	servertest.Band(t, back, 2) // the same numbers for other changes
	servertest.Start(t, back, func(c *server.Config) { c.Address = address })
	got := must(c.Push(ctx, north, remote.Options{}))(t)
	if !got.Anew || got.Sent.Sessions != 4 {
		t.Errorf("pushed %+v", got)
	}
	pulled := must(c.Pull(ctx, north, remote.Options{}))(t)
	if pulled.Anew || pulled.News.Sessions != 2 {
		t.Errorf("pulled %+v", pulled)
	}
	if a, b := must(north.Info(ctx))(t).Sessions, must(back.Info(ctx))(t).Sessions; a != 9 || b != 9 {
		t.Errorf("%d and %d sessions", a, b)
	}
}

// A catalog that went back to a backup itself pulls again what it lost.
func TestClientBackFromABackup(t *testing.T) {
	r := servertest.Start(t, newStore(t), func(c *server.Config) { c.Privacy = servertest.Everything })
	folder := t.TempDir()
	north := openStore(t, filepath.Join(folder, "north.db"))
	servertest.Band(t, north, 3)
	c := client(t, r.URL, r.Token("lamp-keeper", catalog.ScopeCurate, nil))
	all := remote.Options{Privacy: servertest.Everything}
	must(c.Push(ctx, north, all))(t)
	must(c.Pull(ctx, north, all))(t)
	if err := north.Backup(ctx, filepath.Join(folder, "backup.db")); err != nil {
		t.Fatal(err)
	}
	servertest.Band(t, north, 4)
	servertest.Band(t, r.Store, 5)
	must(c.Push(ctx, north, all))(t)
	must(c.Pull(ctx, north, all))(t)
	back := openStore(t, filepath.Join(folder, "backup.db"))
	servertest.Band(t, back, 2)
	must(c.Push(ctx, back, all))(t)
	if got := must(c.Pull(ctx, back, all))(t); got.News.Sessions != 9 {
		t.Errorf("pulled %+v", got)
	}
	same(t, back, r.Store)
}

// Many push at once, and others pull meanwhile: nothing is lost.
func TestMany(t *testing.T) {
	r := servertest.Start(t, newStore(t), func(c *server.Config) { c.Privacy = servertest.Everything })
	const people = 6
	reader := newStore(t)
	pulling := client(t, r.URL, r.Token("harbour-shop", catalog.ScopeRead, nil))
	done := make(chan error, people)
	for i := range people {
		s := newStore(t)
		servertest.Band(t, s, 20)
		c := client(t, r.URL, r.Token(fmt.Sprint("person ", i), catalog.ScopeCurate, nil))
		go func() {
			_, err := c.Push(ctx, s, remote.Options{Privacy: servertest.Everything})
			done <- err
		}()
	}
	for range people {
		must(pulling.Pull(ctx, reader, remote.Options{}))(t)
		if err := <-done; err != nil {
			t.Fatal(err)
		}
	}
	must(pulling.Pull(ctx, reader, remote.Options{}))(t)
	if info := must(reader.Info(ctx))(t); info.Sessions != 20*people {
		t.Errorf("%d sessions", info.Sessions)
	}
	same(t, reader, r.Store)
}

func TestRefusals(t *testing.T) {
	r := servertest.Start(t, newStore(t), nil)
	north := newStore(t)
	servertest.Band(t, north, 2)
	before := must(north.End(ctx))(t)
	_, err := client(t, r.URL, catalog.NewSecret()).Push(ctx, north, remote.Options{})
	want(t, err, "refuses", "The token opens nothing", "ask whoever keeps the pool")
	_, err = client(t, r.URL, r.Token("harbour-shop", catalog.ScopeRead, nil)).Push(ctx, north, remote.Options{})
	want(t, err, "may only read")
	_, err = client(t, r.URL, r.Token("lamp-keeper", catalog.ScopeCurate, nil)).Push(ctx, r.Store, remote.Options{})
	want(t, err, "this very catalog")
	_, err = client(t, "http://127.0.0.1:1", catalog.NewSecret()).Pull(ctx, north, remote.Options{})
	want(t, err, "reaching http://127.0.0.1:1", "refused", "repeat the command")
	if end := must(north.End(ctx))(t); end != before {
		t.Error("the catalog changed")
	}
}

func want(tb testing.TB, err error, words ...string) {
	tb.Helper()
	if err == nil {
		tb.Fatal("no error")
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			tb.Errorf("error %q does not say %q", err, w)
		}
	}
}

// Servers that are none, or that want something else, are told apart from broken
// connections: nothing is merged, nothing tried for ever.
func TestOddServers(t *testing.T) {
	from := newStore(t)
	servertest.Band(t, from, 3)
	bundle := servertest.Bundle(t, from, pool.Privacy{})
	position := must(from.End(ctx))(t).String()
	status := func(w http.ResponseWriter) {
		w.Header().Set("Content-Type", wire.JSONType)
		fmt.Fprintf(w, `{"catalog":"there","contributor":"reed-otter","scope":"curate","position":%q,"position_known":true}`, position)
	}
	give := func(w http.ResponseWriter, body []byte, header ...string) {
		w.Header().Set(wire.PositionHeader, position)
		for i := 0; i < len(header); i += 2 {
			w.Header().Set(header[i], header[i+1])
		}
		w.Write(body)
	}
	flipped := bytes.Clone(bundle)
	flipped[len(flipped)-20] ^= 4
	for name, tc := range map[string]struct {
		answer func(w http.ResponseWriter, r *http.Request)
		words  []string
	}{
		"a web page": {func(w http.ResponseWriter, r *http.Request) { w.Write([]byte("<html>")) }, []string{"does not answer as a pool server does"}},
		"not found":  {func(w http.ResponseWriter, r *http.Request) { http.NotFound(w, r) }, []string{"refuses", "Not Found", "check the address"}},
		"a redirect": {func(w http.ResponseWriter, r *http.Request) {
			http.Redirect(w, r, "http://127.0.0.1:1/", http.StatusFound)
		}, []string{"points elsewhere"}},
		"always busy": {func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(503) }, []string{"refuses", "Service Unavailable", "later"}},
		"no position": {func(w http.ResponseWriter, r *http.Request) {
			if r.URL.Path == wire.StatusPath {
				status(w)
			}
		}, []string{"does not answer as a pool server does"}},
		"a damaged bundle": {func(w http.ResponseWriter, r *http.Request) {
			if r.URL.Path == wire.StatusPath {
				status(w)
			} else {
				give(w, flipped)
			}
		}, []string{"what came from http://127.0.0.1"}},
		"round in circles": {func(w http.ResponseWriter, r *http.Request) {
			if r.URL.Path == wire.StatusPath {
				status(w)
			} else {
				give(w, bundle, wire.MoreHeader, "true")
			}
		}, []string{"round in circles"}},
		"more than any part has": {func(w http.ResponseWriter, r *http.Request) {
			if r.URL.Path == wire.StatusPath {
				status(w)
			} else {
				give(w, make([]byte, wire.MaxBundleBytes+1))
			}
		}, []string{"more than any part has"}},
	} {
		s := httptest.NewServer(http.HandlerFunc(tc.answer))
		to := newStore(t)
		_, err := client(t, s.URL, catalog.NewSecret()).Pull(ctx, to, remote.Options{})
		if err == nil {
			t.Fatalf("%s: no error", name)
		}
		want(t, err, tc.words...)
		if n := must(to.Info(ctx))(t).Sessions; n != 0 && name != "round in circles" {
			t.Errorf("%s: %d sessions", name, n)
		}
		s.Close()
	}
}

func TestAddresses(t *testing.T) {
	for text, want := range map[string]string{
		"https://Pool.Example.org/": "https://pool.example.org", "https://pool.example.org:8417/brass/": "https://pool.example.org:8417/brass",
		"http://localhost:8417": "http://localhost:8417", "http://127.0.0.1": "http://127.0.0.1", "http://[::1]:8417/": "http://[::1]:8417",
		"http://pool.example.org": "", "ftp://localhost": "", "pool.example.org": "", "https://": "", "https://a:b@pool.example.org": "",
		"https://pool.example.org/?x=1": "", "https://pool.example.org/#x": "", "http://localhost.example": "", "": "", "https:pool": "",
	} {
		got, err := remote.Address(text)
		if got != want || (err == nil) != (want != "") || err != nil && catalog.KindOf(err) != catalog.Invalid {
			t.Errorf("%s: %q, error %v", text, got, err)
		}
	}
	_, err := remote.Address("https://x:" + catalog.NewSecret().Reveal() + "@pool.example.org")
	if err == nil || strings.Contains(err.Error(), "centwise_") {
		t.Errorf("error %v", err)
	}
	_, err = remote.New(remote.Config{URL: "https://pool.example.org", CAFile: "missing.pem"})
	want(t, err, "missing.pem", "--tls-ca")
}

// Waits grow, are spread, and end; a server that says how long to wait is obeyed.
func TestPauses(t *testing.T) {
	var waits []time.Duration
	var header string
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if header != "" {
			w.Header().Set("Retry-After", header)
		}
		w.WriteHeader(429)
	}))
	defer s.Close()
	c := must(remote.New(remote.Config{URL: s.URL, Token: catalog.NewSecret(), Wait: func(_ context.Context, d time.Duration) error {
		waits = append(waits, d)
		return nil
	}}))(t)
	_, err := c.Status(ctx)
	want(t, err, "Too Many Requests")
	if len(waits) != 8 {
		t.Fatalf("waited %v", waits)
	}
	for i, d := range waits {
		pause := min(500*time.Millisecond<<i, 30*time.Second)
		if d < pause/2 || d > pause*3/2 {
			t.Errorf("wait %d is %v, about %v was due", i, d, pause)
		}
	}
	waits, header = nil, "7"
	if _, err := c.Status(ctx); err == nil || waits[0] < 7*time.Second || waits[0] > 8*time.Second {
		t.Errorf("waited %v", waits)
	}
	waits, header = nil, "86400"
	if _, err := c.Status(ctx); err == nil || len(waits) != 0 {
		t.Errorf("waited %v", waits)
	}
	stopped, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := c.Status(stopped); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
}

// Parts are taken one after the other when somebody asks for so many only.
func TestFewParts(t *testing.T) {
	r := servertest.Start(t, newStore(t), nil)
	servertest.Band(t, r.Store, 2300)
	c := client(t, r.URL, r.Token("harbour-shop", catalog.ScopeRead, nil))
	to := newStore(t)
	for _, more := range []bool{true, true, false} {
		if got := must(c.Pull(ctx, to, remote.Options{Parts: 1}))(t); got.More != more || got.News.Sessions == 0 {
			t.Errorf("%+v", got)
		}
	}
	if n := must(to.Info(ctx))(t).Sessions; n != 2300 {
		t.Errorf("%d sessions", n)
	}
}
