package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"centwise/cmd/centwise/wire"
	"centwise/match/fit/simulate"
)

// pool is a server with what clients need to ask it.
type pool struct {
	program, folder string
	readings        int
	url             string
	reader, curator string // tokens
	bundles         [][]byte
	horns           []string // addresses of pages
	server          *exec.Cmd
	client          *http.Client
}

// newBundles is how many bundles of new sessions clients send, newSessions how
// many sessions each has.
const (
	newBundles  = 150
	newSessions = 5
)

// newPool serves a simulated catalog, but for its last sessions, which clients are
// to send.
func newPool(ctx context.Context, o options, folder string) (*pool, error) {
	p := &pool{program: o.program, folder: folder, client: &http.Client{Timeout: 5 * time.Minute, Transport: &http.Transport{MaxIdleConnsPerHost: o.clients}}}
	w := simulate.GenerateWith(simulate.Options{Kind: simulate.Plain, Size: simulate.Scaled, Sessions: o.sessions + newBundles*newSessions, Seed: 1})
	all := w.Sessions
	w.Sessions = all[:o.sessions]
	for _, s := range w.Sessions {
		p.readings += len(s.Readings)
	}
	if err := p.fill(ctx, w, "pool"); err != nil {
		return nil, err
	}
	w.Sessions = all[o.sessions:]
	if err := p.makeBundles(ctx, w); err != nil {
		return nil, err
	}
	for scope, to := range map[string]*string{"read": &p.reader, "curate": &p.curator} {
		text, err := p.centwise(ctx, "pool", "token", "add", scope+"r", "--scope", scope, "--catalog", "pool.db")
		if err != nil {
			return nil, err
		}
		*to = strings.TrimSpace(text)
	}
	if _, err := p.centwise(ctx, "fit", "--catalog", "pool.db"); err != nil {
		return nil, err
	}
	if err := p.serve(ctx); err != nil {
		return nil, err
	}
	return p, p.findHorns(ctx)
}

// fill imports what is simulated into a catalog.
func (p *pool) fill(ctx context.Context, w *simulate.World, name string) error {
	var gear, sessions bytes.Buffer
	if err := simulate.WriteGearCSV(&gear, w); err != nil {
		return err
	}
	if err := simulate.WriteSessionsCSV(&sessions, w); err != nil {
		return err
	}
	for file, content := range map[string][]byte{"gear.csv": gear.Bytes(), "sessions.csv": sessions.Bytes()} {
		if err := os.WriteFile(filepath.Join(p.folder, file), content, 0o600); err != nil {
			return err
		}
	}
	_, err := p.centwise(ctx, "import", "gear.csv", "sessions.csv", "--create", "--catalog", name+".db")
	return err
}

// makeBundles makes bundles of a few sessions each, as people would send them who
// have pulled before: sessions are added to a copy of the pool, and exported
// contributor by contributor.
func (p *pool) makeBundles(ctx context.Context, w *simulate.World) error {
	if _, err := p.centwise(ctx, "catalog", "backup", "more.db", "--catalog", "pool.db"); err != nil {
		return err
	}
	like := w.Contributors[0]
	w.Contributors = nil
	for i := range w.Sessions {
		if i%newSessions == 0 {
			like.Label = fmt.Sprintf("sender %d", i/newSessions)
			w.Contributors = append(w.Contributors, like)
		}
		w.Sessions[i].Contributor = i / newSessions
	}
	if err := p.fill(ctx, w, "more"); err != nil {
		return err
	}
	for i := range newBundles {
		name := fmt.Sprintf("new%d.gz", i)
		if _, err := p.centwise(ctx, "pool", "export", name, "--catalog", "more.db", "--contributor", fmt.Sprintf("sender %d", i)); err != nil {
			return err
		}
		b, err := os.ReadFile(filepath.Join(p.folder, name))
		if err != nil {
			return err
		}
		p.bundles = append(p.bundles, b)
	}
	return nil
}

// centwise runs a command and gives its output.
func (p *pool) centwise(ctx context.Context, args ...string) (string, error) {
	cmd := exec.CommandContext(ctx, p.program, args...)
	cmd.Dir = p.folder
	var out, talk bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &talk
	if err := cmd.Run(); err != nil {
		return "", fmt.Errorf("centwise %s: %w: %s", strings.Join(args, " "), err, &talk)
	}
	return out.String(), nil
}

