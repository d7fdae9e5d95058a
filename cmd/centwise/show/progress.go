package show

import (
	"fmt"
	"io"
	"sync"
	"time"
)

// refresh is the time between two drawings of progress. Work shorter than that
// is never seen.
const refresh = 100 * time.Millisecond

// Progress draws how far long work got on one line of a terminal, ten times a
// second. It is a catalog.Counter, safe for several goroutines.
type Progress struct {
	mu    sync.Mutex
	w     io.Writer
	style Style
	timer *time.Timer // draws next; nil between stages
	began time.Time
	what  string
	done  int64
	total int64
	drawn bool
}

// NewProgress draws to w, which must be a terminal.
func NewProgress(w io.Writer, s Style) *Progress { return &Progress{w: w, style: s} }

// Start begins a stage; total 0 means that the amount is not known.
func (p *Progress) Start(what string, total int64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.stop()
	p.what, p.done, p.total, p.began = Clean(what), 0, total, time.Now()
	p.timer = time.AfterFunc(refresh, p.tick)
}

// Add counts n more.
func (p *Progress) Add(n int64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.done += n
}

// Done ends the stage and takes the line away.
func (p *Progress) Done() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.stop()
	if p.drawn {
		fmt.Fprint(p.w, "\r\x1b[K")
	}
	p.drawn = false
}

// Aside takes the line away while something else is said. It comes back with the
// next drawing.
func (p *Progress) Aside(say func()) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.drawn {
		fmt.Fprint(p.w, "\r\x1b[K")
	}
	p.drawn = false
	say()
}

func (p *Progress) stop() {
	if p.timer != nil {
		p.timer.Stop()
	}
	p.timer = nil
}

// tick draws the state, and sees to it that it is drawn again: a stage that
// counts nothing shows that it goes on by the seconds.
func (p *Progress) tick() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.timer == nil {
		return // the stage ended while this waited
	}
	p.draw()
	p.timer.Reset(refresh)
}

func (p *Progress) draw() {
	p.drawn = true
	line := p.what
	switch {
	case p.total > 0:
		line += fmt.Sprintf(" %d %%", min(100, 100*p.done/p.total))
	case p.done > 0:
		line += fmt.Sprintf(" %d", p.done)
	}
	if taken := time.Since(p.began); taken >= time.Second {
		line += fmt.Sprintf(", %d s", int(taken.Seconds()))
	}
	fmt.Fprint(p.w, "\r\x1b[K"+squareOff(line, min(Width(line), p.style.Columns()-1), false, p.style.glyphs().ellipsis))
}
