package sqlstore_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/catalog/sqlstore"
)

// readingsPerSession is a session over the whole range with alternates.
const readingsPerSession = 40

// invented makes changes with n sessions of [readingsPerSession] readings.
func invented(n int) catalog.Changes {
	random := rand.New(rand.NewPCG(1, 2))
	c := catalog.Changes{
		Horns:       []catalog.Horn{{ID: catalog.NewID(), Label: "Alder"}},
		Mouthpieces: []catalog.Mouthpiece{{ID: catalog.NewID(), Label: "Plover 16.2"}},
		Players:     []catalog.Player{{ID: catalog.NewID(), Label: "reed-otter"}},
		Sessions:    make([]catalog.Session, n),
	}
	for i := range c.Sessions {
		s := catalog.Session{Name: fmt.Sprintf("visit %d", i), Horn: c.Horns[0].ID, Mouthpiece: c.Mouthpieces[0].ID, Player: c.Players[0].ID}
		for k := range readingsPerSession {
			slot := pitch.Slot{Valves: pitch.Valves(k % 8), Partial: 2 + k/8}
			s.Readings = append(s.Readings, catalog.Reading{Slot: slot, Repeat: 1, Cents: 20 * random.NormFloat64()})
		}
		c.Sessions[i] = s
	}
	return c
}

func newStore(tb testing.TB) *sqlstore.Store {
	tb.Helper()
	s, err := sqlstore.Open(context.Background(), filepath.Join(tb.TempDir(), "catalog.db"), sqlstore.Options{Create: true})
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { s.Close() })
	return s
}

// everywhere runs a benchmark on a file and on a server.
func everywhere(b *testing.B, bench func(b *testing.B, open func(testing.TB) *sqlstore.Store)) {
	b.Run("file", func(b *testing.B) { bench(b, newStore) })
	b.Run("server", func(b *testing.B) { bench(b, serverStore) })
}

func BenchmarkApply100000Readings(b *testing.B) { everywhere(b, benchmarkApply) }

func benchmarkApply(b *testing.B, open func(testing.TB) *sqlstore.Store) {
	c := invented(100_000 / readingsPerSession)
	for b.Loop() {
		b.StopTimer()
		s := open(b)
		b.StartTimer()
		if err := s.Apply(context.Background(), c); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMeasurementsMillionReadings(b *testing.B) { everywhere(b, benchmarkMeasurements) }

func benchmarkMeasurements(b *testing.B, open func(testing.TB) *sqlstore.Store) {
	s := open(b)
	const sessions = 1_000_000 / readingsPerSession
	if err := s.Apply(context.Background(), invented(sessions)); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		n := 0
		for m, err := range s.Measurements(context.Background(), 0) {
			if err != nil {
				b.Fatal(err)
			}
			n += len(m.Readings)
		}
		if n != sessions*readingsPerSession {
			b.Fatalf("read %d readings", n)
		}
	}
	b.ReportMetric(float64(sessions*readingsPerSession)*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}

func BenchmarkOpen(b *testing.B) {
	path := newStore(b).Path()
	for b.Loop() {
		s, err := sqlstore.Open(context.Background(), path, sqlstore.Options{})
		if err != nil {
			b.Fatal(err)
		}
		s.Close()
	}
}

func BenchmarkFindHorn(b *testing.B) {
	s := newStore(b)
	if err := s.Apply(context.Background(), invented(1)); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := s.Horn(context.Background(), "Alder"); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkInfo(b *testing.B) {
	s := newStore(b)
	if err := s.Apply(context.Background(), invented(2500)); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := s.Info(context.Background()); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkMillionReadings is what commands do on a large catalog.
func BenchmarkMillionReadings(b *testing.B) { everywhere(b, benchmarkCommands) }

func benchmarkCommands(b *testing.B, open func(testing.TB) *sqlstore.Store) {
	s := open(b)
	if err := s.Apply(context.Background(), invented(1_000_000/readingsPerSession)); err != nil {
		b.Fatal(err)
	}
	for _, bench := range []struct {
		name string
		do   func() error
	}{
		{"info", func() error { _, err := s.Info(context.Background()); return err }},
		{"digest", func() error { _, err := s.Digest(context.Background()); return err }},
		{"sessions", func() error {
			_, err := s.Sessions(context.Background(), catalog.SessionFilter{})
			return err
		}},
		{"session", func() error { _, err := s.Session(context.Background(), "visit 777"); return err }},
		{"integrity", func() error { _, err := s.Integrity(context.Background()); return err }},
		{"backup", func() error { return s.Backup(context.Background(), filepath.Join(b.TempDir(), "copy.db")) }},
	} {
		b.Run(bench.name, func(b *testing.B) {
			for b.Loop() {
				if err := bench.do(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// What somebody at the keyboard waits for after each line.
func BenchmarkAddDraftLine(b *testing.B) { everywhere(b, benchmarkAddDraftLine) }

func benchmarkAddDraftLine(b *testing.B, open func(testing.TB) *sqlstore.Store) {
	s := open(b)
	c := invented(0)
	if err := s.Apply(context.Background(), c); err != nil {
		b.Fatal(err)
	}
	slot := pitch.Slot{Partial: 2}
	d := catalog.Draft{ID: catalog.NewID(), Rounds: [][]pitch.Slot{{slot}},
		Session: catalog.Session{Name: "Monday", Horn: c.Horns[0].ID, Mouthpiece: c.Mouthpieces[0].ID, Player: c.Players[0].ID}}
	if err := s.OpenDraft(context.Background(), d); err != nil {
		b.Fatal(err)
	}
	n := 0
	for b.Loop() {
		n++
		if err := s.AddDraftLine(context.Background(), d.ID, n, catalog.DraftLine{Kind: catalog.LineRead, Slot: slot, Cents: []float64{-3}}); err != nil {
			b.Fatal(err)
		}
	}
}
