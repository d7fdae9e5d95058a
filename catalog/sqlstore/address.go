package sqlstore

import (
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgconn/ctxwatch"

	"centwise/catalog"
)

// IsAddress reports whether a catalog is named by the address of a database
// server, not by the path of a file.
func IsAddress(path string) bool {
	return strings.HasPrefix(path, "postgres://") || strings.HasPrefix(path, "postgresql://")
}

// Shown is a path or an address as it may be shown: without a password.
func Shown(path string) string {
	if !IsAddress(path) {
		return path
	}
	return splitAddress(path).shown()
}

// defaultSchema is where the tables of a catalog lie in the database, unless
// the address says otherwise.
const defaultSchema = "centwise"

// parts are those of an address.
type parts struct {
	scheme, user, password, hosts, database, query string
	named                                          bool // there is a user, or an empty one
	odd                                            bool // can't be taken apart for certain
}

// hostList is one or more hosts, each with a port or without.
var hostList = regexp.MustCompile(`^((\[[^\]]*\]|[^:\[\],]*)(:[0-9]*)?(,|$))*$`)

// secret are parameters that hold passwords.
var secret = []string{"password", "sslpassword"}

// splitAddress takes an address apart. A password with an unescaped / ? or #
// would make a host of what is before it, so @ and # further on, and ports that
// are no numbers, are a sign that it can't be told what is secret.
func splitAddress(address string) (p parts) {
	var rest string
	p.scheme, rest, _ = strings.Cut(address, "://")
	authority := rest
	if i := strings.IndexAny(rest, "/?#"); i >= 0 {
		authority, rest = rest[:i], rest[i:]
	} else {
		rest = ""
	}
	p.hosts = authority
	if i := strings.LastIndex(authority, "@"); i >= 0 {
		p.named, p.hosts = true, authority[i+1:]
		p.user, p.password, _ = strings.Cut(authority[:i], ":")
	}
	p.odd = strings.ContainsAny(rest, "@#") || strings.Contains(p.user+p.password, "@") || !hostList.MatchString(p.hosts) ||
		strings.ContainsAny(address, " \t\r\n\x00")
	p.database, p.query, _ = strings.Cut(rest, "?")
	p.database = strings.TrimPrefix(p.database, "/")
	return p
}

func (p parts) shown() string {
	if p.odd {
		return p.scheme + "://..."
	}
	var kept []string
	for word := range strings.SplitSeq(p.query, "&") {
		key, _, _ := strings.Cut(word, "=")
		if name, err := url.QueryUnescape(key); err == nil && word != "" && !slices.Contains(secret, strings.ToLower(name)) {
			kept = append(kept, word)
		}
	}
	out := p.scheme + "://"
	if p.user != "" {
		out += p.user + "@"
	}
	out += p.hosts + "/" + p.database
	if len(kept) > 0 {
		out += "?" + strings.Join(kept, "&")
	}
	return out
}

// server is what an address says.
type server struct {
	shown  string
	schema string
	config *pgx.ConnConfig
}

var schemaName = regexp.MustCompile(`^[a-z_][a-z0-9_]{0,62}$`)

// connectTimeout is how long to wait for a server to answer, unless the address
// says otherwise.
const connectTimeout = 15 * time.Second

const howToWrite = "write it as postgres://NAME@HOST/DATABASE, with other signs than letters, digits, - . _ and ~ of names and passwords as %40 (@), %2F (/), %23 (#), %3F (?), %25 (%)"

// parseAddress reads an address. Its errors say nothing of the password.
func parseAddress(address string) (*server, error) {
	p := splitAddress(address)
	s := &server{shown: p.shown(), schema: defaultSchema}
	bad := func(hint, why string) error {
		return catalog.Errorf(catalog.Invalid, hint, "the address %s can't be read: %s", s.shown, why)
	}
	if p.odd {
		return nil, bad(howToWrite, "there is an @, # or space where none may be, or a port that is no number")
	}
	for _, part := range []string{p.user, p.password, p.database} {
		if _, err := url.PathUnescape(part); err != nil {
			return nil, bad(howToWrite, "a % is not followed by two hexadecimal digits")
		}
	}
	query, err := url.ParseQuery(p.query)
	if err != nil {
		return nil, bad(howToWrite, "what comes after the ? is not a list of name=value with & between")
	}
	if query.Has("search_path") {
		s.schema = query.Get("search_path")
		query.Del("search_path")
	}
	if !schemaName.MatchString(s.schema) || strings.HasPrefix(s.schema, "pg_") || s.schema == "information_schema" {
		return nil, bad("name one schema of small letters, digits and _, as in search_path=autumn", "search_path does not name a schema for a catalog")
	}
	p.query = query.Encode()
	if s.config, err = pgx.ParseConfig(p.whole()); err != nil {
		return nil, bad("check what is after the host: sslmode is disable, prefer, require, verify-ca or verify-full; a port is a number; files must be there", reason(err, p, query))
	}
	if s.config.User == "" || s.config.Database == "" {
		return nil, bad(howToWrite, "it names no user or no database")
	}
	s.complete(query)
	return s, nil
}

// whole is the address as the driver takes it.
func (p parts) whole() string {
	out := p.scheme + "://"
	if p.named {
		out += p.user
		if p.password != "" {
			out += ":" + p.password
		}
		out += "@"
	}
	out += p.hosts + "/" + p.database
	if p.query != "" {
		out += "?" + p.query
	}
	return out
}

// reason is what the driver has against an address, without the address itself
// and without anything secret.
func reason(err error, p parts, query url.Values) string {
	text := err.Error()
	if _, after, ok := strings.Cut(text, "`: "); ok {
		text = after
	}
	plain, _ := url.PathUnescape(p.password)
	for _, word := range append([]string{p.password, plain, query.Get(secret[0])}, query[secret[1]]...) {
		if word != "" {
			text = strings.ReplaceAll(text, word, "...")
		}
	}
	return text
}

// complete sets what every connection to a catalog has.
func (s *server) complete(query url.Values) {
	c := s.config
	if !query.Has("connect_timeout") && os.Getenv("PGCONNECT_TIMEOUT") == "" {
		c.ConnectTimeout = connectTimeout
	}
	c.RuntimeParams["search_path"] = s.schema
	c.RuntimeParams["client_encoding"] = "UTF8"
	c.RuntimeParams["jit"] = "off" // takes longer than any statement of ours
	if c.RuntimeParams["application_name"] == "" {
		c.RuntimeParams["application_name"] = "centwise"
	}
	// A command that is stopped lets go of what it waits for on the server too.
	c.BuildContextWatcherHandler = func(conn *pgconn.PgConn) ctxwatch.Handler {
		return &pgconn.CancelRequestContextWatcherHandler{Conn: conn, DeadlineDelay: 2 * time.Second}
	}
}
