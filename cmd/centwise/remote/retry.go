package remote

import (
	"cmp"
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"mime"
	"net/http"
	"strconv"
	"strings"
	"time"

	"centwise/catalog"
	"centwise/cmd/centwise/wire"
)

// brokenError is a connection that broke, or never came to be.
type brokenError struct{ error }

func (e *brokenError) Unwrap() error { return e.error }

// refusedError is an answer that refuses.
type refusedError struct {
	wire.Problem
	after time.Duration // to wait; 0: not said
}

func (e *refusedError) Error() string {
	text := cmp.Or(e.Title, http.StatusText(e.Status), "status "+strconv.Itoa(e.Status))
	if e.Detail != "" {
		text += ": " + e.Detail
	}
	return text
}

// refusal reads what a server says of why it refuses.
func refusal(a answer) error {
	e := &refusedError{Problem: wire.Problem{Status: a.status}}
	if kind, _, _ := mime.ParseMediaType(a.header.Get("Content-Type")); kind == wire.ProblemType {
		_ = json.Unmarshal(a.body, &e.Problem) // what can't be read is not shown
		e.Status = a.status
	}
	if seconds, err := strconv.Atoi(a.header.Get("Retry-After")); err == nil && seconds > 0 {
		e.after = time.Duration(seconds) * time.Second
	}
	return e
}

// passes reports whether an error may be gone when the same is tried again.
func passes(err error) bool {
	var certificate *tls.CertificateVerificationError
	var refused *refusedError
	var broken *brokenError
	switch {
	case errors.As(err, &certificate):
		return false
	case errors.As(err, &refused):
		switch refused.Status {
		case http.StatusRequestTimeout, http.StatusTooManyRequests, http.StatusBadGateway, http.StatusServiceUnavailable, http.StatusGatewayTimeout, http.StatusConflict:
			return true
		}
		return strings.HasSuffix(refused.Type, "#cut-off")
	}
	return errors.As(err, &broken)
}

// Attempts at one request, and the pauses between them: doubled each time, spread
// so that many who were cut off together don't come back together.
const (
	attempts   = 9
	atFirst    = 3 // as long as nothing was answered: the address may be wrong
	firstPause = 500 * time.Millisecond
	longest    = 30 * time.Second
	patience   = 3 * time.Minute // for a server that says how long to wait
)

// retry does one request until it gets through. What it returns says what to do.
func (c *Client) retry(ctx context.Context, do func(context.Context) error) error {
	pause := firstPause
	for n := 1; ; n++ {
		err := do(ctx)
		if err == nil {
			c.met = true
			return nil
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		delay := pause/2 + rand.N(pause)
		var refused *refusedError
		if errors.As(err, &refused) && refused.after > 0 {
			delay = refused.after + rand.N(time.Second)
		}
		if refused != nil {
			c.met = true
		}
		if !passes(err) || n == attempts || n == atFirst && !c.met || delay > patience {
			return c.explain(err)
		}
		c.Note(fmt.Sprintf("%v; trying again in %.1f s", plain(err), delay.Seconds()))
		if err := c.Wait(ctx, delay); err != nil {
			return err
		}
		pause = min(2*pause, longest)
	}
}

// plain is an error without the address, which is said already.
func plain(err error) error {
	var broken *brokenError
	if errors.As(err, &broken) {
		if inner := errors.Unwrap(broken.error); inner != nil {
			return inner
		}
		return broken.error
	}
	return err
}

// explain says what an error means and what to do about it.
func (c *Client) explain(err error) error {
	var certificate *tls.CertificateVerificationError
	var refused *refusedError
	var broken *brokenError
	switch {
	case errors.As(err, &certificate):
		return &catalog.Error{Kind: catalog.Unavailable, What: c.url + " can't prove that it is who it says", Err: certificate.Err,
			Hint: "don't go on if you did not expect this; where a pool has a certificate of its own, give its file with --tls-ca"}
	case errors.As(err, &refused):
		if refused.Status >= 300 && refused.Status < 400 {
			return catalog.Errorf(catalog.Invalid, "use that address if you trust it", "%s points elsewhere", c.url)
		}
		hint := cmp.Or(refused.Try, "repeat the command later; what got through is remembered")
		if refused.Try == "" && refused.Status < 500 && refused.Status != http.StatusTooManyRequests {
			hint = "check the address, and whether both run the same version of centwise"
		}
		return &catalog.Error{Kind: catalog.Unavailable, What: c.url + " refuses", Err: refused, Hint: hint}
	case errors.As(err, &broken):
		return &catalog.Error{Kind: catalog.Unavailable, What: "reaching " + c.url, Err: plain(err), Hint: "check the network and the address, then repeat the command: what got through is remembered"}
	}
	return err
}
