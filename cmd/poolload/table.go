package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"slices"
	"strings"
	"time"
)

// table is what came out.
type table struct {
	sessions, readings, clients int
	rows                        []row
	memory                      uint64 // bytes, the most that the server held
}

// row is one kind of request.
type row struct {
	name   string
	times  []time.Duration // of answers that were right
	bytes  int
	failed int
	took   time.Duration // all of them together
}

// one makes a request and notes how it went. Those that the end of the time cuts
// off don't count.
func (r *row) one(ctx context.Context, l load, n int) {
	started := time.Now()
	status, bytes, err := l.ask(ctx, n)
	took := time.Since(started)
	switch {
	case ctx.Err() != nil:
	case err != nil || status != http.StatusOK:
		r.failed++
	default:
		r.times = append(r.times, took)
		r.bytes += bytes
	}
}

// at is the time that a share of the answers kept within.
func (r row) at(share float64) time.Duration {
	if len(r.times) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(r.times))
	return sorted[min(int(share*float64(len(sorted))), len(sorted)-1)]
}

func (t *table) write(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%d sessions, %d readings; %d clients on the server's own machine.\n\n", t.sessions, t.readings, t.clients)
	b.WriteString("| | answers a second | median ms | 95 % | longest | MB/s | failed |\n|---|---|---|---|---|---|---|\n")
	ms := func(d time.Duration) string { return fmt.Sprintf("%.1f", float64(d.Microseconds())/1000) }
	for _, r := range t.rows {
		seconds := max(r.took.Seconds(), 1e-9)
		fmt.Fprintf(&b, "| %s | %.0f | %s | %s | %s | %.1f | %d |\n", r.name, float64(len(r.times))/seconds, ms(r.at(0.5)), ms(r.at(0.95)), ms(r.at(1)),
			float64(r.bytes)/seconds/1e6, r.failed)
	}
	if t.memory > 0 {
		fmt.Fprintf(&b, "\nThe server held %d MB at most.\n", t.memory>>20)
	}
	if text, err := os.ReadFile("/proc/loadavg"); err == nil {
		fmt.Fprintf(&b, "Load average of the machine afterwards: %s", text)
	}
	_, err := io.WriteString(w, b.String())
	return err
}
