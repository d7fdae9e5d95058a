package main

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// poolServer is a server that runs in a process of its own.
type poolServer struct {
	cmd   *exec.Cmd
	url   string // without a slash at its end
	ended chan error
	log   lockedBuffer
}

// lockedBuffer can be read while a process writes into it.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// startPoolServer runs centwise pool serve until it says where it listens.
func startPoolServer(cmd *exec.Cmd) (*poolServer, error) {
	s := &poolServer{cmd: cmd, ended: make(chan error, 1)}
	cmd.Stderr = &s.log
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	go func() {
		io.Copy(io.Discard, out)
		s.ended <- cmd.Wait()
	}()
	if err != nil {
		<-s.ended
		return nil, errors.New("the server did not start: " + s.log.String())
	}
	s.url = strings.TrimSuffix(strings.TrimSpace(line), "/")
	return s, nil
}

// stop ends the server as its keeper would, which must go well.
func (s *poolServer) stop() error {
	if err := s.cmd.Process.Signal(os.Interrupt); err != nil {
		return err
	}
	select {
	case err := <-s.ended:
		return err
	case <-time.After(40 * time.Second):
		s.kill()
		return errors.New("the server did not stop")
	}
}

func (s *poolServer) kill() {
	s.cmd.Process.Kill()
	<-s.ended
}

// servers are those of the stories that run.
var servers sync.Map // *testscript.TestScript -> *poolServer

// serving [ARGS...] runs centwise pool serve on a free port of this machine; POOL
// is its address from then on. serving stop ends it and leaves what it logged in
// server.log.
func serving(ts *testscript.TestScript, neg bool, args []string) {
	if neg {
		ts.Fatalf("usage: serving [ARGS...] or serving stop")
	}
	if len(args) == 1 && args[0] == "stop" {
		s, ok := servers.LoadAndDelete(ts)
		if !ok {
			ts.Fatalf("no server runs")
		}
		ts.Check(s.(*poolServer).stop())
		ts.Check(os.WriteFile(ts.MkAbs("server.log"), []byte(s.(*poolServer).log.String()), 0o600))
		return
	}
	cmd := exec.Command("centwise", append([]string{"pool", "serve", "--listen", "127.0.0.1:0"}, args...)...)
	cmd.Dir = ts.MkAbs(".")
	for _, name := range []string{"HOME", "PATH", "XDG_DATA_HOME", "CENTWISE_CATALOG", "LANG", "TZ"} {
		cmd.Env = append(cmd.Env, name+"="+ts.Getenv(name))
	}
	s, err := startPoolServer(cmd)
	ts.Check(err)
	servers.Store(ts, s)
	ts.Setenv("POOL", s.url)
	ts.Defer(func() {
		if s, ok := servers.LoadAndDelete(ts); ok {
			s.(*poolServer).kill()
		}
	})
}
