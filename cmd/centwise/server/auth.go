package server

import (
	"context"
	"net"
	"net/http"
	"strings"
	"sync"
	"time"

	"centwise/catalog"
)

// addressOf is where a request comes from. What a proxy says is believed only
// behind one, and of that only what the nearest proxy said, which it put last.
func (s *Server) addressOf(r *http.Request) string {
	if s.config.BehindProxy {
		if said := r.Header.Values("X-Forwarded-For"); len(said) > 0 {
			all := strings.Split(said[len(said)-1], ",")
			last := strings.TrimSpace(all[len(all)-1])
			if ip := net.ParseIP(last); ip != nil {
				return ip.String()
			}
		}
	}
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return firstOf(r.RemoteAddr, 60)
	}
	return host
}

// secretOf finds the token of a request: a bearer token (RFC 6750), or where people
// look at pages the password of Basic authentication (RFC 7617), whatever the name.
func secretOf(r *http.Request) (secret catalog.Secret, given bool, err error) {
	text := ""
	scheme, rest, _ := strings.Cut(r.Header.Get("Authorization"), " ")
	switch {
	case scheme == "":
		return secret, false, nil
	case strings.EqualFold(scheme, "Bearer"):
		text = rest
	case strings.EqualFold(scheme, "Basic") && forPeople(r):
		_, text, _ = r.BasicAuth()
	}
	secret, err = catalog.ParseSecret(text)
	return secret, true, err
}

// allow makes sure that a request has a token that allows a scope. Addresses that
// try tokens are told to wait; a good token passes all the same, as others may
// share the address.
func (s *Server) allow(r *http.Request, needed catalog.Scope) error {
	known := requestOf(r)
	secret, given, err := secretOf(r)
	if !given {
		return unauthorized(r, noToken.with("say who you are"))
	}
	var token catalog.Token
	if err == nil {
		token, err = s.store.TokenOf(r.Context(), secret.Hash())
	}
	if err != nil && catalog.KindOf(err) != catalog.NotFound && catalog.KindOf(err) != catalog.Invalid {
		return err
	}
	now := s.config.Now()
	if err != nil || !token.Good(now) {
		if wait := s.failures.wait(keyOf(known.address)); wait > 0 {
			return tooMany.with("too many requests with a wrong token came from your address").after(wait)
		}
		return unauthorized(r, badToken.with("%s", whyBad(err, token, now)))
	}
	known.token = token
	if wait := s.tokens.wait(string(token.ID)); wait > 0 {
		return tooMany.with("too many requests came with your token").after(wait)
	}
	if !token.Scope.Allows(needed) {
		p := wrongScope.with("it takes the scope %s, your token may %s", needed, token.Scope)
		p.try = "ask whoever keeps the pool for a token that may " + string(needed)
		return p
	}
	s.uses.note(token.ID, now)
	return nil
}

func whyBad(err error, t catalog.Token, now time.Time) string {
	switch {
	case err != nil:
		return "it is not known"
	case !t.Revoked.IsZero():
		return "it was revoked"
	case t.Expired(now):
		return "it has run out"
	}
	return "it is not good"
}

// unauthorized says how to send a token.
func unauthorized(r *http.Request, p *problem) *problem {
	p.try = "ask whoever keeps the pool for a token"
	scheme := `Bearer realm="centwise pool"`
	if forPeople(r) {
		scheme = `Basic realm="centwise pool: any name, your token as password", charset="UTF-8"`
	}
	p.header = http.Header{"Www-Authenticate": {scheme}}
	return p
}

// uses gathers when tokens were used, to be written now and then: a request that
// reads must not wait for one that writes.
type uses struct {
	mu   sync.Mutex
	last map[catalog.ID]time.Time
}

func (u *uses) note(id catalog.ID, at time.Time) {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.last == nil {
		u.last = map[catalog.ID]time.Time{}
	}
	u.last[id] = at
}

// usesEvery is how often the last use of tokens is written.
const usesEvery = time.Minute

func (s *Server) writeUses(ctx context.Context) {
	s.uses.mu.Lock()
	last := s.uses.last
	s.uses.last = nil
	s.uses.mu.Unlock()
	if len(last) == 0 {
		return
	}
	if err := s.store.TokensUsed(ctx, last); err != nil {
		s.log.Warn("the last use of tokens was not written", "error", err)
	}
}

// noteUses writes them until the context ends, and then once more.
func (s *Server) noteUses(ctx context.Context) {
	tick := time.NewTicker(usesEvery)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			s.writeUses(ctx)
		case <-ctx.Done():
			last, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
			defer cancel()
			s.writeUses(last)
			return
		}
	}
}
