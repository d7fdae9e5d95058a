package server_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/cmd/centwise/server"
	"centwise/cmd/centwise/server/servertest"
	"centwise/cmd/centwise/wire"
)

// bomb unpacks to far more than it is.
func bomb(tb testing.TB) []byte {
	tb.Helper()
	var b bytes.Buffer
	gz := gzip.NewWriter(&b)
	if _, err := fmt.Fprintln(gz, `{"bundle":"centwise","format":1}`); err != nil {
		tb.Fatal(err)
	}
	line := append(bytes.Repeat([]byte(" "), 8<<20), '\n')
	for range 13 {
		if _, err := gz.Write(line); err != nil {
			tb.Fatal(err)
		}
	}
	if err := gz.Close(); err != nil {
		tb.Fatal(err)
	}
	return b.Bytes()
}

// Whoever sends slowly is cut off, and keeps nobody waiting meanwhile.
func TestSlowSenders(t *testing.T) {
	r := start(t, newStore(t), func(c *server.Config) { c.Grace = 300 * time.Millisecond })
	keeper := r.Token("lamp-keeper", catalog.ScopeCurate, nil)
	from := newStore(t)
	servertest.Band(t, from, 2)
	conns := make([]net.Conn, 3)
	for i := range conns {
		conns[i] = r.dial()
		fmt.Fprintf(conns[i], "POST %s HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer %s\r\nContent-Type: %s\r\nContent-Length: 100000\r\n\r\n", wire.RecordsPath, keeper.Reveal(), wire.BundleType)
	}
	var dripping sync.WaitGroup
	for _, c := range conns {
		dripping.Go(func() {
			for range 100 {
				if _, err := c.Write([]byte("x")); err != nil {
					return
				}
				time.Sleep(10 * time.Millisecond)
			}
		})
	}
	if got := r.receipt(r.post(keeper, servertest.Bundle(t, from, servertest.Everything))); got.New.Sessions != 2 {
		t.Errorf("%+v", got)
	}
	dripping.Wait()
	r.until("end of slow senders", func() bool { return strings.Count(r.Journal.String(), `"status":408`) == len(conns) })
	if n := strings.Count(r.Journal.String(), `"problem":"too-slow"`); n != len(conns) {
		t.Errorf("%d were too slow", n)
	}
}

// narrow is a way to the server that holds nothing: what one end writes, the other
// end reads.
type narrow struct {
	ends   chan net.Conn
	closed chan struct{}
}

func (n *narrow) Accept() (net.Conn, error) {
	select {
	case c := <-n.ends:
		return c, nil
	case <-n.closed:
		return nil, net.ErrClosed
	}
}

func (n *narrow) Close() error   { close(n.closed); return nil }
func (n *narrow) Addr() net.Addr { return &net.TCPAddr{} }

// Whoever takes an answer slowly is cut off, so that it is not kept for long.
func TestSlowReceivers(t *testing.T) {
	l := &narrow{make(chan net.Conn), make(chan struct{})}
	r := servertest.StartOn(t, newStore(t), l, func(c *server.Config) { c.Grace = 200 * time.Millisecond })
	servertest.Band(t, r.Store, 100)
	secret := r.Token("harbour-shop", catalog.ScopeRead, nil)
	here, there := net.Pipe()
	defer here.Close()
	l.ends <- there
	fmt.Fprintf(here, "GET %s HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer %s\r\n\r\n", wire.RecordsPath, secret.Reveal())
	var took int
	for p := make([]byte, 10); ; time.Sleep(20 * time.Millisecond) {
		n, err := here.Read(p)
		if took += n; err != nil {
			break
		}
	}
	if err := r.Stop(); err != nil {
		t.Error(err)
	}
	if took > 2000 || !strings.Contains(r.Journal.String(), "too-slow") {
		t.Errorf("%d bytes were taken: %s", took, r.Journal)
	}
}

