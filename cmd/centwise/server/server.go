// Package server serves a catalog over HTTP: to others who push and pull, see
// [centwise/cmd/centwise/wire], and as pages to look at.
//
// Every request is bounded: in connections, rate, size, and the time it may take.
// What is sent is gathered and checked before the catalog is touched, so that
// somebody who sends slowly keeps nobody waiting.
package server

import (
	"context"
	"crypto/tls"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"sync"
	"time"

	"centwise/catalog"
	"centwise/catalog/pool"
	"centwise/cmd/centwise/wire"
)

// Config says how to serve.
type Config struct {
	Address     string      // host:port
	TLS         *tls.Config // nil: none
	BehindProxy bool        // a proxy speaks TLS and says where requests come from
	Rate        float64     // requests a second that a token may make on the whole; an address twice as many
	Privacy     pool.Privacy
	PublicPages bool          // pages need no token
	Pause       time.Duration // between fits, at least
	Version     string        // of the program
	Log         *slog.Logger
	Now         func() time.Time
	Grace       time.Duration // for bodies that come or go slowly; 0: as is sensible
}

// DefaultRate is plenty for people and for parts of a push.
const DefaultRate = 20

// Server serves one catalog.
type Server struct {
	config Config
	store  catalog.Store
	log    *slog.Logger

	addresses, tokens, failures *limiter
	uses                        uses
	// pushes and pulls bound what is in memory at once.
	pushes, pulls chan struct{}
	keeper        keeper
	drawn         drawnPages
}

// New prepares to serve a catalog.
func New(store catalog.Store, c Config) *Server {
	const burst = 3 // seconds' worth
	return &Server{
		config: c, store: store, log: c.Log,
		addresses: newLimiter(2*c.Rate, int(2*c.Rate*burst)+1, c.Now),
		tokens:    newLimiter(c.Rate, int(c.Rate*burst)+1, c.Now),
		failures:  newLimiter(0.1, 10, c.Now),
		pushes:    make(chan struct{}, 4), pulls: make(chan struct{}, 8),
		keeper: keeper{poke: make(chan struct{}, 1)}, drawn: drawnPages{places: make(chan struct{}, 4)},
	}
}

// Times that a request may take. Bodies have their own, see pace.
const (
	headersWithin = 10 * time.Second
	readWithin    = 30 * time.Second
	writeWithin   = 60 * time.Second
	idleFor       = 75 * time.Second
	// stopWithin is how long running requests may take when the server stops.
	stopWithin = 30 * time.Second
)

// Serve serves until the context ends, then finishes the requests that run. The
// error is nil after that.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	h := &http.Server{
		Handler: s.Handler(), TLSConfig: s.config.TLS, MaxHeaderBytes: 16 << 10,
		ReadHeaderTimeout: headersWithin, ReadTimeout: readWithin, WriteTimeout: writeWithin, IdleTimeout: idleFor,
		ErrorLog: slog.NewLogLogger(s.log.Handler(), slog.LevelDebug), // broken connections and handshakes
	}
	var beside sync.WaitGroup
	besideCtx, stopBeside := context.WithCancel(context.WithoutCancel(ctx))
	beside.Go(func() { s.noteUses(besideCtx) })
	beside.Go(func() { s.keep(besideCtx) })
	defer beside.Wait()
	defer stopBeside()

	failed := make(chan error, 1)
	go func() {
		if s.config.TLS != nil {
			failed <- h.ServeTLS(l, "", "")
		} else {
			failed <- h.Serve(l)
		}
	}()
	s.log.Info("listening", "address", l.Addr().String(), "tls", s.config.TLS != nil, "behind_proxy", s.config.BehindProxy)
	select {
	case err := <-failed:
		return &catalog.Error{Kind: catalog.Unavailable, What: "serving on " + s.config.Address, Err: err}
	case <-ctx.Done():
	}
	s.log.Info("stopping", "within_seconds", stopWithin.Seconds())
	within, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopWithin)
	defer cancel()
	err := h.Shutdown(within)
	if errors.Is(err, context.DeadlineExceeded) {
		s.log.Warn("requests were cut off", "error", err)
		err = h.Close()
	}
	s.log.Info("stopped")
	return err
}

// handling is a request being answered; what it returns is told to whoever asked.
type handling func(w http.ResponseWriter, r *http.Request) error

// Handler answers requests.
func (s *Server) Handler() http.Handler {
	mux := http.NewServeMux()
	allowed := map[string][]string{}
	add := func(method, path string, h handling) {
		mux.Handle(method+" "+path, s.handle(path, h))
		allowed[path] = append(allowed[path], method)
	}
	add(http.MethodGet, wire.HealthPath, s.health)
	add(http.MethodGet, wire.StatusPath, s.needing(catalog.ScopeRead, s.status))
	add(http.MethodGet, wire.RecordsPath, s.needing(catalog.ScopeRead, s.give))
	add(http.MethodPost, wire.RecordsPath, s.needing(catalog.ScopeContribute, s.take))
	s.addPages(add)
	for path, methods := range allowed {
		mux.Handle(path, s.handle(path, func(http.ResponseWriter, *http.Request) error {
			p := wrongMethod.with("it takes %s", strings.Join(methods, " and "))
			p.header = http.Header{"Allow": methods}
			return p
		}))
	}
	mux.Handle("/", s.handle("", func(http.ResponseWriter, *http.Request) error { return notThere.with("check the address") }))
	return s.logged(s.guarded(mux))
}

// handle answers with what h returns, if that is an error.
func (s *Server) handle(route string, h handling) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		requestOf(r).route = route
		if err := h(w, r); err != nil {
			s.fail(w, r, err)
		}
	})
}

func (s *Server) fail(w http.ResponseWriter, r *http.Request, err error) {
	p := problemOf(err)
	requestOf(r).problem = p
	if c, ok := w.(*counted); ok && c.status != 0 {
		panic(http.ErrAbortHandler) // half an answer must not look like a whole one
	}
	p.write(w, r, s)
}

// needing lets in tokens that allow a scope.
func (s *Server) needing(scope catalog.Scope, h handling) handling {
	return func(w http.ResponseWriter, r *http.Request) error {
		if err := s.allow(r, scope); err != nil {
			return err
		}
		return h(w, r)
	}
}

// guarded sets what all answers have and turns away what asks too often, or under
// another name than the server's.
func (s *Server) guarded(next http.Handler) http.Handler {
	local := s.config.TLS == nil && !s.config.BehindProxy
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		if s.config.TLS != nil {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		if local && !localHost(r.Host) {
			s.fail(w, r, wrongHost.with("ask for localhost"))
			return
		}
		if wait := s.addresses.wait(keyOf(requestOf(r).address)); wait > 0 {
			s.fail(w, r, tooMany.with("too many requests came from your address").after(wait))
			return
		}
		next.ServeHTTP(w, r)
	})
}
