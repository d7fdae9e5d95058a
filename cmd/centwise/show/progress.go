package show

import (
	"fmt"
	"io"
	"sync"
	"time"
)

// refresh is the shortest time between two drawings of progress.
const refresh = 100 * time.Millisecond

// Progress draws how far long work got on one line of a terminal, at most ten
// times a second. It is a catalog.Counter, safe for several goroutines.
type Progress struct {
	mu    sync.Mutex
	w     io.Writer
	style Style
	now   func() time.Time
	last  time.Time
	what  string
	done  int64
	total int64
	drawn bool
}

// NewProgress draws to w, which must be a terminal.
func NewProgress(w io.Writer, s Style, now func() time.Time) *Progress {
	return &Progress{w: w, style: s, now: now}
}

// Start begins a stage; total 0 means that the amount is not known.
func (p *Progress) Start(what string, total int64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.what, p.done, p.total = Clean(what), 0, total
	p.draw()
}

// Add counts n more.
func (p *Progress) Add(n int64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.done += n
	p.draw()
}

// Done takes the line away.
func (p *Progress) Done() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.drawn {
		fmt.Fprint(p.w, "\r\x1b[K")
	}
	p.drawn, p.last = false, time.Time{}
}

// draw shows the state unless it was shown a moment ago. A stage shorter than
// that is never seen.
func (p *Progress) draw() {
	now := p.now()
	if p.last.IsZero() {
		p.last = now
	}
	if now.Sub(p.last) < refresh {
		return
	}
	p.last, p.drawn = now, true
	line := p.what
	switch {
	case p.total > 0:
		line += fmt.Sprintf(" %d %%", min(100, 100*p.done/p.total))
	case p.done > 0:
		line += fmt.Sprintf(" %d", p.done)
	}
	fmt.Fprint(p.w, "\r\x1b[K"+squareOff(line, min(Width(line), p.style.Columns()-1), false, p.style.glyphs().ellipsis))
}
