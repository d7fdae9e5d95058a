package twins_test

import (
	"slices"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/twins"
)

// horn is a horn as a catalog holds it.
func horn(label, maker, model, serial string, change ...func(*catalog.Horn)) catalog.Horn {
	h := catalog.Horn{ID: catalog.NewID(), Label: label, Maker: maker, Model: model, Serial: serial}
	for _, c := range change {
		c(&h)
	}
	h.Normalize()
	return h
}

func find(t *testing.T, q twins.Question) []twins.Proposal {
	t.Helper()
	out, err := twins.Find(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// said are proposals as "alias > kept".
func said(list []twins.Proposal) (out []string) {
	for _, p := range list {
		out = append(out, p.AliasName+" > "+p.KeptName)
	}
	return out
}

// The same maker, model and serial number, however they are written, is one horn.
func TestOneSerialNumber(t *testing.T) {
	horns := []catalog.Horn{
		horn("Alder", "Tidewright", "Heron", "204"), horn("Rowan", "Tidewright", "Heron", "205"),
		horn("Al's", "tidewright", "HERON", "2 04"), horn("Hazel", "Tidewright", "Heron", ""), horn("Birch", "Tidewright", "Heron", ""),
		horn("Elm", "", "", "7"), horn("Oak", "", "", "7"), horn("Old", "Tidewright", "Heron", "204", func(h *catalog.Horn) { h.Retired = true }),
	}
	slices.Reverse(horns) // the order of the list does not matter
	plover := catalog.Mouthpiece{ID: catalog.NewID(), Label: "Plover", Maker: "Northlamp", Model: "Plover", Serial: "7714", Shank: catalog.ShankTrumpet}
	again := plover
	again.ID, again.Label = catalog.NewID(), "-Plover"
	got := find(t, twins.Question{Horns: horns, Mouthpieces: []catalog.Mouthpiece{plover, again}})
	if want := []string{"Al's > Alder", "-Plover > Plover"}; !slices.Equal(said(got), want) {
		t.Fatalf("%q", said(got))
	}
	f := got[0].Finding()
	if f.Subject != "Al's" || f.Repair != `centwise pool link horn 'Al'\''s' Alder` || !strings.Contains(f.Detail, "serial number") || f.Kind != "twin" || f.Certainty < 0.95 {
		t.Errorf("%+v", f)
	}
	if f := got[1].Finding(); f.Repair != `centwise pool link mouthpiece ' -Plover' Plover` {
		t.Errorf("%+v", f)
	}
}

// What people write differently is no difference; what tells things apart is one.
func TestPairs(t *testing.T) {
	owned := func(owner, by string) func(*catalog.Horn) {
		return func(h *catalog.Horn) { h.Owner, h.Contributor = owner, by }
	}
	bore := func(mm float64) func(*catalog.Horn) { return func(h *catalog.Horn) { h.BoreMM = mm } }
	inC := func(h *catalog.Horn) { h.Key = pitch.KeyC }
	for _, tc := range []struct {
		name string
		a, b catalog.Horn
		twin bool
	}{
		{"Mk 2 and Mark II, no serial number", horn("Alder", "Tidewright", "Heron Mk 2", "204"), horn("alder", "Tide-Wright", "Heron Mark II", ""), true},
		{"order of words, a slip", horn("Hornbeam", "Tidewright", "Great Skua 5", ""), horn("hornbeam", "Tidewrihgt", "5 Skua, great", "99"), true},
		{"maker in the model's place", horn("Rowan", "Northlamp", "Bittern 120", "A-77123"), horn("my horn", "", "Northlamp Bittern 120", "a77123"), true},
		{"an owner behind the label", horn("Hazel", "Northlamp", "Bittern", ""), horn("Hazel (school)", "Northlamp", "Bitern", ""), true},
		{"the model's number in one label", horn("Heron", "Tidewright", "Heron 3", ""), horn("heron 3", "Tide Wright", "Heron No. 3", ""), true},
		{"other serial numbers", horn("Alder", "Tidewright", "Heron", "204"), horn("Alder again", "Tidewright", "Heron", "205"), false},
		{"neighbouring models", horn("Alder", "Tidewright", "Heron 3", ""), horn("alder", "Tidewright", "Heron 5", ""), false},
		{"another letter", horn("Heron S", "Tidewright", "Heron S", ""), horn("Heron B", "Tidewright", "Heron B", ""), false},
		{"another key", horn("Alder", "Tidewright", "Heron", "204"), horn("alder", "Tidewright", "Heron", "204", inC), false},
		{"another instrument", horn("Alder", "Tidewright", "Heron", "204"), horn("alder", "Tidewright", "Heron", "204", func(h *catalog.Horn) { h.Instrument = catalog.Cornet }), false},
		{"other makers", horn("Alder", "Tidewright", "Heron", ""), horn("alder", "Northlamp", "Bittern", ""), false},
		{"copies", horn("Alder 2", "Tidewright", "Heron", ""), horn("Alder 3", "Tidewright", "Heron", ""), false},
		{"other trees", horn("Alder", "Tidewright", "Heron", ""), horn("Elder", "Tidewright", "Heron", ""), false},
		{"one who knows them apart", horn("Heron", "Tidewright", "Heron", "", owned("the band", "reed-otter")), horn("Heron trumpet", "Tidewright", "Heron", "", owned("blue-kite", "reed-otter")), false},
		{"bores far apart", horn("Hazel", "Tidewright", "Heron", "", bore(11.2)), horn("hazel", "Tidewright", "Heron", "", bore(11.9)), false},
		{"bores alike", horn("Hazel", "Tidewright", "Heron", "", bore(11.68)), horn("hazel", "Tidewright", "Heron", "", bore(11.7)), true},
	} {
		got := find(t, twins.Question{Horns: []catalog.Horn{tc.a, tc.b}})
		got = slices.DeleteFunc(got, func(p twins.Proposal) bool { return p.Kind.OfDesign() })
		if (len(got) == 1) != tc.twin {
			t.Errorf("%s: %d proposals %+v", tc.name, len(got), got)
		}
	}
}

// Of three records of one horn each is to be linked to one, and two of them that
// contradict each other are not made one by a third.
func TestThreeOfOne(t *testing.T) {
	a, b, c := horn("Hornbeam", "Tidewright", "Heron", ""), horn("hornbeam", "Tidewright", "Heron", "20417"), horn("HORNBEAM (band)", "tide wright", "Heron", "20417")
	got := find(t, twins.Question{Horns: []catalog.Horn{a, b, c}})
	aliases := map[string]bool{}
	for _, p := range got {
		if p.Kind == catalog.LinkHorn {
			aliases[p.AliasName] = true
		}
	}
	if len(aliases) != 2 || aliases["hornbeam"] {
		t.Errorf("%q", said(got))
	}
	c.Serial = "7"
	got = find(t, twins.Question{Horns: []catalog.Horn{a, b, c}})
	got = slices.DeleteFunc(got, func(p twins.Proposal) bool { return p.Kind.OfDesign() })
	if len(got) != 1 {
		t.Errorf("%q", said(got))
	}
}

// Labels that only pooling made different are the same.
func TestLabelsOfPooledRecords(t *testing.T) {
	a, b := horn("Hazel", "", "", ""), horn("Hazel", "", "", "")
	b.Label = "Hazel (" + string(b.ID[21:]) + ")"
	if got := find(t, twins.Question{Horns: []catalog.Horn{a, b}}); !slices.Equal(said(got), []string{b.Label + " > Hazel"}) {
		t.Errorf("%q", said(got))
	}
}

// An invented pool with hard negatives: cupboards of one design, neighbouring
// models, other copies. The seeds are not those that weights were tried on.
func TestInventedPools(t *testing.T) {
	entered, right, wrong := 0, 0, 0
	for seed := range uint64(3) {
		in := invent(seed+1, 600, 15)
		r, w, mistakes := in.judge(in.find(t))
		entered, right, wrong = entered+in.twins, right+r, wrong+w
		for _, p := range mistakes {
			t.Logf("wrong, %.2f: %s > %s: %s", p.Certainty, p.AliasName, p.KeptName, strings.Join(p.Evidence, "; "))
		}
	}
	precision, recall := float64(right)/float64(right+wrong), float64(right)/float64(entered)
	t.Logf("%d things entered twice: precision %.3f, recall %.3f", entered, precision, recall)
	if precision < 0.94 || recall < 0.88 {
		t.Errorf("precision %.3f, recall %.3f", precision, recall)
	}
}

// The same answer, whatever the order of the lists.
func TestOrderDoesNotMatter(t *testing.T) {
	in := invent(9, 150, 20)
	want := in.find(t)
	slices.Reverse(in.horns)
	slices.Reverse(in.mouthpieces)
	got := in.find(t)
	if !slices.Equal(said(got), said(want)) {
		t.Errorf("%q\n%q", said(got), said(want))
	}
}
