package main

import (
	"encoding/json"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"centwise/catalog"
	"centwise/catalog/sqlstore/pgtest"
)

// onServer are stories that run a second time with the catalog in a database:
// they say nothing of where it is, so all that they see must be the same.
var onServer = []string{"catalog_info", "horn_retire", "import_forms", "import_refused_labels", "measure_file", "session_history",
	"rank_little", "visit_shop"}

func TestScriptsOnServer(t *testing.T) {
	pgtest.Start(t)
	var files []string
	for _, name := range onServer {
		files = append(files, filepath.Join("testdata", "script", name+".txtar"))
	}
	runScripts(t, t.TempDir(), testscript.Params{Files: files}, func(e *testscript.Env) error {
		address, err := emptyDatabase(e.Defer)
		e.Setenv("CENTWISE_CATALOG", address)
		return err
	})
}

// emptyDatabase gives the address of a place for a catalog.
func emptyDatabase(later func(func())) (string, error) {
	server, err := pgtest.Running()
	if err != nil {
		return "", err
	}
	address, drop := server.Schema()
	later(func() {
		if err := drop(); err != nil {
			fmt.Fprintln(os.Stderr, err)
		}
	})
	return address, nil
}

// condition tells stories what there is: [postgres] is a server for tests. Where
// that must be there, stories without it fail.
func condition(name string) (bool, error) {
	if name != "postgres" {
		return false, fmt.Errorf("unknown condition %q", name)
	}
	return pgtest.Missing() == "", nil
}

// database NAME makes a place for a catalog on the test server, and puts its
// address into the variable NAME; into NAME_HOST and NAME_PORT where the server is.
// database -run STATEMENT... runs statements there as the server's keeper.
func database(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) == 0 {
		ts.Fatalf("usage: database NAME, or database -run STATEMENT...")
	}
	server, err := pgtest.Running()
	ts.Check(err)
	if args[0] == "-run" {
		ts.Check(server.Exec(args[1:]...))
		return
	}
	address, err := emptyDatabase(ts.Defer)
	ts.Check(err)
	u, err := url.Parse(address)
	ts.Check(err)
	ts.Setenv(args[0], address)
	ts.Setenv(args[0]+"_HOST", u.Host)
	ts.Setenv(args[0]+"_SCHEMA", u.Query().Get("search_path"))
}

// sameinfo FILE FILE compares what 'catalog info --json' says of two catalogs with
// the same data, wherever they are: counts and digest.
func sameinfo(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: sameinfo FILE FILE")
	}
	var said [2]catalog.Info
	for i, name := range args {
		ts.Check(json.Unmarshal([]byte(ts.ReadFile(name)), &said[i]))
		x := &said[i]
		x.Path, x.Bytes, x.FitDigest, x.FitAt, x.Drafts, x.Title = "", 0, "", time.Time{}, 0, ""
	}
	if said[0] != said[1] || said[0].Readings == 0 {
		ts.Fatalf("%s says %+v\n%s says %+v", args[0], said[0], args[1], said[1])
	}
}
