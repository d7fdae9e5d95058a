package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"
	"golang.org/x/sys/unix"
)

// onterminal COLUMNS CODE ARGS... runs centwise with output and errors on a
// pseudo-terminal of that width; it must end with the exit code. What the
// terminal shows goes to the file screen.
func onTerminal(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: onterminal COLUMNS CODE ARGS...")
	}
	columns, err := strconv.Atoi(args[0])
	ts.Check(err)
	control, terminal, err := openTerminal(uint16(columns))
	ts.Check(err)
	defer control.Close()
	program, err := exec.LookPath(filepath.Join(strings.Split(ts.Getenv("PATH"), ":")[0], "centwise"))
	ts.Check(err)
	cmd := exec.Command(program, args[2:]...)
	cmd.Dir = ts.MkAbs(".")
	for _, name := range []string{"HOME", "PATH", "XDG_DATA_HOME", "LANG", "TERM", "TZ", "NO_COLOR", "CENTWISE_CATALOG", "TMPDIR"} {
		cmd.Env = append(cmd.Env, name+"="+ts.Getenv(name))
	}
	cmd.Stdout, cmd.Stderr = terminal, terminal
	ts.Check(cmd.Start())
	terminal.Close()
	text := screenText(control)
	cmd.Wait()
	ts.Check(os.WriteFile(ts.MkAbs("screen"), []byte(text), 0o644))
	if code := cmd.ProcessState.ExitCode(); strconv.Itoa(code) != args[1] {
		ts.Fatalf("ended with %d, want %s:\n%s", code, args[1], text)
	}
	ts.Logf("%s", text)
}

// openTerminal makes a pseudo-terminal: its two sides, see pts(4).
func openTerminal(columns uint16) (control, terminal *os.File, err error) {
	control, err = os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil {
		return nil, nil, err
	}
	fd := int(control.Fd())
	if err := unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0); err != nil {
		return nil, nil, err
	}
	number, err := unix.IoctlGetInt(fd, unix.TIOCGPTN)
	if err != nil {
		return nil, nil, err
	}
	terminal, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", number), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		return nil, nil, err
	}
	return control, terminal, unix.IoctlSetWinsize(fd, unix.TIOCSWINSZ, &unix.Winsize{Row: 50, Col: columns})
}
