package sqlstore

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"centwise/catalog"
)

// A catalog is copied to another kind of database table by table: tables and
// columns have the same names everywhere, and hold the same values. So drafts,
// loans, visits, the stored fit and what later versions add go along.

// transfer fills a new catalog with everything of this one, as of one moment, in
// one transaction.
func (s *Store) transfer(ctx context.Context, to *Store) error {
	return s.transact(ctx, s.dialect.reading, func(from *transaction) error {
		return to.writeOnce(ctx, "copying the catalog", func(tx *transaction) error {
			tables, err := to.dialect.tables(ctx, tx)
			if err != nil {
				return err
			}
			if err := s.sameTables(ctx, from, tables); err != nil {
				return err
			}
			// A new catalog has rows of its own, such as its digest.
			for _, t := range slices.Backward(tables) {
				if _, err := tx.ExecContext(ctx, `DELETE FROM `+t.name); err != nil {
					return err
				}
			}
			if to.dialect.deferRules != "" {
				if _, err := tx.ExecContext(ctx, to.dialect.deferRules); err != nil {
					return err
				}
			}
			for _, t := range tables {
				if err := s.copyTable(ctx, from, tx, to, t); err != nil {
					return fmt.Errorf("table %s: %w", t.name, err)
				}
			}
			if to.dialect.analyze != "" {
				_, err = tx.ExecContext(ctx, to.dialect.analyze)
			}
			return err
		})
	})
}

// sameTables makes sure that nothing would be left behind.
func (s *Store) sameTables(ctx context.Context, from *transaction, want []table) error {
	have, err := s.dialect.tables(ctx, from)
	if err != nil {
		return s.fail(ctx, "listing the tables", err)
	}
	same := slices.EqualFunc(sortedByName(have), sortedByName(want), func(a, b table) bool {
		return a.name == b.name && slices.Equal(a.columns, b.columns)
	})
	if !same {
		return catalog.Errorf(catalog.Unavailable, "take what is not the catalog's out of its schema", "the tables of %s are not those of a catalog of this version alone", s.path)
	}
	return nil
}

func sortedByName(list []table) []table {
	return slices.SortedFunc(slices.Values(list), func(a, b table) int { return strings.Compare(a.name, b.name) })
}

// copyTable copies the rows of one table as they stream in.
func (s *Store) copyTable(ctx context.Context, from, to *transaction, store *Store, t table) error {
	rows, err := from.QueryContext(ctx, `SELECT `+strings.Join(t.columns, ", ")+` FROM `+t.name)
	if err != nil {
		return s.fail(ctx, "reading table "+t.name, err)
	}
	defer rows.Close()
	into, err := store.dialect.bulk(ctx, to, t.name, t.columns, false)
	if err != nil {
		return err
	}
	defer into.close()
	values := make([]any, len(t.columns))
	places := make([]any, len(t.columns))
	for i := range values {
		places[i] = &values[i]
	}
	for rows.Next() {
		if err := rows.Scan(places...); err != nil {
			return err
		}
		for i, v := range values {
			if b, ok := v.([]byte); ok && b == nil {
				values[i] = []byte{} // no bytes, which is not NULL
			}
		}
		if err := into.add(values...); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil {
		return s.fail(ctx, "reading table "+t.name, err)
	}
	return into.flush()
}
