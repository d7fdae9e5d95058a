package server

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"mime"
	"net"
	"net/http"
	"os"
	"strconv"
	"syscall"
	"time"

	"centwise/catalog"
	"centwise/catalog/pool"
	"centwise/cmd/centwise/wire"
)

// health tells whether the catalog can be read.
func (s *Server) health(w http.ResponseWriter, r *http.Request) error {
	ctx, cancel := context.WithTimeout(r.Context(), 3*time.Second)
	defer cancel()
	if _, err := s.store.End(ctx); err != nil {
		return (&problem{kindOfProblem: notNow, err: err}).after(10)
	}
	return writeJSON(w, map[string]string{"status": "ok"})
}

func writeJSON(w http.ResponseWriter, v any) error {
	body, err := json.Marshal(v)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", wire.JSONType)
	w.Header().Set("Cache-Control", "no-store")
	w.Write(append(body, '\n'))
	return nil
}

// maxPositions bounds how many positions one request may ask about.
const maxPositions = 4

// status tells who a token is, and whether positions are known.
func (s *Server) status(w http.ResponseWriter, r *http.Request) error {
	asked := r.URL.Query()["position"]
	if len(asked) > maxPositions {
		return badRequest.with("more than %d positions", maxPositions)
	}
	ctx, token := r.Context(), requestOf(r).token
	out := wire.Status{Contributor: token.Contributor, Scope: token.Scope, Known: true}
	for _, text := range asked {
		p, err := catalog.ParsePosition(text)
		if err != nil {
			return badRequest.with("%v", err)
		}
		known, err := s.store.HasPosition(ctx, p)
		if err != nil {
			return err
		}
		out.Known = out.Known && known
	}
	var err error
	if out.Catalog, err = s.store.PoolID(ctx); err != nil {
		return err
	}
	end, err := s.store.End(ctx)
	if err != nil {
		return err
	}
	out.Position = end.String()
	return writeJSON(w, out)
}

// turn waits for a place among those that work at once.
func turn(ctx context.Context, places chan struct{}) (leave func(), err error) {
	select {
	case places <- struct{}{}:
		return func() { <-places }, nil
	case <-time.After(10 * time.Second):
		return nil, notNow.with("the server has its hands full with others").after(5)
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// give answers with what is behind a position.
func (s *Server) give(w http.ResponseWriter, r *http.Request) error {
	after, err := catalog.ParsePosition(r.URL.Query().Get("after"))
	if err != nil {
		return badRequest.with("%v", err)
	}
	ctx := r.Context()
	known, err := s.store.HasPosition(ctx, after)
	if err != nil {
		return err
	}
	if !known {
		return unknownPosition(after)
	}
	leave, err := turn(ctx, s.pulls)
	if err != nil {
		return err
	}
	defer leave()
	secret, err := s.store.PoolSecret(ctx)
	if err != nil {
		return err
	}
	part, err := pool.NextPart(ctx, s.store, secret, after, pool.PartOptions{Privacy: s.config.Privacy})
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set(wire.PositionHeader, part.End.String())
	h.Set(wire.MoreHeader, strconv.FormatBool(part.More))
	h.Set("Cache-Control", "no-store")
	if part.Bundle == nil {
		w.WriteHeader(http.StatusNoContent)
		return nil
	}
	h.Set("Content-Type", wire.BundleType)
	h.Set("Content-Length", strconv.Itoa(len(part.Bundle)))
	if err := writePaced(w, s.grace(), part.Bundle); err != nil {
		return s.brokenOff(err)
	}
	return nil
}

func unknownPosition(p catalog.Position) *problem {
	out := badRequest.with("the position %v is none of this pool, which went back to a backup", p)
	out.try = "begin anew, with 'centwise pool pull --again'"
	return out
}

// take merges what somebody sends.
func (s *Server) take(w http.ResponseWriter, r *http.Request) error {
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != wire.BundleType {
		return wrongType.with("it must be %s", wire.BundleType)
	}
	if r.ContentLength > wire.MaxBundleBytes {
		return tooLarge.with("%d bytes, of %d at most", r.ContentLength, wire.MaxBundleBytes)
	}
	ctx := r.Context()
	leave, err := turn(ctx, s.pushes)
	if err != nil {
		return err
	}
	defer leave()
	bundle, err := s.body(w, r)
	if err != nil {
		return err
	}
	merged, err := s.merge(ctx, requestOf(r).token, bundle)
	if err != nil {
		return err
	}
	s.keeper.changed(merged)
	end, err := s.store.End(ctx)
	if err != nil {
		return err
	}
	out := wire.Receipt{HeldBack: merged.HeldBack, Position: end.String()}
	if out.HeldBack == nil {
		out.HeldBack = []catalog.HeldBack{}
	}
	out.New, out.Changed = wire.CountsOf(merged)
	return writeJSON(w, out)
}

// grace is the time a body may take at any pace.
func (s *Server) grace() time.Duration {
	if s.config.Grace > 0 {
		return s.config.Grace
	}
	return grace
}

// body reads all of what is sent.
func (s *Server) body(w http.ResponseWriter, r *http.Request) ([]byte, error) {
	control := http.NewResponseController(w)
	paced := &pacedBody{http.MaxBytesReader(w, r.Body, wire.MaxBundleBytes), control, pace{start: time.Now(), grace: s.grace()}}
	var b bytes.Buffer
	if r.ContentLength > 0 {
		b.Grow(int(min(r.ContentLength, 1<<20)))
	}
	if _, err := b.ReadFrom(paced); err != nil {
		return nil, s.brokenOff(err)
	}
	// Merging may take its time; the answer has a deadline of its own.
	if err := control.SetWriteDeadline(time.Now().Add(mergeWithin)); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// mergeWithin is how long a merge may take, with waiting for others who write.
const mergeWithin = 5 * time.Minute

// brokenOff explains why a body stopped.
func (s *Server) brokenOff(err error) error {
	var timeout net.Error
	switch {
	case errors.Is(err, os.ErrDeadlineExceeded), errors.As(err, &timeout) && timeout.Timeout():
		return &problem{kindOfProblem: tooSlow, detail: "less than " + strconv.Itoa(slowest) + " bytes a second", err: err}
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF), errors.Is(err, syscall.ECONNRESET), errors.Is(err, net.ErrClosed):
		return &problem{kindOfProblem: cutOff, err: err}
	}
	return err
}

// merge checks a bundle and takes it over as far as the token allows.
func (s *Server) merge(ctx context.Context, token catalog.Token, bundle []byte) (catalog.Merged, error) {
	ctx, cancel := context.WithTimeout(ctx, mergeWithin)
	defer cancel()
	file := func() pool.File {
		return pool.File{Name: "the bundle", Content: bytes.NewReader(bundle)}
	}
	contribution, err := pool.NewContribution(ctx, token.Contributor, file(), wire.MaxUnpackedBytes)
	if err != nil {
		return catalog.Merged{}, err
	}
	o := catalog.ReceiveOptions{Admit: contribution.Admit}
	if token.Scope.Allows(catalog.ScopeCurate) {
		o.Admit = nil
	}
	merged, err := pool.Receive(ctx, s.store, file(), wire.MaxUnpackedBytes, o)
	if catalog.KindOf(err) == catalog.NotFound && o.Admit != nil {
		contribution.Narrow()
		merged, err = pool.Receive(ctx, s.store, file(), wire.MaxUnpackedBytes, o)
	}
	return merged, err
}
