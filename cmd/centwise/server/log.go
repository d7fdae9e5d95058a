package server

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"io"
	"log/slog"
	"net/http"
	"runtime/debug"
	"time"

	"centwise/catalog"
)

// NewLog makes the log of a server: a line of JSON an event. Whatever looks like a
// token is replaced, wherever it stands.
func NewLog(w io.Writer) *slog.Logger {
	return slog.New(slog.NewJSONHandler(w, &slog.HandlerOptions{ReplaceAttr: func(_ []string, a slog.Attr) slog.Attr {
		switch v := a.Value.Any().(type) {
		case string:
			a.Value = slog.StringValue(catalog.HideSecrets(v))
		case error:
			a.Value = slog.StringValue(catalog.HideSecrets(v.Error()))
		}
		return a
	}}))
}

// request is what the server knows of a request under way.
type request struct {
	id      string
	address string
	token   catalog.Token // zero: none yet
	route   string
	problem *problem
}

type requestKey struct{}

// requestOf gives what is known of a request; everything below logged has it.
func requestOf(r *http.Request) *request {
	if known, ok := r.Context().Value(requestKey{}).(*request); ok {
		return known
	}
	return &request{}
}

// counted counts what is answered.
type counted struct {
	http.ResponseWriter
	status int
	bytes  int64
}

func (c *counted) WriteHeader(status int) {
	if c.status == 0 {
		c.status = status
	}
	c.ResponseWriter.WriteHeader(status)
}

func (c *counted) Write(b []byte) (int, error) {
	if c.status == 0 {
		c.status = http.StatusOK
	}
	n, err := c.ResponseWriter.Write(b)
	c.bytes += int64(n)
	return n, err
}

// Unwrap lets a [http.ResponseController] through.
func (c *counted) Unwrap() http.ResponseWriter { return c.ResponseWriter }

// logged writes a line a request, with neither query nor headers: what somebody
// puts there by mistake does not get into the log. A panic ends its request only.
func (s *Server) logged(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		started := time.Now()
		var id [6]byte
		rand.Read(id[:])
		known := &request{id: hex.EncodeToString(id[:]), address: s.addressOf(r)}
		r = r.WithContext(context.WithValue(r.Context(), requestKey{}, known))
		c := &counted{ResponseWriter: w}
		defer func() {
			caught := recover()
			if caught != nil && caught != http.ErrAbortHandler {
				s.log.Error("panic", "request", known.id, "panic", caught, "stack", string(debug.Stack()))
				if c.status == 0 {
					known.problem = &problem{kindOfProblem: defect}
					known.problem.write(c, r, s)
				}
			}
			s.logRequest(r, known, c, time.Since(started))
			if caught == http.ErrAbortHandler {
				panic(caught)
			}
		}()
		next.ServeHTTP(c, r)
	})
}

func (s *Server) logRequest(r *http.Request, known *request, c *counted, took time.Duration) {
	level, attrs := slog.LevelInfo, []slog.Attr{
		slog.String("request", known.id), slog.String("method", firstOf(r.Method, 20)), slog.String("route", known.route), slog.String("address", known.address),
		slog.Int("status", c.status), slog.Int64("bytes", c.bytes), slog.Float64("ms", float64(took.Microseconds())/1000),
	}
	if known.token.ID != "" {
		attrs = append(attrs, slog.String("token", string(known.token.ID)), slog.String("contributor", known.token.Contributor))
	}
	if p := known.problem; p != nil {
		attrs = append(attrs, slog.String("problem", p.name))
		if p.err != nil {
			attrs = append(attrs, slog.Any("error", p.err))
		}
		if p.status >= http.StatusInternalServerError {
			level = slog.LevelError
		}
	}
	s.log.LogAttrs(context.Background(), level, "request", attrs...)
}

func firstOf(text string, n int) string { return text[:min(len(text), n)] }
