package storetest

import (
	"cmp"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"centwise/catalog"
)

var followTests = []contract{
	{"every record has a place in the order of changes, what changes moves to its end", followOrder},
	{"a position tells whether it is one of the catalog", followPositions},
	{"records are picked with what they need", followPicked},
	{"who reads on misses nothing, whatever changes meanwhile", followConcurrent},
	{"where a record came from is known while it is as it came", followSources},
	{"a remote is remembered with what came from it, or not at all", followRemotes},
	{"what is not admitted leaves no trace", followAdmission},
}

// changed lists the records behind a position, a few at a time.
func (f *fixture) changed(after catalog.Position, few int) (out []catalog.ChangedRecord) {
	f.t.Helper()
	for {
		page := must(f.store.ChangedRecords(f.ctx, after, few))(f.t)
		out = append(out, page...)
		if len(page) < few {
			return out
		}
		after = page[len(page)-1].Behind
	}
}

func refs(list []catalog.ChangedRecord) (out []catalog.RecordRef) {
	for _, c := range list {
		out = append(out, c.RecordRef)
	}
	return out
}

func (f *fixture) end() catalog.Position {
	f.t.Helper()
	return must(f.store.End(f.ctx))(f.t)
}

func followOrder(t *testing.T, f *fixture) {
	equal(t, "changes of a new catalog", len(f.changed(catalog.Position{}, 10)), 0)
	f.gear()
	one, two := f.session("one", 1, 2, 3), f.session("two", 4)
	f.record(one)
	f.record(two)
	horn := func(h catalog.Horn) catalog.RecordRef { return catalog.RecordRef{Kind: "horn", ID: string(h.ID)} }
	session := func(s catalog.Session) catalog.RecordRef {
		return catalog.RecordRef{Kind: "session", ID: string(s.ID)}
	}
	all := f.changed(catalog.Position{}, 1)
	equal(t, "order", refs(all), []catalog.RecordRef{
		{Kind: "player", ID: string(f.otter.ID)}, {Kind: "player", ID: string(f.kite.ID)}, horn(f.alder), horn(f.rowan),
		{Kind: "mouthpiece", ID: string(f.plover.ID)}, {Kind: "mouthpiece", ID: string(f.dunlin.ID)}, session(one), session(two),
	})
	equal(t, "the same in larger pages", f.changed(catalog.Position{}, 100), all)
	equal(t, "contributor", all[6].Contributor, "blue-kite")
	equal(t, "readings", all[6].Readings, 3)
	for i, c := range all {
		back := must(catalog.ParsePosition(c.Behind.String()))(t)
		equal(t, "position", back, c.Behind)
		equal(t, "what is behind it", refs(f.changed(back, 3)), refs(all[i+1:]))
	}

	end := f.end()
	equal(t, "behind the end", len(f.changed(end, 10)), 0)
	h := must(f.store.Horn(f.ctx, "Alder"))(t)
	h.Number, h.BoreMM, h.Contributor = 2, 11.8, "lamp-keeper"
	f.apply(catalog.Changes{Horns: []catalog.Horn{h}})
	f.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: one.ID, Retraction: catalog.Retraction{ReplacedBy: two.ID}}}})
	news := f.changed(end, 10)
	equal(t, "news", refs(news), []catalog.RecordRef{horn(f.alder), session(one)})
	equal(t, "who entered it first", news[0].Contributor, "")
	equal(t, "all are there still", len(f.changed(catalog.Position{}, 5)), 8)

	// What says nothing of records makes no news.
	end = f.end()
	f.lend(f.loan())
	f.token("lamp-keeper")
	if err := f.store.SetTitle(f.ctx, "Lantern Bay"); err != nil {
		t.Fatal(err)
	}
	f.merge(f.pooled(catalog.PoolSelection{})...)
	equal(t, "the end", f.end(), end)
	f.sound()
}

func followPositions(t *testing.T, f *fixture) {
	f.gear()
	g := f.other()
	g.gear()
	equal(t, "ids", must(f.store.PoolID(f.ctx))(t) == must(g.store.PoolID(g.ctx))(t), false)
	equal(t, "id", must(f.store.PoolID(f.ctx))(t), must(f.store.PoolID(f.ctx))(t))
	for _, tc := range []struct {
		p    catalog.Position
		want bool
	}{
		{catalog.Position{}, true}, {f.end(), true}, {f.changed(catalog.Position{}, 9)[2].Behind, true},
		{g.end(), false}, {catalog.EndOf(f.end().Number+1, f.end().Tag), false}, {catalog.EndOf(f.end().Number, "0123"), false},
	} {
		equal(t, fmt.Sprintf("%v is known", tc.p), must(f.store.HasPosition(f.ctx, tc.p))(t), tc.want)
	}
}

