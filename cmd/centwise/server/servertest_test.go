package server_test

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"testing"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
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
	tb.Helper()
	s := must(sqlstore.Open(ctx, filepath.Join(tb.TempDir(), "catalog.db"), sqlstore.Options{Create: true}))(tb)
	tb.Cleanup(func() { s.Close() })
	return s
}

// running is a server to ask.
type running struct{ *servertest.Running }

func start(tb testing.TB, store catalog.Store, change func(*server.Config)) running {
	tb.Helper()
	return running{servertest.Start(tb, store, change)}
}

// ask makes a request and gives the answer with its body.
func (r running) ask(method, path string, body []byte, header ...string) (*http.Response, []byte) {
	r.Helper()
	var in io.Reader
	if body != nil {
		in = bytes.NewReader(body)
	}
	q := must(http.NewRequest(method, r.URL+path, in))(r)
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
func (r running) problem(answer *http.Response, body []byte, status int, kind string) wire.Problem {
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

// dial opens a connection by hand.
func (r running) dial() net.Conn {
	r.Helper()
	c := must(net.Dial("tcp", r.URL[len("http://"):]))(r)
	r.Cleanup(func() { c.Close() })
	return c
}