// Rates are bounded a token and an address, and each says when to come again.
func TestRates(t *testing.T) {
	r := start(t, newStore(t), func(c *server.Config) {
		stopped := time.Now()
		inner := c.Now
		c.Rate, c.Now = 2, func() time.Time { return stopped.Add(time.Until(inner()).Round(100 * time.Millisecond)) }
	})
	pass := r.Pass
	one, two := r.Token("reed-otter", catalog.ScopeRead, nil), r.Token("lamp-keeper", catalog.ScopeRead, nil)
	ask := func(s catalog.Secret) *http.Response {
		answer, body := r.ask("GET", wire.StatusPath, nil, bearer(s)...)
		if answer.StatusCode == 429 {
			r.problem(answer, body, 429, "too-many")
			if answer.Header.Get("Retry-After") == "" {
				t.Error("it does not say when to come again")
			}
		}
		return answer
	}
	n := 0
	for n = 0; n < 50 && ask(one).StatusCode == 200; n++ {
	}
	if n != 7 {
		t.Errorf("%d requests with one token", n)
	}
	if ask(two).StatusCode != 200 {
		t.Error("another token is slowed down too")
	}
	pass(500 * time.Millisecond)
	if ask(one).StatusCode != 200 || ask(one).StatusCode != 429 {
		t.Error("the allowance does not come back at its rate")
	}
	for n = 0; n < 50; n++ {
		if answer, _ := r.ask("GET", wire.HealthPath, nil); answer.StatusCode == 429 {
			break
		}
	}
	if n == 50 {
		t.Error("the address is not slowed down")
	}
	pass(time.Hour)
	for n = 0; n < 50; n++ {
		if answer, _ := r.ask("GET", wire.StatusPath, nil, bearer(catalog.NewSecret())...); answer.StatusCode == 429 {
			break
		}
		pass(time.Second)
	}
	if n != 10+1 {
		t.Errorf("%d wrong tokens were tried", n)
	}
	if ask(two).StatusCode != 200 {
		t.Error("a good token from the same address is refused")
	}
}

// Behind a proxy requests come from where the nearest proxy says; else nobody is
// believed.
func TestForwardedAddresses(t *testing.T) {
	for _, behind := range []bool{false, true} {
		r := start(t, newStore(t), func(c *server.Config) { c.BehindProxy = behind })
		for _, tc := range []struct{ said, want string }{
			{"203.0.113.7", "203.0.113.7"}, {"198.51.100.1, 203.0.113.9", "203.0.113.9"}, {"not an address", "127.0.0.1"}, {"2001:db8::1", "2001:db8::1"},
		} {
			r.ask("GET", wire.HealthPath, nil, "X-Forwarded-For", tc.said)
			if want := `"address":"` + tc.want + `"`; strings.Contains(r.Journal.String(), want) != (behind || tc.want == "127.0.0.1") {
				t.Errorf("behind a proxy %v, %s: %s", behind, want, r.Journal)
			}
		}
	}
}

// A page of somebody else can't reach the server of this machine by a name that
// leads here.
func TestHostsOfALocalServer(t *testing.T) {
	r := start(t, newStore(t), nil)
	for host, good := range map[string]bool{"localhost": true, "LOCALHOST:80": true, "127.0.0.1:9": true, "[::1]:9": true, "localhost.": true, "pool.example": false, "127.0.0.1.example": false} {
		answer, body := r.ask("GET", wire.HealthPath, nil, "Host", host)
		if good != (answer.StatusCode == 200) {
			t.Errorf("%s: %d", host, answer.StatusCode)
		}
		if !good {
			r.problem(answer, body, 421, "wrong-host")
		}
	}
	behind := start(t, newStore(t), func(c *server.Config) { c.BehindProxy = true })
	if answer, _ := behind.ask("GET", wire.HealthPath, nil, "Host", "pool.example"); answer.StatusCode != 200 {
		t.Errorf("behind a proxy: %d", answer.StatusCode)
	}
}

