package server

import (
	"math"
	"net/netip"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// limiter lets so many requests a key pass: bursts, and a steady rate after.
type limiter struct {
	rate  rate.Limit
	burst int
	now   func() time.Time

	mu   sync.Mutex
	keys map[string]*allowance
}

type allowance struct {
	*rate.Limiter
	used time.Time
}

// maxKeys bounds what is remembered. When there are more, those that have their
// full allowance again are forgotten, which changes nothing for them; if that is
// not enough, all are.
const maxKeys = 20_000

func newLimiter(perSecond float64, burst int, now func() time.Time) *limiter {
	return &limiter{rate: rate.Limit(perSecond), burst: burst, now: now, keys: map[string]*allowance{}}
}

// wait tells how many seconds a key has to wait before its next request; 0 lets
// this one pass.
func (l *limiter) wait(key string) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.now()
	a := l.keys[key]
	if a == nil {
		l.forget(now)
		a = &allowance{Limiter: rate.NewLimiter(l.rate, l.burst)}
		l.keys[key] = a
	}
	a.used = now
	if a.AllowN(now, 1) {
		return 0
	}
	return max(1, int(math.Ceil((1-a.TokensAt(now))/float64(l.rate))))
}

func (l *limiter) forget(now time.Time) {
	if len(l.keys) < maxKeys {
		return
	}
	full := time.Duration(float64(l.burst) / float64(l.rate) * float64(time.Second))
	for key, a := range l.keys {
		if now.Sub(a.used) > full {
			delete(l.keys, key)
		}
	}
	if len(l.keys) >= maxKeys {
		clear(l.keys)
	}
}

// keyOf is an address as limits know it. Whoever has one IPv6 address usually has
// 2^64 of them (RFC 6177), so these count as one.
func keyOf(address string) string {
	a, err := netip.ParseAddr(address)
	if err != nil {
		return address
	}
	if a = a.Unmap().WithZone(""); a.Is6() {
		if p, err := a.Prefix(64); err == nil {
			return p.String()
		}
	}
	return a.String()
}
