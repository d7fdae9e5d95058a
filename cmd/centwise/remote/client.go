// Package remote pushes to and pulls from a pool server, see
// [centwise/cmd/centwise/wire].
//
// What was acknowledged is remembered in the catalog, part by part, so that a push
// or pull that was stopped goes on where it stopped. A part that went out, but
// whose answer was lost, goes out again, which changes nothing.
package remote

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"

	"centwise/catalog"
	"centwise/cmd/centwise/wire"
)

// Config says how to reach a server.
type Config struct {
	URL     string
	Token   catalog.Secret
	CAFile  string // more certificates to trust (PEM); may be empty
	Version string // of the program
	// Note is told, in a sentence, that something is tried again. May be nil.
	Note func(text string)
	// Wait waits between attempts; nil waits.
	Wait func(ctx context.Context, d time.Duration) error
}

// Client talks to one server. It is for one goroutine.
type Client struct {
	Config
	url  string // without a slash at its end
	http *http.Client
	met  bool // something was answered
}

// Times. An answer may take long, as the server may merge and wait for others; but
// bytes must move.
const (
	connectWithin = 15 * time.Second
	answerWithin  = 6 * time.Minute
	stallAfter    = 60 * time.Second
)

// New makes a client. Invalid: the address can't be used.
func New(c Config) (*Client, error) {
	address, err := Address(c.URL)
	if err != nil {
		return nil, err
	}
	roots, err := trusted(c.CAFile)
	if err != nil {
		return nil, err
	}
	if c.Note == nil {
		c.Note = func(string) {}
	}
	if c.Wait == nil {
		c.Wait = wait
	}
	dialer := &net.Dialer{Timeout: connectWithin}
	return &Client{Config: c, url: address, http: &http.Client{
		Transport: &http.Transport{
			Proxy: http.ProxyFromEnvironment, DialContext: dialer.DialContext, ForceAttemptHTTP2: true,
			TLSClientConfig: &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: roots}, TLSHandshakeTimeout: connectWithin,
			ResponseHeaderTimeout: answerWithin, ExpectContinueTimeout: 2 * time.Second, IdleConnTimeout: time.Minute,
		},
		// A token must not follow where an answer points.
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}, nil
}

// Address brings the address of a server into one form. Without TLS a token would
// be read on the way, so that http reaches this machine only.
func Address(text string) (string, error) {
	bad := func(format string, args ...any) (string, error) {
		return "", catalog.Errorf(catalog.Invalid, "write it as in https://pool.example.org", format, args...)
	}
	u, err := url.Parse(text)
	switch {
	case err != nil || u.Host == "" || u.Opaque != "":
		return bad("this is not the address of a pool server: %.80q", catalog.HideSecrets(text))
	case u.User != nil:
		return bad("the address of a pool server holds no name or password; tokens come from a file or a variable")
	case u.RawQuery != "" || u.Fragment != "":
		return bad("the address of a pool server ends before ? and #")
	case u.Scheme == "http" && !loopback(u.Hostname()):
		return "", catalog.Errorf(catalog.Invalid, "use https", "over http whoever is on the way to %s reads your token", u.Host)
	case u.Scheme != "http" && u.Scheme != "https":
		return bad("%s:// does not lead to a pool server", u.Scheme)
	}
	u.Host = strings.ToLower(u.Host)
	return strings.TrimRight(u.String(), "/"), nil
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return strings.EqualFold(host, "localhost") || ip != nil && ip.IsLoopback()
}

// trusted are the system's certificates with those of a file; nil for the
// system's.
func trusted(file string) (*x509.CertPool, error) {
	if file == "" {
		return nil, nil
	}
	pem, err := os.ReadFile(file)
	if err != nil {
		return nil, &catalog.Error{Kind: catalog.Unavailable, What: "reading certificates", Err: err, Hint: "check --tls-ca"}
	}
	roots, err := x509.SystemCertPool()
	if err != nil {
		roots = x509.NewCertPool()
	}
	if !roots.AppendCertsFromPEM(pem) {
		return nil, catalog.Errorf(catalog.Invalid, "check --tls-ca: a PEM file", "%s holds no certificate", file)
	}
	return roots, nil
}

// URL is the address in its one form.
func (c *Client) URL() string { return c.url }

// Status asks who the token is, and whether positions are the server's.
func (c *Client) Status(ctx context.Context, positions ...catalog.Position) (out wire.Status, err error) {
	q := url.Values{}
	for _, p := range positions {
		if !p.Zero() {
			q.Add("position", p.String())
		}
	}
	err = c.retry(ctx, func(ctx context.Context) error {
		answer, err := c.do(ctx, http.MethodGet, wire.StatusPath, q, nil)
		if err != nil {
			return err
		}
		out = wire.Status{}
		return answer.json(&out)
	})
	if err == nil && (out.Catalog == "" || !out.Scope.Allows(catalog.ScopeRead)) {
		return out, notAServer(c.url, nil)
	}
	return out, err
}

