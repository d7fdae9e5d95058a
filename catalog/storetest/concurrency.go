package storetest

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"centwise/catalog"
)

var concurrencyTests = []contract{
	{"writers from many goroutines lose nothing", concurrentWriters},
	{"one of several that revise a record wins", concurrentRevisions},
}

const (
	writers       = 8
	perWriter     = 25
	readersBeside = 2
)

func concurrentWriters(t *testing.T, f *fixture) {
	f.gear()
	var writing, reading sync.WaitGroup
	done := make(chan struct{})
	for w := range writers {
		writing.Go(func() {
			for i := range perWriter {
				s := f.session(fmt.Sprintf("writer %d session %d", w, i), float64(w), float64(i))
				if err := f.store.Apply(f.ctx, catalog.Changes{Sessions: []catalog.Session{s}}); err != nil {
					t.Errorf("writer %d: %v", w, err)
				}
			}
		})
	}
	for range readersBeside {
		reading.Go(func() {
			for seen := 0; ; {
				select {
				case <-done:
					return
				default:
				}
				n := 0
				for m, err := range f.store.Measurements(f.ctx, 0) {
					if err != nil || len(m.Readings) != 2 {
						t.Errorf("reader: %d readings, error %v", len(m.Readings), err)
						return
					}
					n++
				}
				if n < seen {
					t.Errorf("a reader saw %d sessions after it saw %d", n, seen)
				}
				seen = n
				time.Sleep(5 * time.Millisecond)
			}
		})
	}
	writing.Wait()
	close(done)
	reading.Wait()
	got := map[string]bool{}
	last := int64(0)
	for _, m := range f.measured(0) {
		got[m.Name] = true
		if m.Sequence <= last {
			t.Errorf("sequence %d after %d", m.Sequence, last)
		}
		last = m.Sequence
	}
	equal(t, "sessions", len(got), writers*perWriter)
	f.sound()
}

func concurrentRevisions(t *testing.T, f *fixture) {
	f.gear()
	h := must(f.store.Horn(f.ctx, "Alder"))(t)
	var wg sync.WaitGroup
	var mu sync.Mutex
	won, lost := 0, 0
	for w := range writers {
		wg.Go(func() {
			mine := h
			mine.Number, mine.BoreMM = 2, 11+float64(w)/10
			err := f.store.Apply(f.ctx, catalog.Changes{Horns: []catalog.Horn{mine}})
			mu.Lock()
			defer mu.Unlock()
			switch {
			case err == nil:
				won++
			case catalog.KindOf(err) == catalog.Conflict:
				lost++
			default:
				t.Error(err)
			}
		})
	}
	wg.Wait()
	equal(t, "won and lost", []int{won, lost}, []int{1, writers - 1})
	equal(t, "revisions", len(must(f.store.HornHistory(f.ctx, h.ID))(t)), 2)
	f.sound()
}
