package main

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// typist is somebody at a terminal on which a program runs: reads until the
// program asks, then types a line.
type typist struct {
	cmd     *exec.Cmd
	control *os.File
	mu      sync.Mutex
	screen  bytes.Buffer  // all that was shown
	ended   chan struct{} // the program let go of the terminal
}

// promptEnd is how a program's question ends.
const promptEnd = ": "

var errSilent = errors.New("the program neither asks nor ends")

// sitDown starts a program on a terminal of its own.
func sitDown(columns uint16, cmd *exec.Cmd) (*typist, error) {
	control, terminal, err := openTerminal(columns)
	if err != nil {
		return nil, err
	}
	defer terminal.Close()
	cmd.Stdin, cmd.Stdout, cmd.Stderr = terminal, terminal, terminal
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true} // so that Ctrl-C reaches it
	if err := cmd.Start(); err != nil {
		control.Close()
		return nil, err
	}
	t := &typist{cmd: cmd, control: control, ended: make(chan struct{})}
	go func() {
		defer close(t.ended)
		part := make([]byte, 4096)
		for {
			n, err := control.Read(part)
			t.mu.Lock()
			t.screen.Write(part[:n])
			t.mu.Unlock()
			if err != nil {
				return
			}
		}
	}()
	return t, nil
}

// shown is all that was shown so far.
func (t *typist) shown() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	return strings.ReplaceAll(t.screen.String(), "\r\n", "\n")
}

// asked waits until the program asks something after the first so many bytes
// that it showed, or ends (false).
func (t *typist) asked(after int) (bool, error) {
	for deadline := time.Now().Add(60 * time.Second); time.Now().Before(deadline); {
		if text := t.shown(); len(text) > after && strings.HasSuffix(text, promptEnd) {
			return true, nil
		}
		select {
		case <-t.ended:
			return false, nil
		case <-time.After(2 * time.Millisecond):
		}
	}
	return false, errSilent
}

// types types a line and gives how much was shown before. ^C and ^D are those
// keys.
func (t *typist) types(line string) (before int, err error) {
	before = len(t.shown())
	keys := line + "\r"
	if len(line) == 2 && line[0] == '^' {
		keys = string(line[1] & 0x1f)
	}
	_, err = t.control.WriteString(keys)
	return before, err
}

// leave waits for the end of the program and gives its exit code.
func (t *typist) leave() int {
	<-t.ended
	t.cmd.Wait()
	t.control.Close()
	return t.cmd.ProcessState.ExitCode()
}

// kill ends the program at once, as kill -9 does.
func (t *typist) kill() {
	t.cmd.Process.Kill()
	t.leave()
}

// sitDownInStory runs centwise as a story does, on a pseudo-terminal of a width.
func sitDownInStory(ts *testscript.TestScript, width string, args []string) *typist {
	columns, err := strconv.Atoi(width)
	ts.Check(err)
	program, err := exec.LookPath(filepath.Join(strings.Split(ts.Getenv("PATH"), ":")[0], "centwise"))
	ts.Check(err)
	cmd := exec.Command(program, args...)
	cmd.Dir = ts.MkAbs(".")
	for _, name := range []string{"HOME", "PATH", "XDG_DATA_HOME", "LANG", "TERM", "TZ", "NO_COLOR", "CENTWISE_CATALOG", "CENTWISE_CONTRIBUTOR", "TMPDIR", "ACCESSIBLE"} {
		cmd.Env = append(cmd.Env, name+"="+ts.Getenv(name))
	}
	t, err := sitDown(uint16(columns), cmd)
	ts.Check(err)
	return t
}

// typing COLUMNS CODE FILE ARGS... runs centwise on a pseudo-terminal of that
// width and types a line of FILE each time it asks; it must end with the exit
// code. What the terminal shows goes to the file screen.
func typing(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 4 {
		ts.Fatalf("usage: typing COLUMNS CODE FILE ARGS...")
	}
	t := sitDownInStory(ts, args[0], args[3:])
	before := 0
	for _, line := range strings.Split(strings.TrimSuffix(ts.ReadFile(args[2]), "\n"), "\n") {
		asks, err := t.asked(before)
		if err != nil || !asks {
			t.cmd.Process.Kill()
			ts.Fatalf("nothing asks for %q (%v):\n%s", line, err, t.shown())
		}
		before, err = t.types(line)
		ts.Check(err)
	}
	if asks, err := t.asked(before); asks || err != nil {
		t.cmd.Process.Kill()
		ts.Fatalf("it still asks, or hangs (%v):\n%s", err, t.shown())
	}
	code := t.leave()
	text := withoutProgress(t.shown())
	ts.Check(os.WriteFile(ts.MkAbs("screen"), []byte(text), 0o644))
	ts.Logf("%s", text)
	if strconv.Itoa(code) != args[1] {
		ts.Fatalf("ended with %d, want %s", code, args[1])
	}
}