// serve runs the server until it says where it listens.
func (p *pool) serve(ctx context.Context) error {
	p.server = exec.CommandContext(ctx, p.program, "pool", "serve", "--catalog", "pool.db", "--listen", "127.0.0.1:0", "--rate", "1000000")
	p.server.Dir = p.folder
	out, err := p.server.StdoutPipe()
	if err != nil {
		return err
	}
	if err := p.server.Start(); err != nil {
		return err
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	p.url = strings.TrimSuffix(strings.TrimSpace(line), "/")
	return err
}

func (p *pool) stop() {
	if p.server != nil {
		p.server.Process.Signal(os.Interrupt)
		p.server.Wait()
	}
}

// memory is the most that the server held, in bytes; 0 where the system does not
// tell.
func (p *pool) memory() uint64 {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.server.Process.Pid))
	if err != nil {
		return 0
	}
	m := regexp.MustCompile(`VmHWM:\s+(\d+) kB`).FindSubmatch(text)
	if m == nil {
		return 0
	}
	kB, err := strconv.ParseUint(string(m[1]), 10, 64)
	if err != nil {
		return 0
	}
	return kB << 10
}

// findHorns waits for the pages and finds those about horns.
func (p *pool) findHorns(ctx context.Context) error {
	link := regexp.MustCompile(`href="(horns/[0-9A-Z]{26})"`)
	for range 600 {
		status, body, err := p.ask(ctx, http.MethodGet, "/horns", p.reader, nil)
		if err != nil {
			return err
		}
		if status == http.StatusOK {
			for _, m := range link.FindAllSubmatch(body, -1) {
				p.horns = append(p.horns, "/"+string(m[1]))
			}
			status, _, err = p.ask(ctx, http.MethodGet, p.horns[0]+"/rank", p.reader, nil)
			if status == http.StatusOK || err != nil {
				return err
			}
			p.horns = nil
		}
		time.Sleep(100 * time.Millisecond)
	}
	return fmt.Errorf("the server's pages do not come")
}

// ask makes one request and reads its answer.
func (p *pool) ask(ctx context.Context, method, path, token string, body []byte) (status int, answer []byte, err error) {
	var in io.Reader
	if body != nil {
		in = bytes.NewReader(body)
	}
	r, err := http.NewRequestWithContext(ctx, method, p.url+path, in)
	if err != nil {
		return 0, nil, err
	}
	if token != "" {
		r.Header.Set("Authorization", "Bearer "+token)
	}
	r.Header.Set("Content-Type", wire.BundleType)
	response, err := p.client.Do(r)
	if err != nil {
		return 0, nil, err
	}
	defer response.Body.Close()
	answer, err = io.ReadAll(response.Body)
	return response.StatusCode, answer, err
}

// loads are the kinds of request.
func (p *pool) loads() []load {
	get := func(path string) func(context.Context, int) (int, int, error) {
		return func(ctx context.Context, _ int) (int, int, error) {
			status, body, err := p.ask(ctx, http.MethodGet, path, p.reader, nil)
			return status, len(body), err
		}
	}
	push := func(ctx context.Context, n int) (int, int, error) {
		bundle := p.bundles[n%len(p.bundles)]
		status, _, err := p.ask(ctx, http.MethodPost, wire.RecordsPath, p.curator, bundle)
		return status, len(bundle), err
	}
	return []load{
		{"health", get(wire.HealthPath), 0},
		{"status, with a token", get(wire.StatusPath), 0},
		{"pull: a part of 1000 records", get(wire.RecordsPath), 0},
		{"a page drawn before", get("/horns"), 0},
		{"a rank drawn anew, each once", func(ctx context.Context, n int) (int, int, error) {
			return get(p.horns[n%len(p.horns)]+"/rank?n="+strconv.Itoa(n))(ctx, n)
		}, 0},
		{"push: a few new sessions", push, int64(len(p.bundles))},
		{"push: the same again", push, 0},
		{"pull, while others push", func(ctx context.Context, n int) (int, int, error) {
			if n%4 == 0 {
				return push(ctx, n)
			}
			return get(wire.RecordsPath)(ctx, n)
		}, 0},
	}
}

// load is one kind of request: the n-th, which gives its status and bytes moved.
type load struct {
	name string
	ask  func(ctx context.Context, n int) (status, bytes int, err error)
	most int64 // requests at most; 0: as many as there is time for
}

// run lets clients ask at once.
func (l load) run(ctx context.Context, o options) row {
	r := row{name: l.name}
	ctx, cancel := context.WithTimeout(ctx, o.each)
	defer cancel()
	var next atomic.Int64
	results := make(chan row, o.clients)
	started := time.Now()
	for range o.clients {
		go func() {
			var own row
			for ctx.Err() == nil {
				n := next.Add(1) - 1
				if l.most > 0 && n >= l.most {
					break
				}
				own.one(ctx, l, int(n))
			}
			results <- own
		}()
	}
	for range o.clients {
		own := <-results
		r.times = append(r.times, own.times...)
		r.bytes += own.bytes
		r.failed += own.failed
	}
	r.took = time.Since(started)
	return r
}