// picked collects records with what they need.
func (f *fixture) picked(refs ...catalog.RecordRef) (out []catalog.Pooled) {
	f.t.Helper()
	for p, err := range f.store.PooledRecords(f.ctx, refs) {
		if err != nil {
			f.t.Fatal(err)
		}
		out = append(out, p)
	}
	return out
}

func followPicked(t *testing.T, f *fixture) {
	f.gear()
	h := must(f.store.Horn(f.ctx, "Alder"))(t)
	h.Number, h.BoreMM = 2, 11.8
	f.apply(catalog.Changes{Horns: []catalog.Horn{h}})
	one, two, three := f.session("one", 1), f.session("two", 2), f.session("three", 3)
	two.Player, two.Method = "", catalog.MethodImpedance
	three.Player, three.Horn, three.Mouthpiece = f.kite.ID, f.rowan.ID, f.dunlin.ID
	f.record(one, two, three)
	f.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: one.ID, Retraction: catalog.Retraction{ReplacedBy: two.ID}}}})
	f.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: two.ID, Retraction: catalog.Retraction{ReplacedBy: three.ID}}}})
	f.merge(catalog.Pooled{Other: &catalog.OtherRecord{Kind: "hall", Body: `{"name":"harbour"}`}})

	kinds := func(list []catalog.Pooled) (out []string) {
		for _, p := range list {
			out = append(out, p.Kind())
		}
		return out
	}
	equal(t, "nothing", len(f.picked()), 0)
	equal(t, "not there", len(f.picked(catalog.RecordRef{Kind: "session", ID: string(catalog.NewID())}, catalog.RecordRef{Kind: "horn", ID: "x"}, catalog.RecordRef{Kind: "other", ID: "x"}, catalog.RecordRef{Kind: "hall", ID: "x"})), 0)
	equal(t, "a session alone", kinds(f.picked(catalog.RecordRef{Kind: "session", ID: string(three.ID)})), []string{"player", "horn", "mouthpiece", "session"})
	equal(t, "a horn with its history", kinds(f.picked(catalog.RecordRef{Kind: "horn", ID: string(h.ID)})), []string{"horn", "horn"})
	equal(t, "a chain of replacements", kinds(f.picked(catalog.RecordRef{Kind: "session", ID: string(one.ID)})),
		[]string{"player", "player", "horn", "horn", "horn", "mouthpiece", "mouthpiece", "session", "session", "session"})
	equal(t, "all there is", texts(t, f.picked(refs(f.changed(catalog.Position{}, 100))...)), texts(t, f.pooled(catalog.PoolSelection{})))
}

// follower keeps another catalog up with f, a few records at a time.
type follower struct {
	*fixture
	of catalog.Store
	at catalog.Position
}

// step takes over the next records; false when there are none.
func (g *follower) step(few int, between ...func()) bool {
	g.t.Helper()
	page := must(g.of.ChangedRecords(g.ctx, g.at, few))(g.t)
	if len(page) == 0 {
		return false
	}
	for _, do := range between {
		do()
	}
	if _, err := g.store.Receive(g.ctx, g.of.PooledRecords(g.ctx, refs(page)), catalog.ReceiveOptions{From: "here"}); err != nil {
		g.t.Fatal(err)
	}
	g.at = page[len(page)-1].Behind
	return true
}

// known reports whether x knows the gear of a that sessions name.
func known(x, a *fixture) bool {
	_, err := x.store.Mouthpiece(x.ctx, string(a.plover.ID))
	_, err2 := x.store.Player(x.ctx, string(a.otter.ID))
	_, err3 := x.store.Horn(x.ctx, string(a.alder.ID))
	return errors.Join(err, err2, err3) == nil
}

