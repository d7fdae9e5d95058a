package pool_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/catalog/pool"
	"centwise/catalog/sqlstore"
)

var ctx = context.Background()

// everything lets all go, so that bundles can be compared.
var everything = pool.Privacy{Handles: true, Remarks: true, Owners: true}

func newStore(tb testing.TB) *sqlstore.Store {
	tb.Helper()
	s, err := sqlstore.Open(ctx, filepath.Join(tb.TempDir(), "catalog.db"), sqlstore.Options{Create: true})
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { s.Close() })
	return s
}

func must[T any](x T, err error) func(testing.TB) T {
	return func(tb testing.TB) T {
		tb.Helper()
		if err != nil {
			tb.Fatal(err)
		}
		return x
	}
}

func export(tb testing.TB, s catalog.Store, o pool.ExportOptions) []byte {
	tb.Helper()
	var b bytes.Buffer
	must(pool.Export(ctx, s, &b, o))(tb)
	return b.Bytes()
}

func merge(tb testing.TB, s catalog.Store, bundles ...[]byte) catalog.Merged {
	tb.Helper()
	return must(pool.Merge(ctx, s, files(bundles...), nil))(tb)
}

func files(bundles ...[]byte) (out []pool.File) {
	for i, b := range bundles {
		out = append(out, pool.File{Name: fmt.Sprintf("bundle %d", i+1), Content: bytes.NewReader(b)})
	}
	return out
}

// history does random things to a catalog: what people do, and merges.
type history struct {
	t      *testing.T
	random *rand.Rand
	store  *sqlstore.Store
	clock  *time.Time // one for all catalogs, so that some times are equal
	name   string
}

func (h *history) pick(from ...string) string { return from[h.random.IntN(len(from))] }

func (h *history) apply(c catalog.Changes) {
	h.t.Helper()
	if err := h.store.Apply(ctx, c); err != nil && catalog.KindOf(err) != catalog.Conflict && // a label is taken
		!strings.Contains(err.Error(), "can't be one") { // a link is in the way
		h.t.Fatal(err)
	}
}

func (h *history) step() {
	*h.clock = h.clock.Add(time.Duration(h.random.IntN(2)) * time.Second)
	revision := catalog.Revision{Number: 1, At: *h.clock, Contributor: h.pick("", "reed-otter", "lamp-keeper")}
	label := h.pick("Alder", "Rowan", "reed-otter's horn", "Alder (0000A)")
	switch h.random.IntN(12) {
	case 0:
		h.apply(catalog.Changes{Horns: []catalog.Horn{{Revision: revision, Label: label, Owner: h.pick("", "the band"), BoreMM: 11.5,
			Model: h.pick("Heron", "Hern"), Serial: h.pick("", "", "1", "2")}}})
	case 1:
		h.apply(catalog.Changes{Mouthpieces: []catalog.Mouthpiece{{Revision: revision, Label: h.pick("Plover 16.2", "Dunlin 16.6"), RimMM: 16.2, Stock: []string{"cupboard"}}}})
	case 2:
		h.apply(catalog.Changes{Players: []catalog.Player{{Revision: revision, Label: h.pick("reed-otter", "blue-kite"), Level: "fourth year"}}})
	case 3:
		h.editHorn(revision, label)
	case 4, 5, 6:
		h.session()
	case 7, 8:
		h.retract()
	case 9, 10, 11:
		h.link()
	}
}

// link links two horns, or two spellings, or takes a link apart. Some horns have
// other serial numbers, so that links go out of effect when catalogs are merged.
func (h *history) link() {
	links := must(h.store.Links(ctx))(h.t)
	l := catalog.Link{Kind: catalog.LinkHornDesign, Alias: "\t" + h.pick("heron", "hern", "heron 2"), Kept: "\t" + h.pick("heron", "hern", "heron 2")}
	if h.random.IntN(3) > 0 {
		horns := must(h.store.Horns(ctx, true))(h.t)
		if len(horns) < 2 {
			return
		}
		a, b := horns[h.random.IntN(len(horns))], horns[h.random.IntN(len(horns))]
		l = catalog.Link{Kind: catalog.LinkHorn, Alias: string(a.ID), Kept: string(b.ID)}
	}
	for _, have := range links {
		if have.Kind == l.Kind && have.Alias == l.Alias {
			l.Number = have.Number + 1
			l.Retired = !have.Retired && h.random.IntN(2) == 0
		}
	}
	l.At, l.Contributor = *h.clock, h.pick("", "reed-otter")
	err := h.store.Apply(ctx, catalog.Changes{Links: []catalog.Link{l}})
	if k := catalog.KindOf(err); err != nil && k != catalog.Conflict && k != catalog.Invalid && k != catalog.NotFound {
		h.t.Fatal(err)
	}
}

