package remote_test

import (
	"context"
	"io"
	"math/rand/v2"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/cmd/centwise/remote"
	"centwise/cmd/centwise/server"
	"centwise/cmd/centwise/server/servertest"
)

// cutter is a link to a server that breaks: of each connection it lets so many
// bytes through, up and down together, and closes both ends then.
type cutter struct {
	net.Listener
	to     string
	budget func() int64 // of a connection; negative: no end

	mu   sync.Mutex
	cuts int
}

func newCutter(tb testing.TB, url string, budget func() int64) *cutter {
	l := must(net.Listen("tcp", "127.0.0.1:0"))(tb)
	c := &cutter{Listener: l, to: strings.TrimPrefix(url, "http://"), budget: budget}
	tb.Cleanup(func() { l.Close() })
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go c.link(conn)
		}
	}()
	return c
}

func (c *cutter) url() string { return "http://" + c.Addr().String() }

func (c *cutter) link(here net.Conn) {
	defer here.Close()
	there, err := net.Dial("tcp", c.to)
	if err != nil {
		return
	}
	defer there.Close()
	c.mu.Lock()
	left := c.budget()
	c.mu.Unlock()
	// take counts bytes and tells how many of n may pass.
	take := func(n int64) int64 {
		c.mu.Lock()
		defer c.mu.Unlock()
		if left < 0 {
			return n
		}
		n = min(n, left)
		left -= n
		if left == 0 {
			c.cuts++
			left = 0
		}
		return n
	}
	ended := make(chan struct{}, 2)
	pass := func(to, from net.Conn) {
		defer func() { ended <- struct{}{} }()
		b := make([]byte, 4096)
		for {
			n, err := from.Read(b)
			may := take(int64(n))
			if _, werr := to.Write(b[:may]); werr != nil || err != nil || may < int64(n) || may == 0 {
				return
			}
		}
	}
	go pass(there, here)
	go pass(here, there)
	<-ended
}

// A link that is cut at any byte, again and again, loses nothing and doubles
// nothing: both sides have every record once when a push and a pull get through.
func TestLinkCutAnywhere(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 3))
	for range 2 {
		r := servertest.Start(t, newStore(t), func(c *server.Config) { c.Privacy = servertest.Everything })
		servertest.Band(t, r.Store, 300)
		north := newStore(t)
		servertest.Band(t, north, 1100)
		token := r.Token("lamp-keeper", catalog.ScopeCurate, nil)
		// Most cuts fall into bundles, some into headers and answers.
		link := newCutter(t, r.URL, func() int64 {
			if rng.IntN(3) == 0 {
				return 1 + rng.Int64N(900)
			}
			return 1 + rng.Int64N(180_000)
		})
		c := client(t, link.url(), token)
		all := remote.Options{Privacy: servertest.Everything}
		until(t, func() error { _, err := c.Push(ctx, north, all); return err })
		until(t, func() error { _, err := c.Pull(ctx, north, all); return err })
		same(t, north, r.Store)
		if n := must(north.Info(ctx))(t).Sessions; n != 1400 {
			t.Errorf("%d sessions", n)
		}
		link.mu.Lock()
		t.Logf("%d cuts", link.cuts)
		if link.cuts == 0 {
			t.Error("nothing was cut")
		}
		link.mu.Unlock()
	}
}

// until repeats a command, as its user would.
func until(tb testing.TB, do func() error) {
	tb.Helper()
	for n := 0; ; n++ {
		err := do()
		if err == nil {
			return
		}
		if n == 100 {
			tb.Fatalf("still failing: %v", err)
		}
		want(tb, err, "repeat the command")
	}
}

// A small exchange is cut once, here or there from its first byte to its last: then
// the link holds.
func TestLinkCutOnce(t *testing.T) {
	from := newStore(t)
	servertest.Band(t, from, 1)
	for at := int64(1); at < 3500; at += 61 {
		r := servertest.Start(t, newStore(t), func(c *server.Config) { c.Privacy = servertest.Everything })
		used := false
		link := newCutter(t, r.URL, func() int64 {
			if used {
				return -1
			}
			used = true
			return at
		})
		c := client(t, link.url(), r.Token("lamp-keeper", catalog.ScopeCurate, nil))
		all := remote.Options{Privacy: servertest.Everything, Again: true}
		must(c.Push(ctx, from, all))(t)
		same(t, from, r.Store)
		if err := r.Stop(); err != nil {
			t.Fatal(err)
		}
		r.Store.Close()
	}
}

// A link over which nothing moves is given up.
func TestServerThatSaysNothing(t *testing.T) {
	l := must(net.Listen("tcp", "127.0.0.1:0"))(t)
	defer l.Close()
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go io.Copy(io.Discard, conn)
		}
	}()
	within, cancel := context.WithTimeout(ctx, 300*time.Millisecond)
	defer cancel()
	_, err := client(t, "http://"+l.Addr().String(), catalog.NewSecret()).Status(within)
	if err == nil {
		t.Error("no error")
	}
}