// Two that keep up with each other while both change, in any order of steps, end
// up with the same.
func followConcurrent(t *testing.T, f *fixture) {
	for seed := range uint64(4) {
		rng := rand.New(rand.NewPCG(seed, 1))
		a, b := f.other(), f.other()
		a.gear()
		fromA, fromB := &follower{b, a.store, catalog.Position{}}, &follower{a, b.store, catalog.Position{}}
		for n := range 60 {
			x := []*fixture{a, b}[rng.IntN(2)]
			switch rng.IntN(6) {
			case 0, 1:
				if known(x, a) {
					x.record(a.session(fmt.Sprint("s", n), float64(n)))
				}
			case 2:
				if horns := must(x.store.Horns(x.ctx, true))(t); len(horns) > 0 {
					h := horns[rng.IntN(len(horns))]
					h.Revision = catalog.Revision{Number: h.Number + 1, Contributor: fmt.Sprint(n), Retired: rng.IntN(2) == 0}
					x.apply(catalog.Changes{Horns: []catalog.Horn{h}})
				}
			case 3:
				if list := must(x.store.Sessions(x.ctx, catalog.SessionFilter{}))(t); len(list) > 0 {
					x.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: list[rng.IntN(len(list))].ID, Retraction: catalog.Retraction{Reason: fmt.Sprint(n)}}}})
				}
			case 4:
				fromA.step(1+rng.IntN(5), func() { a.record(a.session(fmt.Sprint("s", n), float64(n))) })
			case 5:
				fromB.step(1 + rng.IntN(5))
			}
		}
		for fromA.step(3) || fromB.step(3) {
		}
		equal(t, "records", texts(t, a.pooled(catalog.PoolSelection{})), texts(t, b.pooled(catalog.PoolSelection{})))
		equal(t, "digest", a.digest(), b.digest())
		a.sound()
		b.sound()
	}
}

// sources tells where each record came from.
func (f *fixture) sources() map[string]string {
	out := map[string]string{}
	for _, c := range f.changed(catalog.Position{}, 50) {
		out[c.ID] = c.Source
	}
	return out
}

func followSources(t *testing.T, f *fixture) {
	f.gear()
	one, two := f.session("one", 1), f.session("two", 2)
	f.record(one, two)
	g := f.other()
	receive := func(from string) {
		t.Helper()
		if _, err := g.store.Receive(g.ctx, stream(f.pooled(catalog.PoolSelection{}), nil), catalog.ReceiveOptions{From: from}); err != nil {
			t.Fatal(err)
		}
	}
	receive("north")
	for id, from := range g.sources() {
		equal(t, "source of "+id, from, "north")
	}
	// Changed here; changed there; changed there, but learned of elsewhere.
	h := must(g.store.Horn(g.ctx, "Alder"))(t)
	h.Number++
	g.apply(catalog.Changes{Horns: []catalog.Horn{h}})
	f.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: one.ID}}})
	receive("north")
	equal(t, "changed here", g.sources()[string(f.alder.ID)], "")
	equal(t, "changed there", g.sources()[string(one.ID)], "north")
	f.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: two.ID}}})
	receive("south")
	equal(t, "learned of elsewhere", g.sources()[string(two.ID)], "")
	if err := g.store.ForgetRemote(g.ctx, "north"); err != nil {
		t.Fatal(err)
	}
	for id, from := range g.sources() {
		equal(t, "source of "+id, from, "")
	}
	// A record of one's own that others tell more of is to be sent still.
	k := f.other()
	k.apply(catalog.Changes{Horns: []catalog.Horn{k.alder}})
	own := k.pooled(catalog.PoolSelection{})
	later := own[0].Horn.Record
	later.Number, later.At = 2, noon
	more := append(slices.Clone(own), catalog.Pooled{Horn: &catalog.Shared[catalog.Horn]{Record: later}})
	if _, err := k.store.Receive(k.ctx, stream(more, nil), catalog.ReceiveOptions{From: "north"}); err != nil {
		t.Fatal(err)
	}
	equal(t, "own record", k.sources()[string(k.alder.ID)], "")
}

func followRemotes(t *testing.T, f *fixture) {
	f.gear()
	f.record(f.session("one", 1))
	g := f.other()
	_, err := g.store.Remote(g.ctx, "https://pool.example")
	wantError(t, err, catalog.NotFound, "https://pool.example")
	r := catalog.Remote{URL: "https://pool.example", Catalog: "c", Terms: "curate", Sent: f.end(), Received: f.changed(catalog.Position{}, 9)[3].Behind,
		Seen: catalog.EndOf(4, "ab"), SentAt: noon}
	broken := errors.New("cut off")
	if _, err := g.store.Receive(g.ctx, stream(f.pooled(catalog.PoolSelection{}), broken), catalog.ReceiveOptions{Remote: &r}); !errors.Is(err, broken) {
		t.Errorf("error %v", err)
	}
	_, err = g.store.Remote(g.ctx, r.URL)
	wantError(t, err, catalog.NotFound)
	for _, at := range []time.Time{{}, noon.Add(time.Hour)} {
		r.ReceivedAt = at
		if _, err := g.store.Receive(g.ctx, stream(f.pooled(catalog.PoolSelection{}), nil), catalog.ReceiveOptions{Remote: &r}); err != nil {
			t.Fatal(err)
		}
		equal(t, "remote", must(g.store.Remote(g.ctx, r.URL))(t), r)
	}
	r.Terms, r.Sent = "contribute", catalog.Position{}
	if err := g.store.SaveRemote(g.ctx, r); err != nil {
		t.Fatal(err)
	}
	equal(t, "remote", must(g.store.Remote(g.ctx, r.URL))(t), r)
	if err := cmp.Or(g.store.ForgetRemote(g.ctx, r.URL), g.store.ForgetRemote(g.ctx, r.URL)); err != nil {
		t.Fatal(err)
	}
	_, err = g.store.Remote(g.ctx, r.URL)
	wantError(t, err, catalog.NotFound)
}