func (h *history) editHorn(r catalog.Revision, label string) {
	horns := must(h.store.Horns(ctx, true))(h.t)
	if len(horns) == 0 {
		return
	}
	edited := horns[h.random.IntN(len(horns))]
	r.Number, r.Retired = edited.Number+1, h.random.IntN(5) == 0
	edited.Revision = r
	switch h.random.IntN(4) {
	case 3:
		edited.Serial = h.pick("", "1", "2")
	case 0:
		edited.Label = label
	case 1:
		edited.Owner = h.pick("", "reed-otter", "the school")
	case 2:
		edited.BoreMM = 11 + h.random.Float64()
	}
	h.apply(catalog.Changes{Horns: []catalog.Horn{edited}})
}

func (h *history) session() {
	horns, mouthpieces, players := must(h.store.Horns(ctx, true))(h.t), must(h.store.Mouthpieces(ctx, true))(h.t), must(h.store.Players(ctx, true))(h.t)
	if len(horns)*len(mouthpieces)*len(players) == 0 {
		return
	}
	s := catalog.Session{Name: h.pick("mon", "tue", "wed", "thu"), Horn: horns[h.random.IntN(len(horns))].ID,
		Mouthpiece: mouthpieces[h.random.IntN(len(mouthpieces))].ID, Player: players[h.random.IntN(len(players))].ID,
		Contributor: h.pick("reed-otter", "lamp-keeper"), Remark: h.pick("", "reed-otter was tired"), Recorded: *h.clock, Source: h.pick("", h.name+".csv")}
	for n := range 1 + h.random.IntN(4) {
		s.Readings = append(s.Readings, catalog.Reading{Slot: pitch.Slot{Partial: 2 + n}, Repeat: 1, Cents: float64(h.random.IntN(40))})
	}
	h.apply(catalog.Changes{Sessions: []catalog.Session{s}})
}

func (h *history) retract() {
	sessions := must(h.store.Sessions(ctx, catalog.SessionFilter{}))(h.t)
	if len(sessions) < 2 {
		return
	}
	a, b := sessions[h.random.IntN(len(sessions))].ID, sessions[h.random.IntN(len(sessions))].ID
	r := catalog.RetractionOf{Session: a, Retraction: catalog.Retraction{At: *h.clock, Contributor: h.pick("", "reed-otter"), Reason: h.pick("", "wrong horn")}}
	if a != b {
		r.ReplacedBy = b
	}
	h.apply(catalog.Changes{Retractions: []catalog.RetractionOf{r}})
}

// histories are three catalogs that grew apart, with merges now and then.
func histories(t *testing.T, seed uint64) []*history {
	random := rand.New(rand.NewPCG(seed, 7))
	clock := time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)
	var out []*history
	for i := range 3 {
		out = append(out, &history{t, random, newStore(t), &clock, fmt.Sprint("catalog ", i)})
	}
	for range 100 {
		h := out[random.IntN(len(out))]
		if random.IntN(6) == 0 {
			from := out[random.IntN(len(out))]
			merge(t, h.store, export(t, from.store, pool.ExportOptions{Privacy: randomPrivacy(random)}))
			continue
		}
		h.step()
	}
	return out
}

func randomPrivacy(random *rand.Rand) pool.Privacy {
	coin := func() bool { return random.IntN(2) == 0 }
	return pool.Privacy{Handles: coin(), Remarks: coin(), Owners: coin()}
}

// portrait is all that is exchanged of a catalog, and what it calls things.
func portrait(t *testing.T, s *sqlstore.Store) string {
	t.Helper()
	var b strings.Builder
	err := pool.Each(ctx, s, pool.ExportOptions{Privacy: everything}, func(_ catalog.Pooled, body []byte) error {
		b.Write(append(body, '\n'))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, h := range must(s.Horns(ctx, true))(t) {
		fmt.Fprintln(&b, h.ID, h.Label)
	}
	for _, p := range must(s.Players(ctx, true))(t) {
		fmt.Fprintln(&b, p.ID, p.Label)
	}
	sessions := must(s.Sessions(ctx, catalog.SessionFilter{Retracted: true}))(t)
	slices.SortFunc(sessions, func(a, b catalog.SessionSummary) int { return strings.Compare(string(a.ID), string(b.ID)) })
	for _, x := range sessions {
		fmt.Fprintln(&b, x.ID, x.Name, x.HornLabel)
	}
	for _, l := range must(s.Links(ctx))(t) {
		fmt.Fprintln(&b, l.Kind, l.Alias, l.KeptLabel, l.Root, l.Why)
	}
	fmt.Fprintln(&b, must(s.Digest(ctx))(t))
	if findings := must(s.Integrity(ctx))(t); len(findings) > 0 {
		t.Errorf("findings %+v", findings)
	}
	return b.String()
}

func same(t *testing.T, what, a, b string) {
	t.Helper()
	if a == b {
		return
	}
	linesA, linesB := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range min(len(linesA), len(linesB)) {
		if linesA[i] != linesB[i] {
			t.Fatalf("%s: line %d differs\n%s\n%s", what, i+1, linesA[i], linesB[i])
		}
	}
	t.Fatalf("%s: %d and %d lines", what, len(linesA), len(linesB))
}

// Whatever the order, however often and by whatever way bundles come, the
// catalog is the same, and a catalog that gets its own bundle back stays as it
// is. Bundles say more or less of the same records, by the privacy they were
// made with.
func TestMergingHistories(t *testing.T) {
	for seed := range uint64(5) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) { laws(t, histories(t, seed)) })
	}
}

