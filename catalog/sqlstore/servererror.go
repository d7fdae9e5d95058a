package sqlstore

import (
	"crypto/tls"
	"crypto/x509"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"

	"github.com/jackc/pgx/v5/pgconn"

	"centwise/catalog"
)

// classifyPostgres sorts by SQLSTATE
// (https://www.postgresql.org/docs/current/errcodes-appendix.html).
func classifyPostgres(err error) class {
	var e *pgconn.PgError
	if errors.As(err, &e) {
		if c, ok := byState[e.Code]; ok {
			return c
		}
		if len(e.Code) == 5 {
			return byFamily[e.Code[:2]]
		}
		return other
	}
	var network net.Error
	switch {
	case errors.Is(err, driver.ErrBadConn), errors.Is(err, sql.ErrConnDone), errors.Is(err, pgconn.ErrConnClosed),
		errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, net.ErrClosed), errors.As(err, &network):
		return gone
	}
	return other
}

var byState = map[string]class{
	"23505": unique, "23P01": unique,
	"22021": badText, "22P05": badText,
	"25006": readOnly,
	"25P03": gone, // the server gave up on an idle writer
	"40001": brokenOff, "40P01": brokenOff,
	"0A000": brokenOff, // a statement prepared before the tables were changed
	"42501": forbidden,
	"42P01": vanished, "42703": vanished, "3F000": vanished,
	"53100": full,
	"55P03": busy,
	"57014": interrupted,
	"58030": inputOutput,
	"XX001": damaged, "XX002": damaged,
}

// byFamily is by the first two characters of a SQLSTATE.
var byFamily = map[string]class{"08": gone, "23": constraint, "53": crowded, "54": tooBig, "57": gone}

// explain gives the kind of a class of errors and what to do about it, of a
// catalog on a server.
func (at *server) explain(c class) (catalog.Kind, string) {
	switch c {
	case unique:
		return catalog.Conflict, "it is in the catalog already"
	case constraint:
		return catalog.Invalid, "the database refuses the value"
	case badText:
		return catalog.Invalid, "a text holds bytes that are no UTF-8, or the character U+0000"
	case busy:
		return catalog.Busy, "somebody else has been writing for long: wait until they have finished, then try again"
	case brokenOff:
		return catalog.Busy, "the server broke it off because of what others do: try again"
	case crowded:
		return catalog.Busy, "the server has too much to do, or no connection free: try again later"
	case readOnly, forbidden:
		return catalog.Unavailable, at.rights("SELECT")
	case full:
		return catalog.Unavailable, "the server's disk is full: nothing was written; tell its keeper"
	case damaged, inputOutput:
		return catalog.Unavailable, "the server can't read its files: tell its keeper; see what is wrong with: centwise catalog check"
	case tooBig:
		return catalog.Invalid, "it is larger than the database can hold"
	case gone:
		return catalog.Unavailable, "the connection to the server was lost and nothing was written: try again"
	case vanished:
		return catalog.Unavailable, "its tables are not those of a catalog of this version: was it removed, or changed by another version, meanwhile? Try again"
	case interrupted:
		return catalog.Unavailable, "the server stopped it, perhaps because it took longer than statement_timeout allows"
	}
	return catalog.Internal, ""
}

// rights says how to get rights to the catalog.
func (at *server) rights(which string) string {
	return fmt.Sprintf("have its owner run: GRANT USAGE ON SCHEMA %[1]s TO %[2]s; GRANT %[3]s ON ALL TABLES IN SCHEMA %[1]s TO %[2]s",
		at.schema, quoted(at.config.User), which)
}

