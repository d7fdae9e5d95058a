package storetest

import (
	"fmt"
	"sync"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

var draftTests = []contract{
	{"a draft comes back line by line", draftRoundTrip},
	{"a draft is found by id or by name", draftFound},
	{"a draft that breaks a rule is not opened", draftRefused},
	{"lines follow one another", draftLines},
	{"a draft makes no fit stale", draftDigest},
	{"a draft is finished with its session or not at all", draftFinished},
	{"a discarded draft is gone", draftDiscarded},
	{"one of several that write a line wins", concurrentLines},
	{"one of several that finish a draft wins", concurrentFinishers},
}

// draft is one with Alder, Plover and reed-otter, of two notes in two rounds.
func (f *fixture) draft(name string) catalog.Draft {
	c4, g4 := pitch.Slot{Partial: 2}, pitch.Slot{Valves: 5, Partial: 3}
	return catalog.Draft{ID: catalog.NewID(), Started: noon, Seed: 4711, Rounds: [][]pitch.Slot{{c4, g4}, {g4, c4}},
		Session: catalog.Session{Name: name, Horn: f.alder.ID, Mouthpiece: f.plover.ID, Player: f.otter.ID, Contributor: "blue-kite", At: noon,
			A4Hz: 442, TemperatureC: pointer(0), SlideMM: pointer(12.5), Dynamic: "mf", Method: catalog.MethodTuner, Remark: "cold hall\nsecond try", Adapter: true}}
}

func (f *fixture) begin(d catalog.Draft) {
	f.t.Helper()
	if err := f.store.OpenDraft(f.ctx, d); err != nil {
		f.t.Fatal(err)
	}
}

func (f *fixture) line(d catalog.Draft, n int, text string) {
	f.t.Helper()
	l := must(catalog.ParseDraftLine(text))(f.t)
	if err := f.store.AddDraftLine(f.ctx, d.ID, n, l); err != nil {
		f.t.Fatal(err)
	}
}

// finished is the session that a draft becomes.
func finished(d catalog.Draft, lines int) catalog.Changes {
	s := d.Session
	s.ID = d.ID
	s.Readings = []catalog.Reading{{Slot: d.Rounds[0][0], Repeat: 1, Cents: -3}}
	return catalog.Changes{Sessions: []catalog.Session{s}, Finished: []catalog.DraftEnd{{ID: d.ID, Lines: lines}}}
}

func draftRoundTrip(t *testing.T, f *fixture) {
	f.gear()
	d := f.draft("one")
	f.begin(d)
	equal(t, "empty draft", must(f.store.Draft(f.ctx, "one"))(t), d)
	for i, text := range []string{"0/2 -3 4.25 ?150", "0/2 keep", "undo", "0/2 0", "13/3 skip", "13/3 ?-31"} {
		f.line(d, i+1, text)
		d.Lines = append(d.Lines, must(catalog.ParseDraftLine(text))(t))
		equal(t, "draft", must(f.store.Draft(f.ctx, string(d.ID)))(t), d)
	}
	bare := catalog.Draft{Session: catalog.Session{Name: " two ", Horn: f.rowan.ID, Mouthpiece: f.dunlin.ID, Method: catalog.MethodImpedance}, Rounds: d.Rounds[:1]}
	f.begin(bare)
	list := must(f.store.Drafts(f.ctx))(t)
	if len(list) != 2 || list[0].LastLine.IsZero() || !list[1].LastLine.IsZero() || list[1].Started.IsZero() || !list[1].ID.Valid() {
		t.Fatalf("drafts %+v", list)
	}
	d.Lines, list[0].LastLine = nil, noon
	equal(t, "first", list[0], catalog.DraftSummary{Draft: d, HornLabel: "Alder", MouthpieceLabel: "Plover 16.2", PlayerLabel: "reed-otter", LineCount: 6, LastLine: noon})
	equal(t, "second", []any{list[1].Session.Name, list[1].Session.A4Hz, list[1].Session.TemperatureC == nil, list[1].HornLabel, list[1].PlayerLabel, list[1].LineCount},
		[]any{"two", catalog.DefaultA4Hz, true, "Rowan", "", 0})
	f.sound()
}

func draftFound(t *testing.T, f *fixture) {
	f.gear()
	a, b, c := f.draft("Monday"), f.draft("monday"), f.draft("Tuesday")
	f.begin(a)
	f.begin(b)
	f.begin(c)
	equal(t, "exact name", must(f.store.Draft(f.ctx, "Monday"))(t).ID, a.ID)
	equal(t, "folded name", must(f.store.Draft(f.ctx, "TUESDAY"))(t).ID, c.ID)
	equal(t, "id", must(f.store.Draft(f.ctx, string(b.ID)))(t).ID, b.ID)
	_, err := f.store.Draft(f.ctx, "MONDAY")
	wantError(t, err, catalog.Conflict, "2 drafts", "session drafts")
	_, err = f.store.Draft(f.ctx, "Mondey")
	wantError(t, err, catalog.NotFound, "Mondey", "Monday")
	_, err = f.store.Draft(f.ctx, "x")
	wantError(t, err, catalog.NotFound, "session drafts")
}

func draftRefused(t *testing.T, f *fixture) {
	f.gear()
	there := f.draft("there")
	f.begin(there)
	for _, tc := range []struct {
		kind   catalog.Kind
		change func(*catalog.Draft)
		words  []string
	}{
		{catalog.Invalid, func(d *catalog.Draft) { d.Session.Name = "" }, []string{"session", "empty"}},
		{catalog.Invalid, func(d *catalog.Draft) { d.Session.A4Hz = 44 }, []string{"a4_hz"}},
		{catalog.Invalid, func(d *catalog.Draft) { d.Session.Horn = "" }, []string{"horn", "missing"}},
		{catalog.Invalid, func(d *catalog.Draft) { d.Rounds = nil }, []string{"rounds"}},
		{catalog.Invalid, func(d *catalog.Draft) { d.Rounds = [][]pitch.Slot{{}} }, []string{"notes"}},
		{catalog.Invalid, func(d *catalog.Draft) { d.Rounds = make([][]pitch.Slot, catalog.MaxRounds+1) }, []string{"rounds"}},
		{catalog.Invalid, func(d *catalog.Draft) { d.Rounds = [][]pitch.Slot{{{Partial: 13}}} }, []string{"partial"}},
		{catalog.Invalid, func(d *catalog.Draft) { d.Seed = -1 }, []string{"order"}},
		{catalog.Invalid, func(d *catalog.Draft) { d.ID = "x" }, []string{"id"}},
		{catalog.Invalid, func(d *catalog.Draft) { d.Lines = []catalog.DraftLine{{Kind: catalog.LineUndo}} }, []string{"lines"}},
		{catalog.Invalid, func(d *catalog.Draft) { d.Session.Mouthpiece, d.Session.Adapter = f.dunlin.ID, false }, []string{"cornet shank", "Alder"}},
		{catalog.Invalid, func(d *catalog.Draft) { d.Rounds = [][]pitch.Slot{{{Valves: 8, Partial: 2}}} }, []string{"fourth valve"}},
		{catalog.NotFound, func(d *catalog.Draft) { d.Session.Player = catalog.NewID() }, []string{"player"}},
		{catalog.Conflict, func(d *catalog.Draft) { d.ID = there.ID }, []string{string(there.ID)}},
	} {
		d := f.draft("one")
		tc.change(&d)
		wantError(t, f.store.OpenDraft(f.ctx, d), tc.kind, tc.words...)
	}
	equal(t, "drafts", len(must(f.store.Drafts(f.ctx))(t)), 1)
	f.sound()
}

func draftLines(t *testing.T, f *fixture) {
	f.gear()
	d := f.draft("one")
	f.begin(d)
	f.line(d, 1, "0/2 -3")
	good := catalog.DraftLine{Kind: catalog.LineSkip, Slot: d.Rounds[0][1]}
	for n, words := range map[int]string{0: "1 line", 1: "1 line", 3: "1 line"} {
		wantError(t, f.store.AddDraftLine(f.ctx, d.ID, n, good), catalog.Conflict, words, "another terminal", string(d.ID))
	}
	wantError(t, f.store.AddDraftLine(f.ctx, catalog.NewID(), 1, good), catalog.NotFound, "session drafts")
	for _, bad := range []catalog.DraftLine{
		{}, {Kind: catalog.LineRead, Slot: good.Slot}, {Kind: catalog.LineRead, Slot: good.Slot, Cents: []float64{151}},
		{Kind: catalog.LineUndo, Slot: good.Slot}, {Kind: catalog.LineSkip, Slot: good.Slot, Cents: []float64{1}}, {Kind: catalog.LineSkip},
		{Kind: catalog.LineRead, Slot: good.Slot, Cents: make([]float64, catalog.MaxLineReadings+1)},
	} {
		wantError(t, f.store.AddDraftLine(f.ctx, d.ID, 2, bad), catalog.Invalid)
	}
	equal(t, "lines", len(must(f.store.Draft(f.ctx, "one"))(t).Lines), 1)
}

func draftDigest(t *testing.T, f *fixture) {
	f.gear()
	before := f.digest()
	d := f.draft("one")
	f.begin(d)
	f.line(d, 1, "0/2 -3")
	equal(t, "digest", f.digest(), before)
	if err := f.store.DiscardDraft(f.ctx, d.ID); err != nil {
		t.Fatal(err)
	}
	equal(t, "digest", f.digest(), before)
}

func draftFinished(t *testing.T, f *fixture) {
	f.gear()
	f.record(f.session("taken", 1))
	d := f.draft("taken")
	f.begin(d)
	f.line(d, 1, "0/2 -3")
	f.refuse(catalog.Conflict, finished(d, 1), "taken")                                                       // the name
	f.refuse(catalog.Conflict, catalog.Changes{Finished: []catalog.DraftEnd{{ID: d.ID, Lines: 0}}}, "1 line") // somebody wrote meanwhile
	f.refuse(catalog.Invalid, catalog.Changes{Finished: []catalog.DraftEnd{{}}}, "draft")
	renamed := d
	renamed.Session.Name = "free"
	f.apply(finished(renamed, 1))
	equal(t, "drafts", len(must(f.store.Drafts(f.ctx))(t)), 0)
	s := must(f.store.Session(f.ctx, "free"))(t)
	equal(t, "session", []any{s.ID, s.At, s.A4Hz, s.Remark}, []any{d.ID, noon, 442.0, "cold hall\nsecond try"})
	again := finished(renamed, 1)
	again.Sessions[0].ID, again.Sessions[0].Name = "", "again"
	f.refuse(catalog.NotFound, again, "session drafts") // another terminal was first
	f.sound()
}

func draftDiscarded(t *testing.T, f *fixture) {
	f.gear()
	d := f.draft("one")
	f.begin(d)
	f.line(d, 1, "0/2 -3")
	equal(t, "drafts counted", must(f.store.Info(f.ctx))(t).Drafts, 1)
	if err := f.store.DiscardDraft(f.ctx, d.ID); err != nil {
		t.Fatal(err)
	}
	equal(t, "drafts counted", must(f.store.Info(f.ctx))(t).Drafts, 0)
	wantError(t, f.store.DiscardDraft(f.ctx, d.ID), catalog.NotFound, string(d.ID))
	wantError(t, f.store.AddDraftLine(f.ctx, d.ID, 2, catalog.DraftLine{Kind: catalog.LineUndo}), catalog.NotFound)
	equal(t, "drafts", len(must(f.store.Drafts(f.ctx))(t)), 0)
	f.sound()
}

// Writers that want to add the next line each: everybody's is written once, and
// none overwrites another's.
func concurrentLines(t *testing.T, f *fixture) {
	f.gear()
	d := f.draft("one")
	f.begin(d)
	const lines = 10
	var wg sync.WaitGroup
	won := make([]int, writers)
	for w := range writers {
		wg.Go(func() {
			for n := 1; n <= lines; n++ {
				l := catalog.DraftLine{Kind: catalog.LineRead, Slot: d.Rounds[0][0], Cents: []float64{float64(w)}}
				switch err := f.store.AddDraftLine(f.ctx, d.ID, n, l); {
				case err == nil:
					won[w]++
				case catalog.KindOf(err) != catalog.Conflict:
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	got := map[float64]int{}
	for _, l := range must(f.store.Draft(f.ctx, "one"))(t).Lines {
		got[l.Cents[0]]++
	}
	total := 0
	for w, n := range won {
		total += n
		equal(t, fmt.Sprintf("lines of writer %d", w), got[float64(w)], n)
	}
	equal(t, "lines", total, lines)
}

func concurrentFinishers(t *testing.T, f *fixture) {
	f.gear()
	d := f.draft("one")
	f.begin(d)
	var wg sync.WaitGroup
	var mu sync.Mutex
	won, lost := 0, 0
	for w := range writers {
		wg.Go(func() {
			c := finished(d, 0)
			c.Sessions[0].ID, c.Sessions[0].Name = "", fmt.Sprintf("by writer %d", w)
			err := f.store.Apply(f.ctx, c)
			mu.Lock()
			defer mu.Unlock()
			switch {
			case err == nil:
				won++
			case catalog.KindOf(err) == catalog.NotFound:
				lost++
			default:
				t.Error(err)
			}
		})
	}
	wg.Wait()
	equal(t, "won and lost", []int{won, lost}, []int{1, writers - 1})
	equal(t, "sessions", len(must(f.store.Sessions(f.ctx, catalog.SessionFilter{}))(t)), 1)
	f.sound()
}
