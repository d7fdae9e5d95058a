package main

import (
	"context"
	"database/sql"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
	_ "modernc.org/sqlite"
)

var update = flag.Bool("update", false, "write what commands print into the scripts")

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"centwise": mainOnStories})
}

// TestScripts runs the user stories of testdata/script, one a file, named
// command_case.
func TestScripts(t *testing.T) {
	root, err := os.MkdirTemp("", "centwise-test-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(root) })
	if err := os.Chmod(root, 0o755); err != nil { // for the command unprivileged
		t.Fatal(err)
	}
	runScripts(t, root, testscript.Params{Dir: filepath.Join("testdata", "script")}, nil)
}

// runScripts runs stories below the folder root.
func runScripts(t *testing.T, root string, p testscript.Params, setup func(*testscript.Env) error) {
	testdata, err := filepath.Abs(filepath.Join("..", "..", "testdata"))
	if err != nil {
		t.Fatal(err)
	}
	stories := watchStories(t, p)
	p.WorkdirRoot = root
	p.UpdateScripts = *update
	p.RequireExplicitExec = true
	p.RequireUniqueNames = true
	p.Condition = condition
	p.Setup = func(e *testscript.Env) error {
		e.Setenv("HOME", e.WorkDir)
		e.Setenv("XDG_DATA_HOME", filepath.Join(e.WorkDir, "data"))
		e.Setenv("LANG", "C.UTF-8")
		e.Setenv("TZ", "UTC")
		e.Setenv("ESC", "\x1b")
		e.Setenv("TESTDATA", testdata)
		for _, name := range []string{"CENTWISE_CATALOG", "CENTWISE_CONTRIBUTOR", "CENTWISE_POOL_TOKEN", "NO_COLOR", "CLICOLOR", "CLICOLOR_FORCE", "COLUMNS", "LC_ALL", "LC_CTYPE", "PGPASSWORD"} {
			e.Setenv(name, "")
		}
		if setup != nil {
			if err := setup(e); err != nil {
				return err
			}
		}
		return stories.watch(e)
	}
	p.Cmds = map[string]func(*testscript.TestScript, bool, []string){
		"exits":        exits,
		"lock":         lock,
		"unprivileged": unprivileged,
		"onterminal":   onTerminal,
		"typing":       typing,
		"keying":       keying,
		"makefile":     makeFile,
		"rounded":      rounded,
		"write":        write,
		"workbook":     workbook,
		"json":         jsonMembers,
		"refuses":      refuses,
		"serving":      serving,
		"database":     database,
		"sameinfo":     sameinfo,
	}
	testscript.Run(t, p)
}

// exits CODE PROGRAM ARGS... runs a program that must end with the exit code.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE PROGRAM [ARGS...]")
	}
	err := ts.Exec(args[1], args[2:]...)
	code := 0
	if err != nil {
		exit, ok := err.(*exec.ExitError)
		if !ok {
			ts.Fatalf("%v", err)
		}
		code = exit.ExitCode()
	}
	if strconv.Itoa(code) != args[0] {
		ts.Fatalf("%s ended with %d, want %s", strings.Join(args[1:], " "), code, args[0])
	}
}

// lock FILE [FOR] holds a catalog for writing, as another process would, to the end
// of the script or for so long.
func lock(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 1 || len(args) > 2 {
		ts.Fatalf("usage: lock FILE [FOR]")
	}
	db, err := sql.Open("sqlite", "file:"+ts.MkAbs(args[0])+"?_txlock=immediate")
	ts.Check(err)
	tx, err := db.BeginTx(context.Background(), nil)
	ts.Check(err)
	release := sync.OnceFunc(func() {
		tx.Rollback()
		db.Close()
	})
	ts.Defer(release)
	if len(args) == 2 {
		held, err := time.ParseDuration(args[1])
		ts.Check(err)
		time.AfterFunc(held, release)
	}
}

// makefile FILE BYTES [TEXT] makes a file of so many bytes, TEXT over and over.
func makeFile(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 || len(args) > 3 {
		ts.Fatalf("usage: makefile FILE BYTES [TEXT]")
	}
	size, err := strconv.Atoi(args[1])
	ts.Check(err)
	text := "\x00"
	if len(args) == 3 {
		text = args[2]
	}
	content := strings.Repeat(text, size/len(text)+1)[:size]
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(content), 0o644))
}

var number = regexp.MustCompile(`-?\d+\.\d+`)

// rounded FILE writes the decimal numbers of a file to one digit behind the
// point, the digits that are promised.
func rounded(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: rounded FILE")
	}
	path := ts.MkAbs(args[0])
	text, err := os.ReadFile(path)
	ts.Check(err)
	out := number.ReplaceAllStringFunc(string(text), func(s string) string {
		v, err := strconv.ParseFloat(s, 64)
		ts.Check(err)
		return strings.Replace(fmt.Sprintf("%.1f", v), "-0.0", "0.0", 1)
	})
	ts.Check(os.WriteFile(path, []byte(out), 0o644))
}

func copyFile(from, to string, mode os.FileMode) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_WRONLY, mode)
	if err != nil {
		return err
	}
	if _, err := io.Copy(out, in); err != nil {
		out.Close()
		return err
	}
	return out.Close()
}
