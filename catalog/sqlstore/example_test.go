package sqlstore_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
)

// A change is one transaction: where a part of it is refused, nothing is kept.
func ExampleOpen() {
	ctx := context.Background()
	folder, err := os.MkdirTemp("", "sqlstore-example")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(folder)
	store, err := sqlstore.Open(ctx, filepath.Join(folder, "catalog.db"), sqlstore.Options{Create: true})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer store.Close()
	err = store.Apply(ctx, catalog.Changes{Horns: []catalog.Horn{{Label: "Alder"}, {Label: "Alder"}}})
	fmt.Println(catalog.KindOf(err) == catalog.Conflict)
	horns, err := store.Horns(ctx, true)
	fmt.Println(len(horns), err)
	// Output:
	// true
	// 0 <nil>
}
