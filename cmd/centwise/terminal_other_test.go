//go:build !linux

package main

import "github.com/rogpeppe/go-internal/testscript"

// onTerminal opens pseudo-terminals as Linux does.
func onTerminal(ts *testscript.TestScript, _ bool, _ []string) {
	ts.Fatalf("put [linux] before onterminal")
}

func typing(ts *testscript.TestScript, _ bool, _ []string) {
	ts.Fatalf("put [linux] before typing")
}

func keying(ts *testscript.TestScript, _ bool, _ []string) {
	ts.Fatalf("put [linux] before keying")
}
