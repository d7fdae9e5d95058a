package sqlstore_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
	"centwise/catalog/sqlstore/pgtest"
)

// Writers of many programs at once: nothing is lost, sequence numbers follow the
// order in which sessions appear, and nobody hears of the others.
func TestManyWritersOnServer(t *testing.T) {
	address := pgtest.Start(t).Catalog(t)
	s := openAt(t, address, sqlstore.Options{Create: true})
	c := invented(0)
	apply(t, s, c)
	const programs, each = 32, 6
	var wg sync.WaitGroup
	for p := range programs {
		wg.Go(func() {
			own, err := sqlstore.Open(ctx, address, sqlstore.Options{})
			if err != nil {
				t.Errorf("program %d: %v", p, err)
				return
			}
			defer own.Close()
			for i := range each {
				x := invented(1).Sessions[0]
				x.Name, x.Horn, x.Mouthpiece, x.Player = fmt.Sprintf("program %d session %d", p, i), c.Horns[0].ID, c.Mouthpieces[0].ID, c.Players[0].ID
				if err := own.Apply(ctx, catalog.Changes{Sessions: []catalog.Session{x}}); err != nil {
					t.Errorf("program %d: %v", p, err)
				}
			}
		})
	}
	// A reader that keeps up sees every session once, though it looks while they
	// come: none appears behind the last one that it saw.
	seen := map[string]bool{}
	last := int64(0)
	look := func() {
		for m, err := range s.Measurements(ctx, last) {
			if err != nil {
				t.Error(err)
				return
			}
			if m.Sequence <= last || seen[m.Name] || len(m.Readings) != readingsPerSession {
				t.Errorf("%q has number %d after %d and %d readings", m.Name, m.Sequence, last, len(m.Readings))
			}
			last, seen[m.Name] = m.Sequence, true
		}
	}
	done := make(chan struct{})
	go func() { wg.Wait(); close(done) }()
	for working := true; working; {
		select {
		case <-done:
			working = false
		default:
		}
		look()
	}
	look()
	if len(seen) != programs*each {
		t.Errorf("%d sessions, want %d", len(seen), programs*each)
	}
	if list, err := s.Integrity(ctx); err != nil || len(list) > 0 {
		t.Errorf("findings %v, error %v", list, err)
	}
}

// Programs are killed in the middle of their work on a server.
func TestKilledProcessesOnServer(t *testing.T) {
	address := pgtest.Start(t).Catalog(t)
	apply(t, openAt(t, address, sqlstore.Options{Create: true}), invented(0))
	killProcesses(t, address)
}

