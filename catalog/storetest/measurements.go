package storetest

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

var measurementTests = []contract{
	{"measurements stream what counts", measurementsStream},
	{"measurements go on after a sequence number", measurementsAfter},
	{"measurements of many sessions keep readings apart", measurementsMany},
	{"measurements can be broken off and nested", measurementsBroken},
	{"measurements see one moment", measurementsMoment},
}

func measurementsStream(t *testing.T, f *fixture) {
	f.gear()
	equal(t, "empty", len(f.measured(0)), 0)
	a, b, c := f.session("a", 1, 2), f.session("b", 3), f.session("c", 4, 5)
	a.Readings = append(a.Readings,
		catalog.Reading{Slot: a.Readings[0].Slot, Repeat: 2, Cents: 1.5},
		catalog.Reading{Slot: pitch.Slot{Valves: 7, Partial: 12}, Repeat: 1, Cents: -149},
		catalog.Reading{Slot: pitch.Slot{Valves: 7, Partial: 1}, Repeat: 1, Cents: 300, Odd: true})
	c.Method = catalog.MethodRecording
	c.Readings[0].Odd = true
	f.record(a, b, c)
	f.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: b.ID}}})
	retired := must(f.store.Horn(f.ctx, "Alder"))(t)
	retired.Number, retired.Retired = 2, true
	f.apply(catalog.Changes{Horns: []catalog.Horn{retired}})

	got := f.measured(0)
	if len(got) != 2 {
		t.Fatalf("%d sessions", len(got))
	}
	equal(t, "ids", []catalog.ID{got[0].ID, got[0].Horn, got[0].Mouthpiece, got[0].Player}, []catalog.ID{a.ID, f.alder.ID, f.plover.ID, f.otter.ID})
	equal(t, "texts", []string{got[0].Name, got[0].Contributor, string(got[0].Method), string(got[1].Method)}, []string{"a", "blue-kite", "tuner", "recording"})
	want := map[catalog.MeasuredReading]bool{
		{Slot: a.Readings[0].Slot, Cents: 1}: true, {Slot: a.Readings[0].Slot, Cents: 1.5}: true,
		{Slot: a.Readings[1].Slot, Cents: 2}: true, {Slot: pitch.Slot{Valves: 7, Partial: 12}, Cents: -149}: true,
	}
	have := map[catalog.MeasuredReading]bool{}
	for _, r := range got[0].Readings {
		have[r] = true
	}
	equal(t, "readings", have, want)
	equal(t, "readings", len(got[0].Readings), len(want))
	equal(t, "without odd", got[1].Readings, []catalog.MeasuredReading{{Slot: c.Readings[1].Slot, Cents: 5}})
}

func measurementsAfter(t *testing.T, f *fixture) {
	f.gear()
	f.record(f.session("a", 1), f.session("b", 2))
	all := f.measured(0)
	if len(all) != 2 || all[0].Sequence <= 0 || all[1].Sequence <= all[0].Sequence {
		t.Fatalf("%+v", all)
	}
	equal(t, "after a", f.measured(all[0].Sequence)[0].Name, "b")
	equal(t, "after b", len(f.measured(all[1].Sequence)), 0)
	f.record(f.session("c", 3))
	later := f.measured(all[1].Sequence)
	if len(later) != 1 || later[0].Name != "c" || later[0].Sequence <= all[1].Sequence {
		t.Errorf("%+v", later)
	}
	f.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: all[1].ID}}})
	equal(t, "sequence of c", f.measured(0)[1].Sequence, later[0].Sequence)
}

func measurementsMany(t *testing.T, f *fixture) {
	f.gear()
	const n = 1200 // more than two blocks of any store so far
	var sessions []catalog.Session
	var retractions []catalog.RetractionOf
	for i := range n {
		s := f.session(fmt.Sprint(i), make([]float64, 1+i%7)...)
		for k := range s.Readings {
			s.Readings[k].Cents = float64(i%100) + float64(k)/8
			s.Readings[k].Odd = i%11 == 0
		}
		sessions = append(sessions, s)
		if i%5 == 2 || i < 3 || i > n-3 {
			retractions = append(retractions, catalog.RetractionOf{Session: s.ID})
		}
	}
	f.record(sessions...)
	f.apply(catalog.Changes{Retractions: retractions})
	gone := map[catalog.ID]bool{}
	for _, r := range retractions {
		gone[r.Session] = true
	}
	got := f.measured(0)
	at := 0
	for i, s := range sessions {
		if gone[s.ID] {
			continue
		}
		if at >= len(got) || got[at].ID != s.ID {
			t.Fatalf("session %d is not the next one", i)
		}
		checkReadings(t, i, got[at], s)
		at++
	}
	equal(t, "sessions", len(got), at)
	f.sound()

	// Cancelled on the way, the stream ends with the context's error.
	ctx, cancel := context.WithCancel(f.ctx)
	defer cancel()
	var last error
	for _, err := range f.store.Measurements(ctx, 0) {
		cancel()
		last = err
	}
	if !errors.Is(last, context.Canceled) {
		t.Errorf("a cancelled stream ended with %v", last)
	}
}

func checkReadings(t *testing.T, i int, got catalog.Measured, s catalog.Session) {
	t.Helper()
	want := map[pitch.Slot]float64{}
	for _, r := range s.Readings {
		if !r.Odd {
			want[r.Slot] = r.Cents
		}
	}
	if len(got.Readings) != len(want) {
		t.Fatalf("session %d has %d readings, want %d", i, len(got.Readings), len(want))
	}
	for _, r := range got.Readings {
		if c, ok := want[r.Slot]; !ok || c != r.Cents {
			t.Fatalf("session %d: %s reads %g, want %g", i, r.Slot, r.Cents, c)
		}
	}
}

func measurementsBroken(t *testing.T, f *fixture) {
	f.gear()
	f.record(f.session("a", 1), f.session("b", 2))
	for range 50 { // more often than a pool has connections
		for m, err := range f.store.Measurements(f.ctx, 0) {
			if err != nil {
				t.Fatal(err)
			}
			equal(t, "inner", must(f.store.Session(f.ctx, m.Name))(t).ID, m.ID)
			break
		}
	}
	n := 0
	for range f.store.Measurements(f.ctx, 0) {
		n += len(f.measured(0))
	}
	equal(t, "nested", n, 4)
}

func measurementsMoment(t *testing.T, f *fixture) {
	f.gear()
	f.record(f.session("a", 1), f.session("b", 2))
	n := 0
	for _, err := range f.store.Measurements(f.ctx, 0) {
		if err != nil {
			t.Fatal(err)
		}
		n++
		f.record(f.session(fmt.Sprintf("meanwhile %d", n), 3)) // a reader does not stop a writer
	}
	equal(t, "sessions of the moment", n, 2)
	equal(t, "sessions now", len(f.measured(0)), 4)
}
