// Package pgtest gives tests a PostgreSQL server of their own, started from what
// Debian's package postgresql brings, and databases in it. The server ends with
// the process that started it.
package pgtest

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// Needed is the variable that makes tests fail, not skip, where no PostgreSQL is
// installed.
const Needed = "CENTWISE_NEEDS_POSTGRES"

// Keeper is the role that owns the server. It needs no password; every other one
// does.
const Keeper = "keeper"

// Stranger is a role that the server turns away before it asks for a password.
const Stranger = "stranger"

// Server is one under way.
type Server struct {
	Host   string // a number, so that no name has to be looked up
	Port   int
	folder string
	life   io.Closer // the server ends when this is closed

	made atomic.Int64 // databases and schemas
}

var (
	once    sync.Once
	running *Server
	failure error
)

// Start gives the server of this process, which the first call starts. The test
// is skipped where there is none.
func Start(tb testing.TB) *Server {
	tb.Helper()
	if why := Missing(); why != "" {
		tb.Skip(why)
	}
	s, err := Running()
	if err != nil {
		tb.Fatal(err)
	}
	return s
}

// Missing says why there is no server to start, where tests may do without.
func Missing() string {
	if _, err := programs(); err != nil && os.Getenv(Needed) == "" {
		return err.Error() + ": install Debian's package postgresql to run this test"
	}
	return ""
}

// Running gives the server of this process, which the first call starts.
func Running() (*Server, error) {
	once.Do(func() {
		var programsIn string
		if programsIn, failure = programs(); failure == nil {
			running, failure = start(programsIn)
		}
	})
	if failure != nil {
		return nil, fmt.Errorf("starting PostgreSQL: %w", failure)
	}
	return running, nil
}

// programs is the folder with initdb and postgres, of the newest version.
func programs() (string, error) {
	if runtime.GOOS == "windows" {
		return "", fmt.Errorf("PostgreSQL is not started on Windows")
	}
	found, _ := filepath.Glob("/usr/lib/postgresql/*/bin/postgres")
	slices.SortFunc(found, func(a, b string) int { return cmp.Compare(version(a), version(b)) })
	if len(found) > 0 {
		return filepath.Dir(found[len(found)-1]), nil
	}
	if path, err := exec.LookPath("postgres"); err == nil {
		return filepath.Dir(path), nil
	}
	return "", fmt.Errorf("no PostgreSQL is installed")
}

// version is the number in a path like /usr/lib/postgresql/15/bin/postgres.
func version(path string) float64 {
	n, _ := strconv.ParseFloat(filepath.Base(filepath.Dir(filepath.Dir(path))), 64)
	return n
}

// accessRules is the server's pg_hba.conf.
const accessRules = `local all all trust
host all ` + Keeper + ` 127.0.0.1/32 trust
host all ` + Stranger + ` 127.0.0.1/32 reject
host all all 127.0.0.1/32 scram-sha-256
`

func start(programs string) (*Server, error) {
	folder, err := os.MkdirTemp("/tmp", "pgtest-") // a short name: that of a socket is limited
	if err != nil {
		return nil, err
	}
	owner, err := unprivileged()
	if err == nil {
		err = owner.takes(folder)
	}
	data := filepath.Join(folder, "data")
	if err == nil {
		err = makeCluster(programs, data, owner)
	}
	if err == nil {
		err = os.WriteFile(filepath.Join(data, "pg_hba.conf"), []byte(accessRules), 0o600)
	}
	if err == nil {
		err = makeCertificate(data, owner)
	}
	if err != nil {
		os.RemoveAll(folder)
		return nil, err
	}
	for range 5 { // another process may take the port meanwhile
		var s *Server
		if s, err = run(programs, folder, owner); err == nil {
			return s, nil
		}
	}
	os.RemoveAll(folder)
	return nil, err
}

// makeCluster makes the files of a server whose own language sorts otherwise
// than by bytes.
func makeCluster(programs, data string, owner *owner) error {
	args := []string{"-D", data, "-U", Keeper, "-A", "trust", "-E", "UTF8", "--no-sync", "--locale=C.UTF-8"}
	linguistic := append(slices.Clone(args), "--locale-provider=icu", "--icu-locale=en")
	cmd := owner.command(filepath.Join(programs, "initdb"), linguistic...)
	if _, err := cmd.CombinedOutput(); err == nil {
		return nil
	}
	os.RemoveAll(data)
	cmd = owner.command(filepath.Join(programs, "initdb"), args...) // before version 15
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("initdb: %w: %s", err, out)
	}
	return nil
}

