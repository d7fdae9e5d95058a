package server

import (
	"cmp"
	"context"
	"crypto/tls"
	"fmt"
	"log/slog"
	"net"
	"os"
	"strings"
	"sync"
	"time"

	"centwise/catalog"
)

// Loopback reports whether an address to listen on is reached from this machine
// only.
func Loopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	return strings.EqualFold(host, "localhost") || ip != nil && ip.IsLoopback()
}

// Listen opens the address of a server. Beyond this machine, tokens and players'
// data must not go over the network as they are: Invalid without TLS, unless a
// proxy in front sees to that.
func Listen(ctx context.Context, c Config) (net.Listener, error) {
	if _, _, err := net.SplitHostPort(c.Address); err != nil {
		return nil, catalog.Errorf(catalog.Invalid, "write it as in --listen 127.0.0.1:8417", "%q is no address to listen on", c.Address)
	}
	if c.TLS == nil && !c.BehindProxy && !Loopback(c.Address) {
		return nil, catalog.Errorf(catalog.Invalid, "give --tls-cert and --tls-key, or --behind-proxy where a proxy speaks TLS, or listen on 127.0.0.1",
			"%s can be reached from other machines, and without TLS whoever is on the way reads tokens", c.Address)
	}
	var config net.ListenConfig
	l, err := config.Listen(ctx, "tcp", c.Address)
	if err != nil {
		return nil, &catalog.Error{Kind: catalog.Unavailable, What: "listening on " + c.Address, Err: err, Hint: "choose another address, as in --listen 127.0.0.1:8417"}
	}
	perAddress := connectionsPerAddress
	if c.BehindProxy {
		perAddress = connections // all come from the proxy
	}
	return &crowd{Listener: l, perAddress: perAddress, from: map[string]int{}}, nil
}

// Connections at once. Those that do nothing are closed before long, so that these
// are many.
const (
	connections           = 1024
	connectionsPerAddress = 64
)

// crowd bounds the connections at once: others are closed as they come.
type crowd struct {
	net.Listener
	perAddress int

	mu   sync.Mutex
	all  int
	from map[string]int
}

// Accept waits for a connection that there is room for.
func (c *crowd) Accept() (net.Conn, error) {
	for {
		conn, err := c.Listener.Accept()
		if err != nil {
			return nil, err
		}
		key := keyOf(conn.RemoteAddr().String())
		if host, _, err := net.SplitHostPort(conn.RemoteAddr().String()); err == nil {
			key = keyOf(host)
		}
		if c.enter(key) {
			return &visitor{Conn: conn, leave: sync.OnceFunc(func() { c.leave(key) })}, nil
		}
		conn.Close()
	}
}

func (c *crowd) enter(key string) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.all >= connections || c.from[key] >= c.perAddress {
		return false
	}
	c.all++
	c.from[key]++
	return true
}

func (c *crowd) leave(key string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.all--
	if c.from[key]--; c.from[key] == 0 {
		delete(c.from, key)
	}
}

// visitor is a connection that leaves the crowd when it is closed.
type visitor struct {
	net.Conn
	leave func()
}

func (v *visitor) Close() error {
	v.leave()
	return v.Conn.Close()
}

// Certificate is a certificate with its key in files, which are read again when
// they change, as certificates are renewed while a server runs.
type Certificate struct {
	CertFile, KeyFile string
	Log               *slog.Logger // told when a new one can't be used; may be nil

	mu      sync.Mutex
	looked  time.Time
	changed time.Time // of the newer file
	cert    *tls.Certificate
}

const lookEvery = 10 * time.Second

// TLS is how a server with the certificate speaks. Invalid: it can't be used.
func (c *Certificate) TLS() (*tls.Config, error) {
	if err := c.load(time.Now()); err != nil {
		return nil, &catalog.Error{Kind: catalog.Invalid, What: "reading the certificate", Err: err, Hint: "check --tls-cert and --tls-key: PEM files, the certificate first of its chain"}
	}
	return &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return c.current(time.Now()), nil }}, nil
}

// current is the certificate as it is now. One that can't be read is no reason to
// let go of the one before.
func (c *Certificate) current(now time.Time) *tls.Certificate {
	if err := c.load(now); err != nil && c.Log != nil {
		c.Log.Warn("the certificate can't be read again", "error", err)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.cert
}

// LookAgain makes the next connection look at the files, however short ago the last
// look was.
func (c *Certificate) LookAgain() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.looked = time.Time{}
}

func (c *Certificate) load(now time.Time) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.cert != nil && now.Sub(c.looked) < lookEvery {
		return nil
	}
	c.looked = now
	one, err1 := os.Stat(c.CertFile)
	two, err2 := os.Stat(c.KeyFile)
	if err := cmp.Or(err1, err2); err != nil {
		return err
	}
	newer := one.ModTime()
	if two.ModTime().After(newer) {
		newer = two.ModTime()
	}
	if c.cert != nil && newer.Equal(c.changed) {
		return nil
	}
	cert, err := tls.LoadX509KeyPair(c.CertFile, c.KeyFile)
	if err != nil {
		return err
	}
	c.cert, c.changed = &cert, newer
	return nil
}

// localHost reports whether a Host header means this machine.
func localHost(host string) bool {
	name, _, err := net.SplitHostPort(host)
	if err != nil {
		name = strings.Trim(host, "[]")
	}
	ip := net.ParseIP(name)
	return strings.EqualFold(strings.TrimSuffix(name, "."), "localhost") || ip != nil && ip.IsLoopback()
}

// URL is where a server that listens is reached.
func URL(c Config, l net.Listener) string {
	scheme := "http"
	if c.TLS != nil {
		scheme = "https"
	}
	return fmt.Sprintf("%s://%s/", scheme, l.Addr())
}
