package storetest

import (
	"fmt"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

var sessionTests = []contract{
	{"sessions come back as they went in", sessionRoundTrip},
	{"sessions are listed in order of recording", sessionsListed},
	{"sessions are filtered", sessionsFiltered},
	{"sessions are found by name, case and id", sessionFound},
	{"a name is taken once among sessions that count", sessionNames},
	{"a retracted session stays in history", sessionRetracted},
	{"a session is replaced by a correction", sessionReplaced},
	{"a history recorded elsewhere is taken over", sessionHistory},
	{"names and remarks may hold anything that can be seen", sessionLabels},
	{"info counts what counts", infoCounts},
}

func sessionRoundTrip(t *testing.T, f *fixture) {
	f.gear()
	s := f.session("spring visit", -12.25, 3.0000000000000004, 0, 149.99999, -150)
	s.At, s.Recorded = noon, noon.Add(time.Hour)
	s.A4Hz, s.TemperatureC, s.SlideMM, s.GapMM = 442, pointer(-3.5), pointer(0), pointer(2.5)
	s.Dynamic, s.Method, s.Remark, s.Source = "mf", catalog.MethodRecording, "cold hall\nsecond try", "visit.csv"
	s.Readings = append(s.Readings, catalog.Reading{Slot: s.Readings[4].Slot, Repeat: 2, Cents: 480, Odd: true})
	f.record(s)
	equal(t, "session", must(f.store.Session(f.ctx, "spring visit"))(t), s)

	plain := f.session("plain", 1)
	f.record(plain)
	got := must(f.store.Session(f.ctx, "plain"))(t)
	if time.Since(got.Recorded).Abs() > time.Hour {
		t.Errorf("recorded %v", got.Recorded)
	}
	plain.Recorded, plain.A4Hz, plain.Method = got.Recorded, 440, catalog.MethodTuner
	equal(t, "plain session", got, plain)
	f.sound()
}

func names(t *testing.T, f *fixture, filter catalog.SessionFilter) (out []string) {
	t.Helper()
	for _, s := range must(f.store.Sessions(f.ctx, filter))(t) {
		out = append(out, s.Name)
	}
	return out
}

func sessionsListed(t *testing.T, f *fixture) {
	f.gear()
	f.record(f.session("c", 1, 2), f.session("a", 3))
	f.record(f.session("b", 4, 5, 6))
	list := must(f.store.Sessions(f.ctx, catalog.SessionFilter{}))(t)
	equal(t, "order", names(t, f, catalog.SessionFilter{}), []string{"c", "a", "b"})
	s := list[2]
	equal(t, "labels", []string{s.HornLabel, s.MouthpieceLabel, s.PlayerLabel}, []string{"Alder", "Plover 16.2", "reed-otter"})
	if s.ReadingCount != 3 || s.Readings != nil {
		t.Errorf("count %d, readings %v", s.ReadingCount, s.Readings)
	}
}

func sessionsFiltered(t *testing.T, f *fixture) {
	f.gear()
	a, b, c, d := f.session("a", 1), f.session("b", 1), f.session("c", 1), f.session("d", 1)
	b.Horn, b.Mouthpiece = f.rowan.ID, f.dunlin.ID
	c.Player, c.Contributor, c.At = f.kite.ID, "reed-otter", noon
	d.At, d.Recorded = noon.AddDate(-1, 0, 0), noon
	d.Method = catalog.MethodImpedance
	f.record(a, b, c, d)
	f.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: a.ID}}})
	for _, tc := range []struct {
		filter catalog.SessionFilter
		want   []string
	}{
		{catalog.SessionFilter{}, []string{"b", "c", "d"}},
		{catalog.SessionFilter{Retracted: true}, []string{"a", "b", "c", "d"}},
		{catalog.SessionFilter{Horn: f.alder.ID}, []string{"c", "d"}},
		{catalog.SessionFilter{Mouthpiece: f.dunlin.ID}, []string{"b"}},
		{catalog.SessionFilter{Player: f.otter.ID, Horn: f.alder.ID}, []string{"d"}},
		{catalog.SessionFilter{Contributor: "reed-otter"}, []string{"c"}},
		{catalog.SessionFilter{Contributor: "%"}, nil},
		{catalog.SessionFilter{Horn: "' OR '1'='1"}, nil},
		{catalog.SessionFilter{Since: noon}, []string{"b", "c"}},
		{catalog.SessionFilter{Since: noon.AddDate(-1, 0, 0)}, []string{"b", "c", "d"}},
		{catalog.SessionFilter{Method: catalog.MethodImpedance}, []string{"d"}},
		{catalog.SessionFilter{Method: catalog.MethodTuner}, []string{"b", "c"}},
		{catalog.SessionFilter{Method: catalog.MethodRecording}, nil},
		{catalog.SessionFilter{Limit: 2}, []string{"b", "c"}},
	} {
		equal(t, fmt.Sprintf("%+v", tc.filter), names(t, f, tc.filter), tc.want)
	}
}

