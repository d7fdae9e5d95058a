package storetest

import (
	"testing"
	"time"

	"centwise/catalog"
)

var clockTests = []contract{
	{"a clock that jumps back disorders nothing", clockJumpsBack},
}

// clockJumpsBack has a machine whose clock falls back by decades, as when its
// battery is dead, and then jumps ahead of everybody's.
func clockJumpsBack(t *testing.T, f *fixture) {
	f.gear()
	long, ahead := time.Date(1999, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(2099, 1, 1, 0, 0, 0, 0, time.UTC)
	for i, at := range []time.Time{long, ahead, long.Add(time.Hour)} {
		h := f.alder
		h.Number, h.At, h.BoreMM = i+2, at, 11.5+float64(i)/10
		f.apply(catalog.Changes{Horns: []catalog.Horn{h}})
	}
	history := must(f.store.HornHistory(f.ctx, f.alder.ID))(t)
	var numbers []int
	for _, h := range history {
		numbers = append(numbers, h.Number)
	}
	equal(t, "revisions", numbers, []int{1, 2, 3, 4})
	equal(t, "the current bore", must(f.store.Horn(f.ctx, "Alder"))(t).BoreMM, 11.7)

	var recorded []string
	for _, s := range []struct {
		name string
		at   time.Time
	}{{"first", noon}, {"after the clock fell back", long}, {"after it jumped ahead", ahead}, {"last", noon.Add(time.Hour)}} {
		x := f.session(s.name, 1, 2)
		x.Recorded = s.at
		f.record(x)
		recorded = append(recorded, s.name)
	}
	equal(t, "order of recording", names(t, f, catalog.SessionFilter{}), recorded)
	var seqs []int64
	for m, err := range f.store.Measurements(f.ctx, 0) {
		if err != nil {
			t.Fatal(err)
		}
		seqs = append(seqs, m.Sequence)
	}
	var later []string
	for m, err := range f.store.Measurements(f.ctx, seqs[1]) {
		if err != nil {
			t.Fatal(err)
		}
		later = append(later, m.Name)
	}
	equal(t, "what came after the second", later, recorded[2:])

	other := f.open(t)
	if _, err := other.Merge(f.ctx, f.store.Pooled(f.ctx, catalog.PoolSelection{})); err != nil {
		t.Fatal(err)
	}
	equal(t, "the bore elsewhere", must(other.Horn(f.ctx, "Alder"))(t).BoreMM, 11.7)
	equal(t, "sessions elsewhere", len(must(other.Sessions(f.ctx, catalog.SessionFilter{}))(t)), len(recorded))
	f.sound()
}