func followAdmission(t *testing.T, f *fixture) {
	f.gear()
	one, two, three := f.session("one", 1, 2), f.session("two", 3), f.session("three", 4)
	two.Horn, two.Mouthpiece = f.rowan.ID, f.dunlin.ID
	f.record(one, two, three)
	g := f.other()
	var asked []string
	admit := func(refuse ...string) func(a catalog.Arrival) (catalog.Pooled, string) {
		asked = nil
		return func(a catalog.Arrival) (catalog.Pooled, string) {
			asked = append(asked, string(a.Record.ID()))
			if slices.Contains(refuse, string(a.Record.ID())) {
				return catalog.Pooled{}, "not wanted"
			}
			if s := a.Record.Session; s != nil && s.Record.Name == "three" {
				stamped := *s
				stamped.Record.Contributor = "tide-table"
				return catalog.Pooled{Session: &stamped}, ""
			}
			return a.Record, ""
		}
	}
	receive := func(a catalog.Admission) catalog.Merged {
		t.Helper()
		m, err := g.store.Receive(g.ctx, stream(f.pooled(catalog.PoolSelection{}), nil), catalog.ReceiveOptions{Admit: a, From: "north"})
		if err != nil {
			t.Fatal(err)
		}
		g.sound()
		return m
	}
	m := receive(admit(string(f.rowan.ID), string(f.kite.ID), string(one.ID)))
	equal(t, "sessions", m.Sessions, catalog.MergedKind{New: 1})
	equal(t, "horns", m.Horns, catalog.MergedKind{New: 1})
	var held []string
	for _, h := range m.HeldBack {
		held = append(held, h.Kind+" "+h.Label+": "+h.Why)
	}
	equal(t, "held back", held, []string{"player blue-kite: not wanted", "horn Rowan: not wanted", "session one: not wanted", "session two: its horn was held back"})
	equal(t, "asked about each that would change something", len(asked), 6+2)
	s := must(g.store.Session(g.ctx, "three"))(t)
	equal(t, "as it was admitted", s.Contributor, "tide-table")
	equal(t, "source of what was altered", g.sources()[string(three.ID)], "")
	equal(t, "source of what was not", g.sources()[string(f.alder.ID)], "north")

	before := g.dump()
	m = receive(admit(string(f.rowan.ID), string(f.kite.ID), string(one.ID), string(three.ID)))
	equal(t, "held back again", len(m.HeldBack), 4)
	equal(t, "asked about what would change only", len(asked), 3)
	equal(t, "catalog", g.dump(), before)
	receive(admit())
	equal(t, "all sessions", must(g.store.Info(g.ctx))(t).Sessions, 3)

	// A retraction, and a revision, are asked about with what is there.
	f.apply(catalog.Changes{Retractions: []catalog.RetractionOf{{Session: one.ID, Retraction: catalog.Retraction{ReplacedBy: two.ID}}}})
	h := must(f.store.Horn(f.ctx, "Alder"))(t)
	h.Number, h.BoreMM = 2, 12
	f.apply(catalog.Changes{Horns: []catalog.Horn{h}})
	seen := 0
	m = receive(func(a catalog.Arrival) (catalog.Pooled, string) {
		switch {
		case a.Record.Horn != nil:
			seen++
			if a.New || a.Stored != nil || a.Joined.Horn.Record.BoreMM != 12 || a.Owner != f.alder.Contributor {
				t.Errorf("a revision: %+v", a)
			}
		case string(a.Record.ID()) == string(one.ID):
			seen++
			if a.New || a.Stored.Session.Record.Retraction != nil || a.Joined.Session.Record.Retraction == nil || !a.ReplacementStored || a.Owner != "blue-kite" {
				t.Errorf("a retraction: %+v", a)
			}
			return catalog.Pooled{}, "no"
		}
		return a.Record, ""
	})
	equal(t, "asked", seen, 2)
	equal(t, "retracted", m.Retracted, 0)
	equal(t, "bore", must(g.store.Horn(g.ctx, "Alder"))(t).BoreMM, 12)
}