func sessionFound(t *testing.T, f *fixture) {
	f.gear()
	s := f.session("Spring Visit", 1)
	f.record(s, f.session("spring visit 2", 2))
	for _, name := range []string{"Spring Visit", "SPRING  visit", string(s.ID)} {
		equal(t, name, must(f.store.Session(f.ctx, name))(t).ID, s.ID)
	}
	_, err := f.store.Session(f.ctx, "Spring Vist")
	wantError(t, err, catalog.NotFound, `"Spring Vist"`, `"Spring Visit"`)
	f.record(f.session("spring visit", 3))
	equal(t, "exact", must(f.store.Session(f.ctx, "spring visit"))(t).Readings[0].Cents, 3)
	_, err = f.store.Session(f.ctx, "SPRING VISIT")
	wantError(t, err, catalog.NotFound, "case")
}

func sessionNames(t *testing.T, f *fixture) {
	f.gear()
	one := f.session("one", 1)
	f.record(one)
	f.refuse(catalog.Conflict, catalog.Changes{Sessions: []catalog.Session{f.session("one", 2)}}, `"one"`)
	same := f.session("other name", 2)
	same.ID = one.ID
	f.refuse(catalog.Conflict, catalog.Changes{Sessions: []catalog.Session{same}}, `"other name"`)
	f.refuse(catalog.Conflict, catalog.Changes{Sessions: []catalog.Session{f.session("two", 2), f.session("two", 3)}}, `"two"`)
}

func sessionRetracted(t *testing.T, f *fixture) {
	f.gear()
	empty := f.digest()
	one := f.session("one", 1, 2)
	f.record(one)
	r := catalog.Retraction{At: noon, Contributor: "reed-otter", Reason: "slide was out"}
	f.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: one.ID, Retraction: r}}})
	equal(t, "listing", len(names(t, f, catalog.SessionFilter{})), 0)
	got := must(f.store.Session(f.ctx, "one"))(t)
	equal(t, "retraction", *got.Retraction, r)
	equal(t, "readings", len(got.Readings), 2)
	equal(t, "digest", f.digest(), empty)
	f.refuse(catalog.Conflict, catalog.Changes{Retractions: []catalog.RetractionOf{{Session: one.ID}}}, `"one"`)
	f.refuse(catalog.NotFound, catalog.Changes{Retractions: []catalog.RetractionOf{{Session: catalog.NewID()}}}, "session")
	f.record(f.session("one", 3)) // the name is free again
	equal(t, "counting one", must(f.store.Session(f.ctx, "one"))(t).Readings[0].Cents, 3)
	f.sound()
}

