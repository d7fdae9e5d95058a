package server

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"os"
	"strconv"

	"centwise/catalog"
	"centwise/cmd/centwise/wire"
)

// kindOfProblem is one of the things that can go wrong. The page /problems
// explains them.
type kindOfProblem struct {
	name, title string
	status      int
	explanation string
}

var (
	noToken      = kindOfProblem{"no-token", "A token is needed", http.StatusUnauthorized, "The request carries no token, or something that is none. Whoever keeps the pool gives tokens out."}
	badToken     = kindOfProblem{"bad-token", "The token opens nothing", http.StatusUnauthorized, "The token is not known, was revoked, or has run out. Ask whoever keeps the pool for a new one."}
	wrongScope   = kindOfProblem{"wrong-scope", "The token does not allow this", http.StatusForbidden, "Tokens may read, contribute, or curate; each of these includes the ones before it."}
	tooMany      = kindOfProblem{"too-many", "Too many requests", http.StatusTooManyRequests, "There is a limit a token and an address. Wait as long as the header Retry-After says."}
	tooLarge     = kindOfProblem{"too-large", "The bundle is too large", http.StatusRequestEntityTooLarge, "A bundle that is sent in one request may have so many bytes only. 'centwise pool push' sends parts."}
	tooSlow      = kindOfProblem{"too-slow", "The request came too slowly", http.StatusRequestTimeout, "The connection was too slow, or stood still. Send it again: nothing was merged."}
	cutOff       = kindOfProblem{"cut-off", "The request was cut off", http.StatusBadRequest, "The connection broke before all of the bundle was here. Send it again: nothing was merged."}
	badBundle    = kindOfProblem{"bad-bundle", "The bundle can't be merged", http.StatusUnprocessableEntity, "A record of the bundle is damaged, breaks a rule, or names what is not there. Nothing of the bundle was merged."}
	conflict     = kindOfProblem{"conflict", "The bundle contradicts the pool", http.StatusConflict, "Something in the pool changed meanwhile. Send it again."}
	badRequest   = kindOfProblem{"bad-request", "The request is malformed", http.StatusBadRequest, "A parameter is not what it must be."}
	wrongType    = kindOfProblem{"wrong-type", "The body is of another type", http.StatusUnsupportedMediaType, "Bundles are sent as " + wire.BundleType + "."}
	notThere     = kindOfProblem{"not-there", "There is nothing here", http.StatusNotFound, "The address is wrong, or what it names is not in the pool."}
	wrongMethod  = kindOfProblem{"wrong-method", "The method does not fit", http.StatusMethodNotAllowed, "The header Allow says which methods the address takes."}
	wrongHost    = kindOfProblem{"wrong-host", "The server goes by another name", http.StatusMisdirectedRequest, "A server that listens for its own machine only answers to localhost, so that pages of others can't reach it under a name of theirs."}
	notNow       = kindOfProblem{"not-now", "The pool can't be used right now", http.StatusServiceUnavailable, "The catalog is in use or can't be reached. Try again later."}
	notReady     = kindOfProblem{"not-ready", "The page is not ready yet", http.StatusServiceUnavailable, "What the page shows is being worked out. Reload it in a while."}
	defect       = kindOfProblem{"defect", "The server failed", http.StatusInternalServerError, "This is a defect. Tell whoever keeps the pool the number of the request."}
	problemKinds = []kindOfProblem{noToken, badToken, wrongScope, tooMany, tooLarge, tooSlow, cutOff, badBundle, conflict, badRequest, wrongType,
		notThere, wrongMethod, wrongHost, notNow, notReady, defect}
)

// problem is an error that is told to whoever asked.
type problem struct {
	kindOfProblem
	detail, try string
	header      http.Header // to go with it
	err         error       // for the log
}

func (p *problem) Error() string {
	if p.err != nil {
		return p.name + ": " + p.err.Error()
	}
	return p.name + ": " + p.detail
}

func (p *problem) Unwrap() error { return p.err }

// with makes a problem of the kind.
func (k kindOfProblem) with(format string, args ...any) *problem {
	return &problem{kindOfProblem: k, detail: fmt.Sprintf(format, args...)}
}

// after says when to try again.
func (p *problem) after(seconds int) *problem {
	if p.header == nil {
		p.header = http.Header{}
	}
	p.header.Set("Retry-After", strconv.Itoa(max(1, seconds)))
	return p
}

// problemOf makes a problem of any error. What the catalog says of bundles goes
// to their sender; what it says of itself stays in the log.
func problemOf(err error) *problem {
	var p *problem
	if errors.As(err, &p) {
		return p
	}
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		return &problem{kindOfProblem: tooLarge, detail: fmt.Sprintf("more than %d bytes", large.Limit), err: err}
	case errors.Is(err, os.ErrDeadlineExceeded):
		return &problem{kindOfProblem: tooSlow, err: err}
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return (&problem{kindOfProblem: notNow, err: err}).after(5)
	}
	var domain *catalog.Error
	errors.As(err, &domain)
	switch catalog.KindOf(err) {
	case catalog.Invalid, catalog.NotFound:
		return &problem{kindOfProblem: badBundle, detail: err.Error(), err: err}
	case catalog.Conflict:
		return &problem{kindOfProblem: conflict, detail: err.Error(), err: err}
	case catalog.Busy:
		return (&problem{kindOfProblem: notNow, err: err}).after(3)
	case catalog.Unavailable:
		return (&problem{kindOfProblem: notNow, err: err}).after(30)
	}
	return &problem{kindOfProblem: defect, err: err}
}

// write tells the problem. People get a page.
func (p *problem) write(w http.ResponseWriter, r *http.Request, s *Server) {
	for name, values := range p.header {
		w.Header()[name] = values
	}
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Del("ETag")
	if wantsPage(r) {
		s.writeProblemPage(w, r, p)
		return
	}
	body, err := json.Marshal(wire.Problem{Type: "/problems#" + p.name, Title: p.title, Status: p.status, Detail: catalog.HideSecrets(p.detail), Try: p.try, Request: requestOf(r).id})
	if err != nil {
		panic(err) // texts only
	}
	w.Header().Set("Content-Type", wire.ProblemType)
	w.WriteHeader(p.status)
	w.Write(append(body, '\n'))
}
