//go:build !unix

package main

import "github.com/rogpeppe/go-internal/testscript"

// unprivileged needs users as Unix knows them.
func unprivileged(ts *testscript.TestScript, _ bool, _ []string) {
	ts.Fatalf("put [unix] before unprivileged")
}