func sessionReplaced(t *testing.T, f *fixture) {
	f.gear()
	one, corrected := f.session("one", 1), f.session("one", 10)
	f.record(one)
	replace := func(by catalog.ID) catalog.RetractionOf {
		return catalog.RetractionOf{Session: one.ID, Retraction: catalog.Retraction{Reason: "read the wrong scale", ReplacedBy: by}}
	}
	f.refuse(catalog.NotFound, catalog.Changes{Retractions: []catalog.RetractionOf{replace(corrected.ID)}}, string(corrected.ID))
	f.refuse(catalog.Invalid, catalog.Changes{Retractions: []catalog.RetractionOf{replace(one.ID)}}, "replaced_by")
	f.apply(catalog.Changes{Sessions: []catalog.Session{corrected}, Retractions: []catalog.RetractionOf{replace(corrected.ID)}})
	equal(t, "counting", must(f.store.Session(f.ctx, "one"))(t).ID, corrected.ID)
	old := must(f.store.Session(f.ctx, string(one.ID)))(t)
	if old.Retraction == nil || old.Retraction.ReplacedBy != corrected.ID || time.Since(old.Retraction.At).Abs() > time.Hour {
		t.Errorf("retraction %+v", old.Retraction)
	}
	equal(t, "history", names(t, f, catalog.SessionFilter{Retracted: true}), []string{"one", "one"})
	f.sound()
}

func sessionHistory(t *testing.T, f *fixture) {
	f.gear()
	first, second := f.session("one", 1), f.session("one", 2)
	first.Retraction = &catalog.Retraction{At: noon, Contributor: "blue-kite", Reason: "slip", ReplacedBy: second.ID}
	f.record(first, second)
	equal(t, "counting", names(t, f, catalog.SessionFilter{}), []string{"one"})
	equal(t, "retraction", *must(f.store.Session(f.ctx, string(first.ID)))(t).Retraction, *first.Retraction)
	equal(t, "measured", len(f.measured(0)), 1)
	f.sound()
	later := f.session("one", 3) // recorded after the one that counts
	later.Retraction = &catalog.Retraction{At: noon}
	f.record(later)
	equal(t, "counting one", must(f.store.Session(f.ctx, "one"))(t).ID, second.ID)
	orphan := f.session("orphan", 1)
	orphan.Retraction = &catalog.Retraction{ReplacedBy: catalog.NewID()}
	f.refuse(catalog.NotFound, catalog.Changes{Sessions: []catalog.Session{orphan}}, "replace")
}

func sessionLabels(t *testing.T, f *fixture) {
	f.gear()
	for _, label := range awkwardLabels {
		s := f.session(label, 1)
		s.Contributor, s.Dynamic, s.Remark, s.Source = label, label, label+"\n"+label, label
		f.record(s)
	}
	for _, label := range awkwardLabels {
		s := must(f.store.Session(f.ctx, label))(t)
		equal(t, "session", []string{s.Name, s.Contributor, s.Dynamic, s.Remark, s.Source}, []string{label, label, label, label + "\n" + label, label})
		equal(t, "filter "+label, names(t, f, catalog.SessionFilter{Contributor: label}), []string{label})
	}
	f.sound()
}

func infoCounts(t *testing.T, f *fixture) {
	info := must(f.store.Info(f.ctx))(t)
	equal(t, "empty", []int{info.Horns, info.Mouthpieces, info.Players, info.Sessions, info.Readings, info.Contributors, info.Pairs}, make([]int, 7))
	if info.Schema < 1 || info.Digest == "" || info.FitDigest != "" || !info.FitAt.IsZero() {
		t.Errorf("empty catalog: %+v", info)
	}
	f.gear()
	a, b, c, d := f.session("a", 1, 2), f.session("b", 1), f.session("c", 1, 2, 3), f.session("d", 1)
	b.Horn, b.Mouthpiece, b.Contributor = f.rowan.ID, f.dunlin.ID, ""
	c.Contributor = "grey-heron"
	c.Readings = append(c.Readings, catalog.Reading{Slot: pitch.Slot{Partial: 8}, Repeat: 1, Cents: 900, Odd: true})
	f.record(a, b, c, d)
	f.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: d.ID}}})
	info = must(f.store.Info(f.ctx))(t)
	equal(t, "counts", []int{info.Horns, info.Mouthpieces, info.Players, info.Sessions, info.Readings, info.Contributors, info.Pairs, info.Retracted},
		[]int{2, 2, 2, 3, 7, 2, 2, 1})
	if info.Bytes <= 0 {
		t.Errorf("%d bytes", info.Bytes)
	}
}
