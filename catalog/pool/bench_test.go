package pool_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"runtime"
	"sync/atomic"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/catalog/pool"
)

// million makes a bundle of a million readings in 25,000 sessions.
func million(b *testing.B) []byte {
	b.Helper()
	s := newStore(b)
	random := rand.New(rand.NewPCG(1, 2))
	c := catalog.Changes{Horns: []catalog.Horn{{ID: catalog.NewID(), Label: "Alder"}}, Mouthpieces: []catalog.Mouthpiece{{ID: catalog.NewID(), Label: "Plover 16.2"}},
		Players: []catalog.Player{{ID: catalog.NewID(), Label: "reed-otter"}}}
	for i := range 25_000 {
		x := catalog.Session{Name: fmt.Sprintf("visit %d", i), Horn: c.Horns[0].ID, Mouthpiece: c.Mouthpieces[0].ID, Player: c.Players[0].ID, Contributor: "lamp-keeper"}
		for k := range 40 {
			x.Readings = append(x.Readings, catalog.Reading{Slot: pitch.Slot{Valves: pitch.Valves(k % 8), Partial: 2 + k/8}, Repeat: 1, Cents: float64(random.IntN(1000)) / 10})
		}
		c.Sessions = append(c.Sessions, x)
	}
	if err := s.Apply(ctx, c); err != nil {
		b.Fatal(err)
	}
	return export(b, s, pool.ExportOptions{})
}

// peak watches the heap while work goes on and gives the most it held, in MB
// above what it held before.
func peak(work func()) float64 {
	runtime.GC()
	var before runtime.MemStats
	runtime.ReadMemStats(&before)
	var most atomic.Uint64
	stop, stopped := make(chan bool), make(chan bool)
	go func() {
		defer close(stopped)
		for {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			most.Store(max(most.Load(), m.HeapAlloc))
			select {
			case <-stop:
				return
			case <-time.After(20 * time.Millisecond):
			}
		}
	}()
	work()
	close(stop)
	<-stopped
	return (float64(most.Load()) - float64(before.HeapAlloc)) / (1 << 20)
}

func BenchmarkMergeMillionReadings(b *testing.B) {
	bundle := million(b)
	b.ReportMetric(float64(len(bundle))/1e6, "MB/bundle")
	memory := 0.0
	for b.Loop() {
		b.StopTimer()
		s := newStore(b)
		b.StartTimer()
		memory = max(memory, peak(func() { merge(b, s, bundle) }))
	}
	b.ReportMetric(memory, "MB-peak")
	b.ReportMetric(1e6*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}

func BenchmarkMergeMillionReadingsAgain(b *testing.B) {
	bundle := million(b)
	s := newStore(b)
	merge(b, s, bundle)
	for b.Loop() {
		merge(b, s, bundle)
	}
	b.ReportMetric(1e6*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}

func BenchmarkReadMillionReadings(b *testing.B) {
	bundle := million(b)
	for b.Loop() {
		n := 0
		for p, err := range pool.Read(ctx, pool.File{Name: "bench", Content: bytes.NewReader(bundle)}) {
			if err != nil {
				b.Fatal(err)
			}
			if p.Session != nil {
				n += len(p.Session.Record.Readings)
			}
		}
		if n != 1_000_000 {
			b.Fatal(n)
		}
	}
	b.ReportMetric(1e6*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}

// A part as others pull it: 1000 sessions with 31 readings each.
func BenchmarkPart(b *testing.B) {
	s := newStore(b)
	several(b, s, 1000, 31)
	secret := must(s.PoolSecret(ctx))(b)
	readings := 0
	for b.Loop() {
		readings += must(pool.NextPart(ctx, s, secret, catalog.Position{}, pool.PartOptions{}))(b).Summary.Readings
	}
	b.ReportMetric(float64(readings)/b.Elapsed().Seconds(), "readings/s")
}
