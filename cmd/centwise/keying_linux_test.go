package main

import (
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"centwise/catalog/sqlstore"
)

// drawn matches the escapes with which a page is drawn (ECMA-48).
var drawn = regexp.MustCompile("\x1b\\[[0-?]*[ -/]*[@-~]|\x1b[ -/]*[0-~]")

// flat is what was shown without escapes, its lines joined.
func flat(shown string) string {
	return strings.Join(strings.Fields(drawn.ReplaceAllString(shown, "")), " ")
}

// sees waits until a text is shown, on however many lines, after the first so
// many bytes.
func (t *typist) sees(text string, after int) bool {
	for deadline := time.Now().Add(30 * time.Second); time.Now().Before(deadline); time.Sleep(2 * time.Millisecond) {
		if shown := t.shown(); strings.Contains(flat(shown[min(after, len(shown)):]), text) {
			return true
		}
		select {
		case <-t.ended:
			return strings.Contains(flat(t.shown()[after:]), text)
		default:
		}
	}
	return false
}

// keying COLUMNS CODE FILE ARGS... runs centwise on a pseudo-terminal of that
// width; it must end with the exit code. Lines of FILE: "see TEXT" waits until
// that is shown, since the last keys; "keys TEXT" presses keys, with the escapes
// of a Go string; "signal" interrupts the program. What the terminal showed, bare
// of escapes, goes to the file screen, and to flat with its lines joined.
func keying(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 4 {
		ts.Fatalf("usage: keying COLUMNS CODE FILE ARGS...")
	}
	t := sitDownInStory(ts, args[0], args[3:])
	after := 0
	for line := range strings.Lines(ts.ReadFile(args[2])) {
		what, text, _ := strings.Cut(strings.TrimSuffix(line, "\n"), " ")
		switch what {
		case "see":
			if !t.sees(text, after) {
				t.kill()
				ts.Fatalf("%q was not shown in\n%s", text, drawn.ReplaceAllString(t.shown(), ""))
			}
		case "keys":
			keys, err := strconv.Unquote(`"` + text + `"`)
			ts.Check(err)
			after = len(t.shown())
			_, err = t.control.WriteString(keys)
			ts.Check(err)
		case "signal":
			ts.Check(t.cmd.Process.Signal(syscall.SIGTERM))
		default:
			ts.Fatalf("%s: neither see, keys nor signal: %q", args[2], line)
		}
	}
	stop := time.AfterFunc(30*time.Second, func() { t.cmd.Process.Kill() })
	code := t.leave()
	stop.Stop()
	text := drawn.ReplaceAllString(t.shown(), "")
	ts.Check(os.WriteFile(ts.MkAbs("screen"), []byte(text), 0o644))
	ts.Check(os.WriteFile(ts.MkAbs("flat"), []byte(flat(t.shown())), 0o644))
	ts.Logf("%s", text)
	if strconv.Itoa(code) != args[1] {
		ts.Fatalf("ended with %d, want %s", code, args[1])
	}
}

// Commands that ask nothing say nothing to the terminal but their output: the
// libraries that draw forms would ask it for its colours as they are loaded.
func TestTerminalIsNotQueried(t *testing.T) {
	cmd := exec.Command("centwise", "version")
	cmd.Env = []string{"HOME=" + t.TempDir(), "PATH=" + os.Getenv("PATH"), "TERM=xterm-256color", "LANG=C.UTF-8"}
	begun := time.Now()
	p, err := sitDown(80, cmd)
	if err != nil {
		t.Fatal(err)
	}
	code := p.leave()
	if strings.Contains(p.shown(), "\x1b]") || strings.Contains(p.shown(), "\x1b[6n") || code != 0 || !strings.Contains(p.shown(), "platform") {
		t.Errorf("after %v, exit %d: %q", time.Since(begun), code, p.shown())
	}
}

// Keys typed before the form is there, all at once, reach the fields they are
// for: the terminal hands them over line by line until then.
func TestKeysTypedAhead(t *testing.T) {
	folder := t.TempDir()
	cmd := exec.Command("centwise", "mouthpiece", "add")
	cmd.Env = []string{"HOME=" + folder, "CENTWISE_CATALOG=" + filepath.Join(folder, "c.db"), "PATH=" + os.Getenv("PATH"), "TERM=xterm", "LANG=C.UTF-8"}
	p, err := sitDown(80, cmd)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.control.WriteString("Plover 16.2\rNorthlamp\rPlover\r\r\r16.2\r1.2\r\r3.66\r\r\r\r\r\rcupboard\r\r\r"); err != nil {
		t.Fatal(err)
	}
	if code := p.leave(); code != 0 {
		t.Fatalf("exit %d:\n%s", code, drawn.ReplaceAllString(p.shown(), ""))
	}
	store, err := sqlstore.Open(context.Background(), filepath.Join(folder, "c.db"), sqlstore.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	m, err := store.Mouthpiece(context.Background(), "Plover 16.2")
	if err != nil || m.Maker != "Northlamp" || m.Model != "Plover" || m.RimMM != 16.2 || m.CupCM3 != 1.2 || m.ThroatMM != 3.66 || len(m.Stock) != 1 {
		t.Errorf("%+v (%v)", m, err)
	}
}

// Pages and questions go to standard error: what is redirected holds the record
// alone.
func TestFormsKeepOutOfTheOutput(t *testing.T) {
	for _, mode := range []string{"", "--accessible"} {
		folder := t.TempDir()
		cmd := exec.Command("sh", "-c", "centwise "+mode+" player add --json > out.json")
		cmd.Dir = folder
		cmd.Env = []string{"HOME=" + folder, "CENTWISE_CATALOG=c.db", "PATH=" + os.Getenv("PATH"), "TERM=xterm", "LANG=C.UTF-8"}
		p, err := sitDown(80, cmd)
		if err != nil {
			t.Fatal(err)
		}
		if !p.sees("Handle", 0) {
			t.Fatalf("nothing was asked: %s", p.shown())
		}
		if _, err := p.control.WriteString("reed-otter\r\r\r\r\r\r\r\r\r\r"); err != nil {
			t.Fatal(err)
		}
		code := p.leave()
		var record struct{ Label string }
		out, err := os.ReadFile(filepath.Join(folder, "out.json"))
		if err == nil {
			err = json.Unmarshal(out, &record)
		}
		if err != nil || code != 0 || record.Label != "reed-otter" {
			t.Errorf("%q: exit %d, %v: %q\n%s", mode, code, err, out, flat(p.shown()))
		}
	}
}