// Somebody holds the catalog for longer than a writer waits.
func TestServerLockedByAnother(t *testing.T) {
	address := pgtest.Start(t).Catalog(t)
	s := openAt(t, address, sqlstore.Options{Create: true, BusyTimeout: 50 * time.Millisecond})
	apply(t, s, invented(1))
	tx, err := openAt(t, address, sqlstore.Options{}).DB().Begin()
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback()
	if _, err := tx.Exec(`SELECT one FROM catalog FOR UPDATE`); err != nil {
		t.Fatal(err)
	}
	hazel := catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}}}
	wantKind(t, s.Apply(ctx, hazel), catalog.Busy, s.Path(), "somebody else has been writing")
	if _, err := s.Info(ctx); err != nil {
		t.Error(err)
	}
	// Who waits for long hears what for.
	var told []string
	impatient := openAt(t, address, sqlstore.Options{BusyTimeout: 6 * time.Second, Notice: func(text string) { told = append(told, text) }})
	wantKind(t, impatient.Apply(ctx, hazel), catalog.Busy, "somebody else has been writing")
	if len(told) != 1 || !strings.Contains(told[0], "waiting until it has finished") {
		t.Errorf("told %q", told)
	}
	// The wait ends with the context, on the server too.
	patient := openAt(t, address, sqlstore.Options{})
	short, cancel := contextFor(50 * time.Millisecond)
	defer cancel()
	if err := patient.Apply(short, hazel); err == nil || short.Err() == nil || catalog.KindOf(err) != catalog.Internal {
		t.Errorf("error %v", err)
	}
	waiting := -1
	for range 100 {
		if err := s.DB().QueryRow(`SELECT COUNT(*) FROM pg_stat_activity WHERE wait_event_type = 'Lock' AND application_name = 'centwise'`).Scan(&waiting); err != nil {
			t.Fatal(err)
		}
		if waiting == 0 {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	if waiting != 0 {
		t.Errorf("%d wait on the server for somebody who is gone", waiting)
	}
	go func() {
		time.Sleep(50 * time.Millisecond)
		tx.Rollback()
	}()
	apply(t, patient, hazel)
}

// What another program does to the tables can set two against each other. The
// server ends one of them; a change is repeated then.
func TestChangesThatTheServerBreaksOff(t *testing.T) {
	address := pgtest.Start(t).Catalog(t)
	s := openAt(t, address, sqlstore.Options{Create: true})
	apply(t, s, invented(1))
	other, err := openAt(t, address, sqlstore.Options{}).DB().Begin()
	if err != nil {
		t.Fatal(err)
	}
	defer other.Rollback()
	// As a migration does: the tables first, the row that writers wait for last.
	// It waits longer than the server does before it looks for such a knot, so
	// that it is the writer who is ended.
	for _, q := range []string{`SET LOCAL deadlock_timeout = '10s'`, `LOCK TABLE horn IN ACCESS EXCLUSIVE MODE`} {
		if _, err := other.Exec(q); err != nil {
			t.Fatal(err)
		}
	}
	ended := make(chan error)
	go func() { ended <- s.Apply(ctx, catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}}}) }()
	waitFor(t, s, `SELECT COUNT(*) FROM pg_locks WHERE relation = 'horn'::regclass AND NOT granted`)
	if _, err := other.Exec(`SELECT one FROM catalog FOR UPDATE`); err != nil {
		t.Fatal(err)
	}
	if err := other.Commit(); err != nil {
		t.Fatal(err)
	}
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if _, err := s.Horn(ctx, "Hazel"); err != nil {
		t.Error(err)
	}
}

// waitFor waits until a query counts something.
func waitFor(t *testing.T, s *sqlstore.Store, query string) {
	t.Helper()
	for range 500 {
		var n int
		if err := s.DB().QueryRow(query).Scan(&n); err != nil {
			t.Fatal(err)
		}
		if n > 0 {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatal("nothing came of it")
}

// The server ends the connection in the middle of a merge: nothing of it is there,
// the message says so, and the store goes on with a new connection.
func TestServerGoneInTheMiddle(t *testing.T) {
	server := pgtest.Start(t)
	s := openAt(t, server.Catalog(t), sqlstore.Options{Create: true})
	apply(t, s, invented(1))
	before, err := s.Info(ctx)
	if err != nil {
		t.Fatal(err)
	}
	_, err = s.Merge(ctx, func(yield func(catalog.Pooled, error) bool) {
		for i := range 40 {
			if i == 20 {
				if err := server.Exec(`SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = 'centwise' AND state = 'idle in transaction'`); err != nil {
					t.Error(err)
				}
			}
			horn := catalog.Horn{ID: catalog.NewID(), Revision: catalog.Revision{Number: 1, At: time.Now()}, Label: fmt.Sprintf("Horn %d", i)}
			horn.Normalize()
			if !yield(catalog.Pooled{Horn: &catalog.Shared[catalog.Horn]{Record: horn}}, nil) {
				return
			}
		}
	})
	wantKind(t, err, catalog.Unavailable, "connection to the server was lost", "nothing was written")
	after, err := s.Info(ctx)
	if err != nil || after.Digest != before.Digest || after.Horns != before.Horns {
		t.Errorf("before %+v\nafter %+v\nerror %v", before, after, err)
	}
	apply(t, s, catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}}})
}

