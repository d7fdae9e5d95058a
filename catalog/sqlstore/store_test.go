package sqlstore_test

import (
	"testing"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
	"centwise/catalog/sqlstore/pgtest"
	"centwise/catalog/storetest"
)

func TestContract(t *testing.T) {
	storetest.Run(t, func(t *testing.T) catalog.Store { return newStore(t) })
}

func TestContractOnServer(t *testing.T) {
	pgtest.Start(t)
	storetest.Run(t, func(t *testing.T) catalog.Store { return serverStore(t) })
}

// serverStore is a new catalog on the server.
func serverStore(tb testing.TB) *sqlstore.Store {
	tb.Helper()
	return openAt(tb, pgtest.Start(tb).Catalog(tb), sqlstore.Options{Create: true})
}

// openAt opens and closes with the test.
func openAt(tb testing.TB, address string, o sqlstore.Options) *sqlstore.Store {
	tb.Helper()
	s, err := sqlstore.Open(ctx, address, o)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { s.Close() })
	return s
}