// keep runs the server until its standard input ends, which it does when the
// test's process does, whatever way, and removes its files then.
const keep = `folder=$1; shift; "$@" >"$folder/log" 2>&1 & cat >/dev/null; kill -INT $!; wait; rm -rf "$folder"`

// run starts the server and waits until it answers.
func run(programs, folder string, owner *owner) (*Server, error) {
	port, err := freePort()
	if err != nil {
		return nil, err
	}
	s := &Server{Host: "127.0.0.1", Port: port, folder: folder}
	args := []string{"-c", keep, "sh", folder, filepath.Join(programs, "postgres"), "-D", filepath.Join(folder, "data"), "-p", strconv.Itoa(port)}
	for _, setting := range []string{"listen_addresses=127.0.0.1", "unix_socket_directories=" + folder, "fsync=off", "synchronous_commit=off",
		"full_page_writes=off", "wal_level=minimal", "max_wal_senders=0", "max_connections=200", "shared_buffers=128MB", "lc_messages=C",
		"ssl=on", "deadlock_timeout=100ms"} {
		args = append(args, "-c", setting)
	}
	cmd := owner.command("/bin/sh", args...)
	life, err := cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	s.life = life
	go cmd.Wait()
	return s, s.await(30 * time.Second)
}

func (s *Server) await(patience time.Duration) error {
	var err error
	for deadline := time.Now().Add(patience); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		if err = s.Exec("SELECT 1"); err == nil {
			return nil
		}
		log, _ := os.ReadFile(filepath.Join(s.folder, "log"))
		if strings.Contains(string(log), "FATAL:  could not create any TCP/IP sockets") {
			err = fmt.Errorf("%s", log)
			break
		}
	}
	log, _ := os.ReadFile(filepath.Join(s.folder, "log"))
	return fmt.Errorf("it does not answer: %w: %s", err, log)
}

func freePort() (int, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port, nil
}

// Exec runs statements as the keeper in the database postgres.
func (s *Server) Exec(statements ...string) error { return s.ExecIn("postgres", statements...) }

// ExecIn runs statements as the keeper in a database.
func (s *Server) ExecIn(database string, statements ...string) error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	conn, err := pgx.Connect(ctx, s.Address(Keeper, database))
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	for _, q := range statements {
		if _, err := conn.Exec(ctx, q); err != nil {
			return fmt.Errorf("%s: %w", q, err)
		}
	}
	return nil
}

// Address is that of a database for a role, which may be NAME:PASSWORD.
func (s *Server) Address(role, database string) string {
	return fmt.Sprintf("postgres://%s@%s:%d/%s?sslmode=disable", role, s.Host, s.Port, database)
}

// Database makes an empty database for a test and gives its name.
func (s *Server) Database(tb testing.TB) string {
	tb.Helper()
	name := s.name("d")
	s.must(tb, "CREATE DATABASE "+name)
	tb.Cleanup(func() { s.must(tb, "DROP DATABASE IF EXISTS "+name+" WITH (FORCE)") })
	return name
}

// Catalog is the address, for the keeper, of a schema in which there is nothing
// yet. That is quicker than a database for each test.
func (s *Server) Catalog(tb testing.TB) string {
	tb.Helper()
	address, drop := s.Schema()
	tb.Cleanup(func() {
		if err := drop(); err != nil {
			tb.Error(err)
		}
	})
	return address
}

// name is one that nothing else on the server has.
func (s *Server) name(first string) string {
	return fmt.Sprintf("%s%d_%d", first, os.Getpid(), s.made.Add(1))
}

func (s *Server) must(tb testing.TB, statement string) {
	tb.Helper()
	if err := s.Exec(statement); err != nil {
		tb.Error(err)
	}
}

// Schema is like [Server.Catalog] for those who have no test at hand: drop takes
// away what has come to be there.
func (s *Server) Schema() (address string, drop func() error) {
	schema := s.name("s")
	return s.Address(Keeper, "postgres") + "&search_path=" + schema, func() error { return s.Exec("DROP SCHEMA IF EXISTS " + schema + " CASCADE") }
}
