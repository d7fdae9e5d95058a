package sqlstore

import (
	"context"
	"fmt"
	"slices"
	"strings"
)

// table is one of a catalog, the same in every dialect but for the order of its
// columns.
type table struct {
	name    string
	columns []string // sorted
	parents []string // tables that its rows belong to, but for itself
}

// tablesSQLite lists the tables of a file.
func tablesSQLite(ctx context.Context, db queryer) ([]table, error) {
	return gatherTables(ctx, db, `SELECT t.name, c.name, '' FROM sqlite_schema t, pragma_table_info(t.name) c
			WHERE t.type = 'table' AND t.name NOT LIKE 'sqlite_%' AND t.name <> 'goose_db_version'
		UNION ALL SELECT t.name, '', k."table" FROM sqlite_schema t, pragma_foreign_key_list(t.name) k WHERE t.type = 'table'`)
}

// tablesPostgres lists the tables of a schema.
func tablesPostgres(ctx context.Context, db queryer, schema string) ([]table, error) {
	return gatherTables(ctx, db, `SELECT c.relname::TEXT, a.attname::TEXT, '' FROM pg_catalog.pg_class c
			JOIN pg_catalog.pg_namespace n ON n.oid = c.relnamespace JOIN pg_catalog.pg_attribute a ON a.attrelid = c.oid
			WHERE n.nspname = $1 AND c.relkind IN ('r', 'p') AND c.relname <> 'goose_db_version' AND a.attnum > 0 AND NOT a.attisdropped
		UNION ALL SELECT c.relname::TEXT, '', p.relname::TEXT FROM pg_catalog.pg_constraint k JOIN pg_catalog.pg_class c ON c.oid = k.conrelid
			JOIN pg_catalog.pg_class p ON p.oid = k.confrelid JOIN pg_catalog.pg_namespace n ON n.oid = k.connamespace
			WHERE n.nspname = $1 AND k.contype = 'f'`, schema)
}

// gatherTables runs a query for tables with a column or a parent each, and sorts
// the tables so that parents come first.
func gatherTables(ctx context.Context, db queryer, query string, args ...any) ([]table, error) {
	rows, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	found := map[string]*table{}
	for rows.Next() {
		var name, column, parent string
		if err := rows.Scan(&name, &column, &parent); err != nil {
			return nil, err
		}
		t := found[name]
		if t == nil {
			t = &table{name: name}
			found[name] = t
		}
		if column != "" {
			t.columns = append(t.columns, column)
		} else if parent != name && !slices.Contains(t.parents, parent) {
			t.parents = append(t.parents, parent)
		}
	}
	return parentsFirst(found), rows.Err()
}

func parentsFirst(found map[string]*table) []table {
	var names []string
	for name, t := range found {
		names = append(names, name)
		slices.Sort(t.columns)
		slices.Sort(t.parents)
	}
	slices.Sort(names)
	var out []table
	done := map[string]bool{}
	var visit func(name string)
	visit = func(name string) {
		t := found[name]
		if done[name] || t == nil {
			return
		}
		done[name] = true
		for _, p := range t.parents {
			visit(p)
		}
		out = append(out, *t)
	}
	for _, name := range names {
		visit(name)
	}
	return out
}

// foreignKey is a rule that rows of one table belong to rows of another.
type foreignKey struct {
	child, parent   string
	columns, theirs []string
}

// foreignKeys lists the rules of a schema on a server.
func foreignKeys(ctx context.Context, db queryer) ([]foreignKey, error) {
	rows, err := db.QueryContext(ctx, `SELECT c.relname::TEXT, p.relname::TEXT,
			(SELECT string_agg(a.attname, ' ' ORDER BY u.place) FROM unnest(k.conkey) WITH ORDINALITY u (number, place)
				JOIN pg_catalog.pg_attribute a ON a.attrelid = k.conrelid AND a.attnum = u.number),
			(SELECT string_agg(a.attname, ' ' ORDER BY u.place) FROM unnest(k.confkey) WITH ORDINALITY u (number, place)
				JOIN pg_catalog.pg_attribute a ON a.attrelid = k.confrelid AND a.attnum = u.number)
		FROM pg_catalog.pg_constraint k JOIN pg_catalog.pg_class c ON c.oid = k.conrelid JOIN pg_catalog.pg_class p ON p.oid = k.confrelid
		JOIN pg_catalog.pg_namespace n ON n.oid = k.connamespace WHERE n.nspname = current_schema() AND k.contype = 'f' ORDER BY 1, k.conname`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []foreignKey
	for rows.Next() {
		var k foreignKey
		var columns, theirs string
		if err := rows.Scan(&k.child, &k.parent, &columns, &theirs); err != nil {
			return nil, err
		}
		k.columns, k.theirs = strings.Fields(columns), strings.Fields(theirs)
		out = append(out, k)
	}
	return out, rows.Err()
}

// orphans counts the rows that belong to nothing.
func (k foreignKey) orphans() string {
	var same, given []string
	for i, c := range k.columns {
		same = append(same, fmt.Sprintf("p.%s = c.%s", k.theirs[i], c))
		given = append(given, fmt.Sprintf("c.%s IS NOT NULL", c))
	}
	return fmt.Sprintf(`SELECT COUNT(*) FROM %s c WHERE %s AND NOT EXISTS (SELECT 1 FROM %s p WHERE %s)`,
		k.child, strings.Join(given, " AND "), k.parent, strings.Join(same, " AND "))
}
