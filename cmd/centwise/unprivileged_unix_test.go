//go:build unix

package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"syscall"

	"github.com/rogpeppe/go-internal/testscript"
)

// nobody is the usual number of a user without rights.
const nobody = 65534

// unprivileged CODE ARGS... runs centwise as a user whom permissions bind, which
// they don't the administrator; it must end with the exit code. What it prints
// goes to the file printed.
func unprivileged(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: unprivileged CODE ARGS...")
	}
	// The name of the program chooses the command of a test binary.
	program := filepath.Join(ts.MkAbs("."), "centwise")
	self, err := os.Executable()
	ts.Check(err)
	ts.Check(copyFile(self, program, 0o755))
	cmd := exec.Command(program, args[1:]...)
	cmd.Dir = ts.MkAbs(".")
	cmd.Env = []string{"HOME=/nonexistent", "LANG=C.UTF-8"}
	if os.Getuid() == 0 {
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
	}
	out, _ := cmd.CombinedOutput()
	ts.Check(os.WriteFile(ts.MkAbs("printed"), out, 0o644))
	if code := cmd.ProcessState.ExitCode(); strconv.Itoa(code) != args[0] {
		ts.Fatalf("ended with %d, want %s:\n%s", code, args[0], out)
	}
}
