package sqlstore

import (
	"context"
	"database/sql/driver"

	"github.com/jackc/pgx/v5"
)

// valuesPerCopy is how many values wait before they are sent to a server.
const valuesPerCopy = 100_000

// copying is a bulk that a server takes as a stream (COPY), without a statement
// or a reply for each row.
type copying struct {
	ctx     context.Context
	tx      *transaction
	table   string
	columns []string
	values  []any // row after row
}

func newCopying(ctx context.Context, tx *transaction, table string, columns []string, _ bool) (bulk, error) {
	return &copying{ctx: ctx, tx: tx, table: table, columns: columns}, nil
}

func (c *copying) add(values ...any) error {
	for _, v := range values {
		plain, err := driver.DefaultParameterConverter.ConvertValue(v)
		if err != nil {
			return err
		}
		c.values = append(c.values, plain)
	}
	if len(c.values) < valuesPerCopy {
		return nil
	}
	return c.flush()
}

func (c *copying) flush() error {
	if len(c.values) == 0 {
		return nil
	}
	defer func() {
		clear(c.values)
		c.values = c.values[:0]
	}()
	n, width := 0, len(c.columns)
	rows := pgx.CopyFromFunc(func() ([]any, error) {
		if n == len(c.values) {
			return nil, nil
		}
		n += width
		return c.values[n-width : n], nil
	})
	return c.tx.onServer(func(conn *pgx.Conn) error {
		_, err := conn.CopyFrom(c.ctx, pgx.Identifier{c.table}, c.columns, rows)
		return err
	})
}

func (c *copying) close() {}
