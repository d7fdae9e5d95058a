package sqlstore

import (
	"context"
	"database/sql/driver"
	"fmt"
	"io"
	"net/url"
	"path/filepath"
	"strings"
	"time"

	"modernc.org/sqlite"
)

// connection is what a connection to a catalog's file is opened with.
type connection struct {
	path      string // absolute
	mode      string // ro, rw or rwc
	immutable bool   // on a medium that nobody can write
	journal   string // journal mode asked for; empty leaves it as it is
	timeout   time.Duration
	extra     url.Values // more parameters, for tests of full disks and odd file systems
}

// dsn writes the connection as the driver takes it. Without "file:" the driver
// ignores mode, and without escaping a path with # ? or % opens another file.
func (c connection) dsn() string {
	path := filepath.ToSlash(c.path)
	if !strings.HasPrefix(path, "/") {
		path = "/" + path // C:/catalog.db
	}
	q := url.Values{
		"mode":         {c.mode},
		"_txlock":      {"immediate"},
		"_time_format": {"sqlite"},
		"_dqs":         {"0"},
		"_pragma":      {fmt.Sprintf("busy_timeout(%d)", c.timeout.Milliseconds()), "foreign_keys(1)"},
	}
	if c.journal != "" {
		q.Add("_pragma", "journal_mode("+c.journal+")")
	}
	if c.immutable {
		q.Set("immutable", "1")
	}
	for key, values := range c.extra {
		q[key] = append(q[key], values...)
	}
	u := url.URL{Scheme: "file", Path: path, RawQuery: q.Encode()}
	return u.String()
}

// connector opens connections and makes sure of each that the settings took: a
// misspelt setting is ignored by the driver, and one made later by a statement
// would reach one connection of the pool only.
type connector struct {
	driver.Connector
	want connection
}

func newConnector(c connection) (*connector, error) {
	inner, err := sqlite.NewConnector(c.dsn())
	if err != nil {
		return nil, err
	}
	return &connector{inner, c}, nil
}

// Connect opens a connection and reads its settings back.
func (c *connector) Connect(ctx context.Context) (driver.Conn, error) {
	conn, err := c.Connector.Connect(ctx)
	if err != nil {
		return nil, err
	}
	if err := c.verify(ctx, conn); err != nil {
		conn.Close()
		return nil, err
	}
	return conn, nil
}

// fullSync is PRAGMA synchronous = FULL: a commit is on disk when it returns.
const fullSync = 2

func (c *connector) verify(ctx context.Context, conn driver.Conn) error {
	for _, want := range []struct {
		pragma string
		least  int64
	}{
		{"foreign_keys", 1},
		{"busy_timeout", c.want.timeout.Milliseconds()},
		{"synchronous", fullSync},
	} {
		got, err := pragma(ctx, conn, want.pragma)
		if err != nil {
			return err
		}
		if n, ok := got.(int64); !ok || n < want.least {
			return fmt.Errorf("the database did not take its setting %s: it is %v", want.pragma, got)
		}
	}
	return nil
}

// pragma reads one setting of a connection.
func pragma(ctx context.Context, conn driver.Conn, name string) (driver.Value, error) {
	q, ok := conn.(driver.QueryerContext)
	if !ok {
		return nil, fmt.Errorf("the database driver cannot be asked for %s", name)
	}
	rows, err := q.QueryContext(ctx, "PRAGMA "+name, nil)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	row := make([]driver.Value, len(rows.Columns()))
	if err := rows.Next(row); err != nil {
		if err == io.EOF {
			return nil, fmt.Errorf("the database has no setting %s", name)
		}
		return nil, err
	}
	return row[0], nil
}