// proxy passes on what goes to a server until somebody says the word; that goes
// through still, but no answer comes back.
func proxy(t *testing.T, server *pgtest.Server, word string) (port int, cut *atomic.Bool) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	cut = new(atomic.Bool)
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go passOn(c, fmt.Sprintf("%s:%d", server.Host, server.Port), word, cut)
		}
	}()
	return l.Addr().(*net.TCPAddr).Port, cut
}

func passOn(client net.Conn, server, word string, cut *atomic.Bool) {
	defer client.Close()
	up, err := net.Dial("tcp", server)
	if err != nil {
		return
	}
	defer up.Close()
	var silent atomic.Bool
	go func() {
		b := make([]byte, 1<<16)
		for {
			n, err := up.Read(b)
			if err != nil || silent.Load() {
				client.Close()
				return
			}
			client.Write(b[:n])
		}
	}()
	b := make([]byte, 1<<16)
	for {
		n, err := client.Read(b)
		if err != nil {
			return
		}
		if cut.Load() && bytes.Contains(b[:n], []byte(word)) {
			silent.Store(true)
			up.Write(b[:n])
			io.Copy(io.Discard, client)
			return
		}
		up.Write(b[:n])
	}
}

// The answer to the end of a change is lost: nobody knows then whether it is in
// the catalog, and that is said.
func TestAnswerLostAtTheEnd(t *testing.T) {
	server := pgtest.Start(t)
	address := server.Catalog(t)
	apply(t, openAt(t, address, sqlstore.Options{Create: true}), invented(1))
	port, cut := proxy(t, server, "commit\x00")
	s := openAt(t, strings.Replace(address, fmt.Sprint(":", server.Port), fmt.Sprint(":", port), 1), sqlstore.Options{})
	apply(t, s, catalog.Changes{Horns: []catalog.Horn{{Label: "Hazel"}}})
	cut.Store(true)
	err := s.Apply(ctx, catalog.Changes{Horns: []catalog.Horn{{Label: "Birch"}}})
	wantKind(t, err, catalog.Unavailable, "as a whole or not at all", "look which")
	// Here it is, as the server was told.
	waitFor(t, openAt(t, address, sqlstore.Options{}), `SELECT COUNT(*) FROM horn WHERE label = 'Birch'`)
}

// A change that is stopped leaves nothing, wherever it is.
func TestStoppedOnServer(t *testing.T) {
	s := serverStore(t)
	apply(t, s, invented(5))
	before, err := s.Info(ctx)
	if err != nil {
		t.Fatal(err)
	}
	more := invented(3000)
	for _, after := range []time.Duration{time.Millisecond, 10 * time.Millisecond, 60 * time.Millisecond} {
		short, cancel := context.WithTimeout(ctx, after)
		c := catalog.Changes{Horns: []catalog.Horn{{ID: catalog.NewID(), Label: "Rowan"}}, Mouthpieces: []catalog.Mouthpiece{{ID: catalog.NewID(), Label: "Dunlin 16.6"}},
			Players: []catalog.Player{{ID: catalog.NewID(), Label: "blue-kite"}}}
		for _, x := range more.Sessions {
			x.Name, x.Horn, x.Mouthpiece, x.Player = "more "+x.Name, c.Horns[0].ID, c.Mouthpieces[0].ID, c.Players[0].ID
			c.Sessions = append(c.Sessions, x)
		}
		if err := s.Apply(short, c); err == nil || catalog.KindOf(err) != catalog.Internal || short.Err() == nil {
			t.Errorf("after %s: error %v", after, err)
		}
		cancel()
		if info, err := s.Info(ctx); err != nil || info.Digest != before.Digest || info.Horns != before.Horns {
			t.Errorf("after %s: %+v, error %v", after, info, err)
		}
	}
	if list, err := s.Integrity(ctx); err != nil || len(list) > 0 {
		t.Errorf("findings %v, error %v", list, err)
	}
}
