package pool_test

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"

	"centwise/catalog"
	"centwise/catalog/pool"
	"centwise/catalog/sqlstore"
)

// A bundle carries a horn from one catalog to another; a second time it changes
// nothing.
func ExampleMerge() {
	ctx := context.Background()
	folder, err := os.MkdirTemp("", "pool-example")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(folder)
	var catalogs [2]catalog.Store
	for i, name := range []string{"harbour.db", "hill.db"} {
		if catalogs[i], err = sqlstore.Open(ctx, filepath.Join(folder, name), sqlstore.Options{Create: true}); err != nil {
			fmt.Println(err)
			return
		}
		defer catalogs[i].Close()
	}
	if err := catalogs[0].Apply(ctx, catalog.Changes{Horns: []catalog.Horn{{Label: "Alder", Maker: "Tidewright"}}}); err != nil {
		fmt.Println(err)
		return
	}
	var bundle bytes.Buffer
	if _, err := pool.Export(ctx, catalogs[0], &bundle, pool.ExportOptions{}); err != nil {
		fmt.Println(err)
		return
	}
	for range 2 {
		merged, err := pool.Merge(ctx, catalogs[1], []pool.File{{Name: "harbour.jsonl.gz", Content: bytes.NewReader(bundle.Bytes())}}, nil)
		fmt.Println(merged.Horns.New, "new,", merged.Horns.Changed, "changed,", err)
	}
	// Output:
	// 1 new, 0 changed, <nil>
	// 0 new, 0 changed, <nil>
}