// send sends a bundle.
func (c *Client) send(ctx context.Context, bundle []byte) (out wire.Receipt, err error) {
	err = c.retry(ctx, func(ctx context.Context) error {
		answer, err := c.do(ctx, http.MethodPost, wire.RecordsPath, nil, bundle)
		if err != nil {
			return err
		}
		out = wire.Receipt{}
		return answer.json(&out)
	})
	return out, err
}

// fetched is a bundle that was fetched; nil if there was nothing.
type fetched struct {
	bundle []byte
	end    catalog.Position
	more   bool
}

// fetch asks for what is behind a position.
func (c *Client) fetch(ctx context.Context, after catalog.Position) (out fetched, err error) {
	err = c.retry(ctx, func(ctx context.Context) error {
		answer, err := c.do(ctx, http.MethodGet, wire.RecordsPath, url.Values{"after": {after.String()}}, nil)
		if err != nil {
			return err
		}
		out = fetched{more: answer.header.Get(wire.MoreHeader) == "true"}
		position := answer.header.Get(wire.PositionHeader)
		if out.end, err = catalog.ParsePosition(position); err != nil || position == "" {
			return notAServer(c.url, err)
		}
		if answer.status == http.StatusOK {
			out.bundle = answer.body
		}
		return nil
	})
	return out, err
}

func notAServer(address string, err error) error {
	return &catalog.Error{Kind: catalog.Invalid, What: address + " does not answer as a pool server does", Hint: "check the address", Err: err}
}

// answer is all of what a server answered.
type answer struct {
	url    string
	status int
	header http.Header
	body   []byte
}

func (a answer) json(into any) error {
	kind, _, _ := mime.ParseMediaType(a.header.Get("Content-Type"))
	if kind != wire.JSONType {
		return notAServer(a.url, nil)
	}
	if err := json.Unmarshal(a.body, into); err != nil {
		return notAServer(a.url, err)
	}
	return nil
}

// do makes one attempt.
func (c *Client) do(ctx context.Context, method, path string, q url.Values, bundle []byte) (answer, error) {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	watch := newWatch(cancel)
	defer watch.stop()
	address := c.url + path
	if len(q) > 0 {
		address += "?" + q.Encode()
	}
	var body io.Reader
	if bundle != nil {
		body = &watched{bytes.NewReader(bundle), watch}
	}
	r, err := http.NewRequestWithContext(ctx, method, address, body)
	if err != nil {
		return answer{}, err
	}
	r.Header.Set("Authorization", "Bearer "+c.Token.Reveal())
	r.Header.Set("User-Agent", "centwise/"+c.Version)
	if bundle != nil {
		r.ContentLength = int64(len(bundle))
		r.Header.Set("Content-Type", wire.BundleType)
		// A server that refuses says so before the bundle is on its way.
		r.Header.Set("Expect", "100-continue")
	}
	response, err := c.http.Do(r)
	if err != nil {
		return answer{}, broken(ctx, err)
	}
	defer response.Body.Close()
	watch.move()
	out := answer{url: c.url, status: response.StatusCode, header: response.Header}
	out.body, err = io.ReadAll(&watched{io.LimitReader(response.Body, wire.MaxBundleBytes+1), watch})
	if err != nil {
		return answer{}, broken(ctx, err)
	}
	if len(out.body) > wire.MaxBundleBytes {
		return answer{}, notAServer(c.url, errors.New("it sends more than any part has"))
	}
	if out.status != http.StatusOK && out.status != http.StatusNoContent {
		return answer{}, refusal(out)
	}
	return out, nil
}

// broken is an error of the connection; the cause of giving up goes before it.
func broken(ctx context.Context, err error) error {
	if cause := context.Cause(ctx); errors.Is(cause, errStalled) {
		err = cause
	}
	return &brokenError{err}
}

// watch gives up on a connection over which nothing moves. While a server works
// out its answer nothing does, which has a limit of its own.
type watch struct {
	timer *time.Timer
}

var errStalled = fmt.Errorf("nothing came or went for %.0f seconds", stallAfter.Seconds())

func newWatch(cancel context.CancelCauseFunc) *watch {
	return &watch{time.AfterFunc(connectWithin+stallAfter, func() { cancel(errStalled) })}
}

func (w *watch) move() { w.timer.Reset(stallAfter) }
func (w *watch) stop() { w.timer.Stop() }

// watched is a body that is watched until its end.
type watched struct {
	io.Reader
	watch *watch
}

func (w *watched) Read(p []byte) (int, error) {
	n, err := w.Reader.Read(p)
	if err != nil {
		w.watch.stop()
	} else {
		w.watch.move()
	}
	return n, err
}

func wait(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