func laws(t *testing.T, all []*history) {
	t.Helper()
	random := all[0].random
	var bundles [][]byte
	for _, h := range all {
		bundles = append(bundles, export(t, h.store, pool.ExportOptions{Privacy: randomPrivacy(random)}),
			export(t, h.store, pool.ExportOptions{Privacy: everything}))
	}
	before := portrait(t, all[0].store)
	merge(t, all[0].store, bundles[0], bundles[1])
	same(t, "own bundles", portrait(t, all[0].store), before)

	straight := newStore(t)
	merge(t, straight, bundles...)
	want := portrait(t, straight)
	merge(t, straight, bundles...)
	same(t, "again", portrait(t, straight), want)

	for range 2 {
		shuffled := newStore(t)
		for _, i := range random.Perm(len(bundles)) {
			merge(t, shuffled, bundles[i])
		}
		same(t, "another order", portrait(t, shuffled), want)
	}

	// (a + b) + c = a + (b + c)
	left, right := newStore(t), newStore(t)
	merge(t, left, bundles[:4]...)
	merge(t, right, bundles[2:]...)
	merge(t, left, bundles[4:]...)
	merge(t, right, export(t, left, pool.ExportOptions{Privacy: everything}))
	same(t, "left first", portrait(t, left), want)
	same(t, "right first", portrait(t, right), want)
	merge(t, all[1].store, bundles...)
	same(t, "into one of them", portrait(t, all[1].store), want)
}

// The same for catalogs that link and edit the same six horns apart: in circles,
// and with serial numbers that contradict links made elsewhere. Where links lead
// is never a circle, and what is linked is linked to something.
func TestMergingLinks(t *testing.T) {
	why := map[string]int{}
	for seed := range uint64(6) {
		random := rand.New(rand.NewPCG(seed, 11))
		clock := time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)
		var all []*history
		for i := range 3 {
			all = append(all, &history{t, random, newStore(t), &clock, fmt.Sprint("catalog ", i)})
		}
		for i := range 6 {
			all[0].apply(catalog.Changes{Horns: []catalog.Horn{{Label: fmt.Sprint("Alder ", i)}}})
		}
		all[0].apply(catalog.Changes{Mouthpieces: []catalog.Mouthpiece{{Label: "Plover"}}, Players: []catalog.Player{{Label: "reed-otter"}}})
		for range 6 {
			all[0].session()
		}
		start := export(t, all[0].store, pool.ExportOptions{Privacy: everything})
		merge(t, all[1].store, start)
		merge(t, all[2].store, start)
		for range 40 {
			clock = clock.Add(time.Duration(random.IntN(2)) * time.Second)
			h := all[random.IntN(len(all))]
			if random.IntN(3) > 0 {
				h.link()
				continue
			}
			horns := must(h.store.Horns(ctx, true))(t)
			edited := horns[random.IntN(len(horns))]
			edited.Number, edited.At, edited.Serial = edited.Number+1, clock, h.pick("1", "2")
			h.apply(catalog.Changes{Horns: []catalog.Horn{edited}})
		}
		laws(t, all)
		links := must(all[1].store.Links(ctx))(t) // merged
		root := map[string]string{}
		for _, l := range links {
			if strings.Contains(l.Why, "serial number") {
				why["serial numbers"]++
			} else {
				why[l.Why]++
			}
			root[l.Alias] = l.Root
		}
		for _, l := range links {
			if l.InEffect() && root[l.Root] != "" {
				t.Errorf("%s leads to %s, which leads on to %s", l.Alias, l.Root, root[l.Root])
			}
		}
	}
	if why[""]*why[catalog.WhyCircle]*why[catalog.WhyApart]*why["serial numbers"] == 0 {
		t.Errorf("hardly anything happened: %v", why)
	}
}

func TestMergingNothing(t *testing.T) {
	s := newStore(t)
	if got := merge(t, s, export(t, newStore(t), pool.ExportOptions{})); len(got.Renamed) > 0 || got.Sessions.New > 0 {
		t.Errorf("%+v", got)
	}
	for p, err := range pool.Read(ctx, pool.File{Name: "none", Content: io.LimitReader(nil, 0)}) {
		if catalog.KindOf(err) != catalog.Invalid || !strings.Contains(err.Error(), "none") {
			t.Errorf("%+v, error %v", p, err)
		}
	}
}
