package sqlstore_test

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
)

// The test binary doubles as another process: it does the task named in the
// environment on the catalog named there.
const taskVariable, pathVariable = "CENTWISE_TEST_TASK", "CENTWISE_TEST_CATALOG"

func TestMain(m *testing.M) {
	switch os.Getenv(taskVariable) {
	case "":
		os.Exit(m.Run())
	case "apply":
		applySessions(os.Getenv(pathVariable), 5000, 2*time.Millisecond) // lets the other process in
	case "apply-hurriedly":
		applySessions(os.Getenv(pathVariable), hurried, 0)
	case "read-only":
		useUnwritable(os.Getenv(pathVariable))
	case "migrate":
		bringUpToDate(os.Getenv(pathVariable))
	}
}

// hurried is how many sessions each process of TestManyProcesses records.
const hurried = 25

// applySessions says the name of each session once it is recorded.
func applySessions(path string, n int, pause time.Duration) {
	s, err := sqlstore.Open(context.Background(), path, sqlstore.Options{})
	if err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
	set := invented(n)
	h, err := s.Horn(context.Background(), "Alder")
	if err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
	m, _ := s.Mouthpiece(context.Background(), "Plover 16.2")
	p, _ := s.Player(context.Background(), "reed-otter")
	for _, x := range set.Sessions {
		x.Name = fmt.Sprintf("process %d %s", os.Getpid(), x.Name)
		x.Horn, x.Mouthpiece, x.Player = h.ID, m.ID, p.ID
		if err := s.Apply(context.Background(), catalog.Changes{Sessions: []catalog.Session{x}}); err != nil {
			fmt.Println("error", err)
			os.Exit(1)
		}
		fmt.Println(x.Name)
		time.Sleep(pause)
	}
}

// Processes are killed in the middle of their work, two at a time: everything
// they had been told is recorded is there, and nothing is half there.
func TestKilledProcesses(t *testing.T) {
	s := newStore(t)
	apply(t, s, invented(0))
	s.Close()
	killProcesses(t, s.Path())
}

func killProcesses(t *testing.T, path string) {
	t.Helper()
	var acknowledged []string
	for round := range 3 {
		a, b := startTask(t, "apply", path), startTask(t, "apply", path)
		acknowledged = append(acknowledged, a.lines(t, 15+10*round)...)
		acknowledged = append(acknowledged, b.lines(t, 5)...)
		acknowledged = append(acknowledged, a.kill()...)
		acknowledged = append(acknowledged, b.kill()...)
	}
	if len(acknowledged) < 3*20 {
		t.Fatalf("only %d sessions acknowledged", len(acknowledged))
	}
	wantSessions(t, path, acknowledged)
}

// wantSessions expects sessions, whole, in a sound catalog.
func wantSessions(t *testing.T, path string, names []string) {
	t.Helper()
	again := openFile(t, path, sqlstore.Options{})
	have := map[string]int{}
	for m, err := range again.Measurements(ctx, 0) {
		if err != nil {
			t.Fatal(err)
		}
		have[m.Name] = len(m.Readings)
	}
	for _, name := range names {
		if have[name] != readingsPerSession {
			t.Errorf("%q has %d readings", name, have[name])
		}
	}
	if list, err := again.Integrity(ctx); err != nil || len(list) > 0 {
		t.Errorf("findings %v, error %v", list, err)
	}
}

// Eight processes write one file as fast as they can: nothing is lost, and none
// is told that the catalog is busy.
func TestManyProcesses(t *testing.T) {
	s := newStore(t)
	apply(t, s, invented(0))
	s.Close()
	var tasks []*task
	for range 8 {
		tasks = append(tasks, startTask(t, "apply-hurriedly", s.Path()))
	}
	var names []string
	for _, p := range tasks {
		names = append(names, p.lines(t, hurried)...)
		if err := p.cmd.Wait(); err != nil {
			t.Error(err)
		}
	}
	wantSessions(t, s.Path(), names)
}

// task is another process under way.
type task struct {
	cmd *exec.Cmd
	out *bufio.Scanner
}

func startTask(t *testing.T, name, path string) *task {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), taskVariable+"="+name, pathVariable+"="+path)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill() })
	return &task{cmd, bufio.NewScanner(out)}
}

// lines reads n lines of what the process says.
func (p *task) lines(t *testing.T, n int) (out []string) {
	t.Helper()
	for range n {
		if !p.out.Scan() || strings.HasPrefix(p.out.Text(), "error") {
			t.Fatalf("the other process ended early: %q", p.out.Text())
		}
		out = append(out, p.out.Text())
	}
	return out
}

// kill ends the process at once and gives what it had still said. The last
// line may be cut off.
func (p *task) kill() (out []string) {
	p.cmd.Process.Kill()
	for p.out.Scan() {
		if whole.MatchString(p.out.Text()) {
			out = append(out, p.out.Text())
		}
	}
	p.cmd.Wait()
	return out
}

var whole = regexp.MustCompile(`^process \d+ visit \d+$`)

// useUnwritable runs as a user without the right to write the catalog: all can
// be read, nothing written, and the errors say so.
func useUnwritable(path string) {
	ctx := context.Background()
	fail := func(format string, args ...any) { fmt.Printf("error "+format+"\n", args...); os.Exit(1) }
	for _, o := range []sqlstore.Options{{}, {ReadOnly: true}, {Create: true}} {
		s, err := sqlstore.Open(ctx, path, o)
		if err != nil {
			fail("%+v: %v", o, err)
		}
		if info, err := s.Info(ctx); err != nil || info.Sessions != 40 {
			fail("%+v: info %+v: %v", o, info, err)
		}
		n := 0
		for _, err := range s.Measurements(ctx, 0) {
			if err != nil {
				fail("%+v: %v", o, err)
			}
			n++
		}
		if n != 40 {
			fail("%+v: %d sessions", o, n)
		}
		err = s.Apply(ctx, catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}}})
		if catalog.KindOf(err) != catalog.Unavailable || !strings.Contains(err.Error(), "read") {
			fail("%+v: writing gave %v", o, err)
		}
		s.Close()
	}
	if info, err := os.Stat(filepath.Dir(path)); err != nil || info.Mode().Perm()&0o002 != 0 {
		fmt.Println("done")
		return
	}
	if _, err := sqlstore.Open(ctx, filepath.Join(filepath.Dir(path), "new.db"), sqlstore.Options{Create: true}); catalog.KindOf(err) != catalog.Unavailable {
		fail("making a catalog gave %v", err)
	}
	fmt.Println("done")
}