// refused explains why no connection came to be.
func (at *server) refused(err error, got way) error {
	var fromServer *pgconn.PgError
	if errors.As(err, &fromServer) {
		return at.turnedAway(fromServer)
	}
	kind, hint := catalog.Unavailable, "check host and port, and that the server runs and may be reached from here"
	what := "no connection to " + at.shown
	var name *net.DNSError
	var network net.Error
	switch {
	case errors.As(err, &name):
		what, hint = fmt.Sprintf("there is no host called %q, for %s", name.Name, at.shown), "check the host in the address, and the network"
	case got.reached && !got.spoken, distrusted(err):
		what, hint = "no secure connection to "+at.shown, secureHint(err)
	case errors.As(err, &network) && network.Timeout():
		what = fmt.Sprintf("no answer from %s within %s", at.shown, at.config.ConnectTimeout)
	}
	return &catalog.Error{Kind: kind, What: what, Hint: hint, Err: cause(err)}
}

// distrusted reports whether the server's certificate was not believed.
func distrusted(err error) bool {
	var certificate *tls.CertificateVerificationError
	var alert tls.AlertError
	return errors.As(err, &certificate) || errors.As(err, &alert)
}

// secureHint is what to do when the two ends do not agree on encryption.
func secureHint(err error) string {
	var host x509.HostnameError
	switch {
	case errors.As(err, &host):
		return "use the name of the host that is in the server's certificate"
	case distrusted(err):
		return "give the certificate of the server's authority: ?sslrootcert=FILE&sslmode=verify-full"
	}
	return "have encryption turned on at the server; without it (?sslmode=disable) others on the network can read along"
}

// ErrNoDatabase is the cause when there is no catalog because not even the
// database is there.
var ErrNoDatabase = errors.New("the server has no such database")

// turnedAway explains what the server said.
func (at *server) turnedAway(e *pgconn.PgError) error {
	user, base := at.config.User, at.config.Database
	out := &catalog.Error{Kind: catalog.Unavailable, Err: errors.New(e.Message)}
	switch classify := classifyPostgres(e); {
	case e.Code == "28P01" && at.config.Password == "":
		out.What = fmt.Sprintf("the server of %s wants a password of %q", at.shown, user)
		out.Hint = "give it in the variable PGPASSWORD, or in the file ~/.pgpass as HOST:PORT:DATABASE:NAME:PASSWORD"
	case e.Code == "28P01":
		out.What = fmt.Sprintf("the server of %s does not take this password of %q", at.shown, user)
		out.Hint = "check name and password: in the address, in PGPASSWORD or in ~/.pgpass"
	case strings.HasPrefix(e.Code, "28"):
		out.What = fmt.Sprintf("the server of %s does not let %q in", at.shown, user)
		out.Hint = "check the name; else ask the server's keeper whether it may connect from here (pg_hba.conf), perhaps only encrypted (?sslmode=require)"
	case e.Code == "3D000":
		out.Kind, out.Err = catalog.NotFound, ErrNoDatabase
		out.What = "no catalog at " + at.shown
		out.Hint = "check the address, or have the database made: createdb --owner " + catalog.ShellWord(user) + " " + catalog.ShellWord(base)
	case e.Code == "57P03" || classify == crowded:
		out.Kind = catalog.Busy
		out.What = "the server of " + at.shown + " takes nobody in just now"
		out.Hint = "wait a little, then try again"
	case classify == forbidden:
		out.What = fmt.Sprintf("%q may not use the database of %s", user, at.shown)
		out.Hint = "have its owner run: GRANT CONNECT ON DATABASE " + quoted(base) + " TO " + quoted(user)
	default:
		out.What, out.Hint = "no connection to "+at.shown, "check the address"
	}
	return out
}

// cause is the innermost error that says something: the driver's own words name
// each way it tried on a line of its own.
func cause(err error) error {
	for {
		switch inner := err.(type) {
		case *net.OpError, *net.DNSError, *tls.CertificateVerificationError:
			return inner
		case interface{ Unwrap() error }:
			if next := inner.Unwrap(); next != nil {
				err = next
				continue
			}
		case interface{ Unwrap() []error }:
			if list := inner.Unwrap(); len(list) > 0 {
				err = list[len(list)-1]
				continue
			}
		}
		return err
	}
}