func TestListening(t *testing.T) {
	for address, good := range map[string]bool{"127.0.0.1:0": true, "localhost:0": true, "[::1]:0": true, "0.0.0.0:0": false, ":0": false, "[::]:0": false, "192.0.2.1:0": false, "pool.example:0": false, "127.0.0.1": false} {
		if got := server.Loopback(address); got != good {
			t.Errorf("%s is this machine: %v", address, got)
		}
		if good {
			continue
		}
		_, err := server.Listen(ctx, server.Config{Address: address})
		if address == "127.0.0.1" {
			if catalog.KindOf(err) != catalog.Invalid || !strings.Contains(err.Error(), "127.0.0.1:8417") {
				t.Errorf("without a port: error %v", err)
			}
			continue
		}
		if catalog.KindOf(err) != catalog.Invalid || !strings.Contains(err.Error(), "--tls-cert") || !strings.Contains(err.Error(), "--behind-proxy") {
			t.Errorf("%s: error %v", address, err)
		}
	}
	l := must(server.Listen(ctx, server.Config{Address: "0.0.0.0:0", BehindProxy: true}))(t)
	defer l.Close()
	_, err := server.Listen(ctx, server.Config{Address: l.Addr().String(), BehindProxy: true})
	if catalog.KindOf(err) != catalog.Unavailable {
		t.Errorf("an address in use: error %v", err)
	}
}

// Many connections at once from one address: those beyond the limit are closed,
// the others work, and room comes back.
func TestCrowd(t *testing.T) {
	r := start(t, newStore(t), nil)
	open := func() (working int) {
		var conns []net.Conn
		for range 80 {
			c, err := net.Dial("tcp", strings.TrimPrefix(r.URL, "http://"))
			if err != nil {
				continue
			}
			defer c.Close()
			conns = append(conns, c)
		}
		for _, c := range conns {
			c.SetDeadline(time.Now().Add(20 * time.Second))
			fmt.Fprintf(c, "GET %s HTTP/1.1\r\nHost: localhost\r\n\r\n", wire.HealthPath)
			start := make([]byte, 12)
			if _, err := io.ReadFull(c, start); err == nil && string(start) == "HTTP/1.1 200" {
				working++
			}
		}
		return working
	}
	for range 2 {
		if n := open(); n != 64 {
			t.Errorf("%d of 80 connections work", n)
		}
		for deadline := time.Now().Add(10 * time.Second); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
			if c, err := http.Get(r.URL + wire.HealthPath); err == nil {
				c.Body.Close()
				break
			}
		}
		time.Sleep(200 * time.Millisecond) // closed on this side; the server notices in a moment
	}
}

// A server that is told to stop finishes what it has begun.
func TestGracefulStop(t *testing.T) {
	r := start(t, newStore(t), nil)
	keeper := r.Token("lamp-keeper", catalog.ScopeCurate, nil)
	from := newStore(t)
	servertest.Band(t, from, 3)
	bundle := servertest.Bundle(t, from, servertest.Everything)
	c := r.dial()
	fmt.Fprintf(c, "POST %s HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\nAuthorization: Bearer %s\r\nContent-Type: %s\r\nContent-Length: %d\r\n\r\n", wire.RecordsPath, keeper.Reveal(), wire.BundleType, len(bundle))
	c.Write(bundle[:len(bundle)/2])
	time.Sleep(100 * time.Millisecond)
	stopped := make(chan error, 1)
	go func() { stopped <- r.Stop() }()
	for deadline := time.Now().Add(20 * time.Second); !strings.Contains(r.Journal.String(), "stopping"); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("it does not stop")
		}
	}
	var d net.Dialer
	within, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	for {
		conn, err := d.DialContext(within, "tcp", strings.TrimPrefix(r.URL, "http://"))
		if err != nil {
			break
		}
		conn.Close()
		if within.Err() != nil {
			t.Fatal("it takes new connections")
		}
	}
	c.Write(bundle[len(bundle)/2:])
	text := string(must(io.ReadAll(c))(t))
	if !strings.HasPrefix(text, "HTTP/1.1 200 ") {
		t.Errorf("%.300s", text)
	}
	if err := <-stopped; err != nil {
		t.Error(err)
	}
	if info := must(r.Store.Info(ctx))(t); info.Sessions != 3 {
		t.Errorf("%d sessions", info.Sessions)
	}
}
