package sqlstore

import (
	"cmp"
	"context"
	"database/sql"
	"database/sql/driver"
	"io/fs"
	"net"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"
)

// Connections that one process has at most: one for the writer, the others for
// those who read beside it.
const (
	maxConnections  = 20
	keptConnections = 4
)

// openServer opens the catalog in a database of a server.
func openServer(ctx context.Context, address string, o Options, migrations fs.FS) (*Store, error) {
	at, err := parseAddress(address)
	if err != nil {
		return nil, err
	}
	if o.ReadOnly {
		at.config.RuntimeParams["default_transaction_read_only"] = "on"
	}
	timeout := cmp.Or(max(0, o.BusyTimeout), defaultBusyTimeout)
	s := &Store{path: at.shown, dialect: postgresDialect(at, timeout, migrations), notice: o.Notice, readOnly: o.ReadOnly, writer: make(chan struct{}, 1)}
	if s.notice == nil {
		s.notice = func(string) {}
	}
	s.db = sql.OpenDB(newServerConnector(at))
	s.db.SetMaxOpenConns(maxConnections)
	s.db.SetMaxIdleConns(keptConnections)
	if err = s.prepare(ctx, o); err == nil && !s.readOnly {
		err = s.lookForRights(ctx, at.schema)
	}
	if err != nil {
		s.db.Close()
		return nil, s.fail(ctx, "opening", err)
	}
	return s, nil
}

// lookForRights finds out whether the catalog can be written: by the role, and
// on the server, which may be a copy that follows another one.
func (s *Store) lookForRights(ctx context.Context, schema string) error {
	if s.unmade {
		return nil
	}
	return s.db.QueryRowContext(ctx, `SELECT pg_is_in_recovery() OR current_setting('default_transaction_read_only') = 'on' OR NOT bool_and(
			has_table_privilege(c.oid, 'SELECT') AND has_table_privilege(c.oid, 'INSERT') AND has_table_privilege(c.oid, 'UPDATE') AND has_table_privilege(c.oid, 'DELETE'))
		FROM pg_catalog.pg_class c JOIN pg_catalog.pg_namespace n ON n.oid = c.relnamespace
		WHERE n.nspname = $1 AND c.relkind IN ('r', 'p') AND c.relname <> 'goose_db_version'`, schema).Scan(&s.readOnly)
}

// serverConnector opens connections to a server. Its errors say what to do.
type serverConnector struct {
	driver.Connector
	at *server
}

func newServerConnector(at *server) *serverConnector {
	config := at.config.Copy()
	dial := config.DialFunc
	config.DialFunc = func(ctx context.Context, network, address string) (net.Conn, error) {
		conn, err := dial(ctx, network, address)
		if way, ok := ctx.Value(wayKey{}).(*way); ok && err == nil {
			way.reached = true
		}
		return conn, err
	}
	config.AfterNetConnect = func(ctx context.Context, _ *pgconn.Config, conn net.Conn) (net.Conn, error) {
		if way, ok := ctx.Value(wayKey{}).(*way); ok {
			way.spoken = true
		}
		return conn, nil
	}
	return &serverConnector{stdlib.GetConnector(*config), at}
}

// way says how far connecting got: to the server, and past the agreement on
// encryption.
type way struct{ reached, spoken bool }

type wayKey struct{}

// Connect opens a connection.
func (c *serverConnector) Connect(ctx context.Context) (driver.Conn, error) {
	var got way
	conn, err := c.Connector.Connect(context.WithValue(ctx, wayKey{}, &got))
	if err != nil {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		return nil, c.at.refused(err, got)
	}
	return serverConn{conn.(*stdlib.Conn)}, nil
}

// serverConn is a connection to a server. Values are converted as database/sql
// does it for every driver, so that they mean the same in all of them.
type serverConn struct{ *stdlib.Conn }

// CheckNamedValue leaves the conversion to database/sql.
func (serverConn) CheckNamedValue(*driver.NamedValue) error { return driver.ErrSkip }

// onServer hands the connection of a transaction to do.
func (tx *transaction) onServer(do func(conn *pgx.Conn) error) error {
	return tx.raw(func(conn any) error {
		c, ok := conn.(serverConn)
		if !ok {
			return unexpected(conn, "copy")
		}
		return do(c.Conn.Conn())
	})
}
