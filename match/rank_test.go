package match

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

func rank(t *testing.T, e Engine, q Question) *Ranking {
	t.Helper()
	r, err := Rank(context.Background(), e, q)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// twoWorlds is a horn and two mouthpieces in two possible worlds. Alder leaves
// G4, C5 and G5 +6, 0, -6.
//
//	Plover: -6 0 +6, in the second world 12 0 -12 more
//	Dunlin: +3 0 -3 in both
//
// The slide takes out the mean, nought everywhere, so the errors are
// Plover 0 and sqrt(288/3) = 9.797959, Dunlin sqrt(162/3) = 7.348469 twice.
func twoWorlds() (*fakeEngine, Question) {
	same := []vector{nought, nought}
	e := &fakeEngine{
		draws: 2,
		items: map[catalog.ID]vector{
			"alder":       byNote(map[string]float64{"G4": 6, "G5": -6}),
			"Plover 16.2": byNote(map[string]float64{"G4": -6, "G5": 6}),
			"Dunlin 16.6": byNote(map[string]float64{"G4": 3, "G5": -3}),
		},
		worlds: map[catalog.ID][]vector{
			"Plover 16.2": {nought, byNote(map[string]float64{"G4": 12, "G5": -12})},
			"Dunlin 16.6": same, "alder": same,
		},
	}
	h := alder()
	return e, Question{
		FromHorn: &h, Mouthpieces: []catalog.Mouthpiece{mouthpiece("Dunlin 16.6"), mouthpiece("Plover 16.2")},
		Criteria: threeOpen(),
	}
}

func TestRankByHand(t *testing.T) {
	e, q := twoWorlds()
	r := rank(t, e, q)
	if r.Horn != "Alder" || r.Mouthpiece != "" || r.Considered != 2 || len(r.Pairings) != 2 {
		t.Fatalf("ranking %+v", r)
	}
	plover, dunlin := r.Pairings[0], r.Pairings[1]
	if plover.Mouthpiece != "Plover 16.2" || plover.Rank != 1 || dunlin.Rank != 2 {
		t.Fatalf("order %s, %s", plover.Mouthpiece, dunlin.Mouthpiece)
	}
	near(t, "Plover's error", plover.ErrorCents, math.Sqrt(96/2.), 1e-5)
	near(t, "Plover's low", plover.Low, 0.9797959, 1e-6)
	near(t, "Plover's high", plover.High, 0.9*9.797959, 1e-5)
	near(t, "Plover's chance to be best", plover.ChanceBest, 0.5, 1e-12)
	near(t, "Plover's chance to be in tune", plover.ChanceTolerable, 1, 1e-12)
	near(t, "Dunlin's error", dunlin.ErrorCents, 7.348469, 1e-6)
	near(t, "Dunlin's chance to be best", dunlin.ChanceBest, 0.5, 1e-12)
	near(t, "Dunlin's sharpest", dunlin.Sharpest.Cents, 9, 1e-9)
	near(t, "Dunlin's flattest", dunlin.Flattest.Cents, -9, 1e-9)
	if dunlin.Worst.Note != "G4" || dunlin.Sharpest.Note != "G4" || dunlin.Flattest.Note != "G5" || dunlin.Beyond != [3]int{2, 0, 0} {
		t.Errorf("Dunlin: %+v", dunlin.Verdict)
	}
	if plover.Evidence != 6 || plover.Basis != fit.BasisMeasured || !plover.Linked {
		t.Errorf("Plover rests on %d sessions, %s, linked %v", plover.Evidence, plover.Basis, plover.Linked)
	}
	e.evidence = func(fit.Setup) fit.Evidence {
		return fit.Evidence{Pair: 2, Horn: 5, Mouthpiece: 3, HornPlayers: 2, Basis: fit.BasisMeasured}
	}
	if p := rank(t, e, q).Pairings[0]; p.Evidence != 6 || p.PairSessions != 2 || p.HornSessions != 5 || p.Sessions != 3 {
		t.Errorf("5 sessions with the horn and 3 with the mouthpiece, 2 of them both: %+v", p)
	}
	q.Criteria.ToleranceCents = 7.35
	r = rank(t, e, q)
	near(t, "Plover's chance within 7.35", r.Pairings[0].ChanceTolerable, 0.5, 1e-12)
	near(t, "Dunlin's chance within 7.35", r.Pairings[1].ChanceTolerable, 1, 1e-12)
}

func TestRankSortKeys(t *testing.T) {
	e, q := twoWorlds()
	e.items["Dunlin 16.6"] = byNote(map[string]float64{"G4": -1, "G5": 1, "C6": 30}) // C6 is C5's and C4's octave
	for key, want := range map[SortKey]string{
		SortError: "Dunlin 16.6", // 5, 0, -5: sqrt(50/3) = 4.08 against 6.93
		SortWorst: "Plover 16.2", SortSupport: "Plover 16.2", SortChance: "Dunlin 16.6",
	} {
		q.Sort = key
		if got := rank(t, e, q).Pairings[0].Mouthpiece; got != want {
			t.Errorf("by %s %s comes first, want %s", key, got, want)
		}
	}
	for text, want := range map[string]SortKey{"error": SortError, " Worst": SortWorst, "SUPPORT": SortSupport, "chance": SortChance, "tolerance": SortTolerance} {
		if got, err := ParseSortKey(text); err != nil || got != want {
			t.Errorf("%q reads as %q, %v", text, got, err)
		}
	}
	q.Sort, q.NoSupport = SortError, true
	if p := rank(t, e, q).Pairings[0]; p.Support != nil {
		t.Errorf("support %g although it was left out", *p.Support)
	}
	q.Sort = SortSupport
	if _, err := Rank(context.Background(), e, q); catalog.KindOf(err) != catalog.Invalid {
		t.Errorf("sorting by a support that is left out: %v", err)
	}
	if _, err := ParseSortKey("loudness"); catalog.KindOf(err) != catalog.Invalid {
		t.Errorf("sort key loudness: %v", err)
	}
}

func TestOrderFallsBackOnTheError(t *testing.T) {
	list := []Pairing{{Horn: "Alder", Verdict: Verdict{ErrorCents: 9}}, {Horn: "Rowan", Verdict: Verdict{ErrorCents: 8}}}
	order(list, SortChance)
	if list[0].Horn != "Rowan" {
		t.Errorf("of two without a chance %s comes first", list[0].Horn)
	}
}

func TestSummaryByHand(t *testing.T) {
	v := summary([]float64{4, 1, 3, 2, 6}, 3)
	near(t, "within 3, 3 included", v.ChanceTolerable, 0.6, 1e-12)
	near(t, "root mean square", v.ErrorCents, math.Sqrt(66/5.), 1e-12)
	near(t, "10 % quantile", v.Low, 1.4, 1e-12)
	near(t, "90 % quantile", v.High, 5.2, 1e-12)
	if v := summary([]float64{7}, 3); v.Low != 7 || v.High != 7 || v.ErrorCents != 7 || v.ChanceTolerable != 0 {
		t.Errorf("of one draw: %+v", v)
	}
}

func TestRankTiesGoByLabel(t *testing.T) {
	e, q := twoWorlds()
	q.Mouthpieces = nil
	for _, label := range []string{"curlew 16", "Avocet 16", "Bittern 16", "avocet 15"} {
		q.Mouthpieces = append(q.Mouthpieces, mouthpiece(label))
	}
	var got []string
	for _, p := range rank(t, e, q).Pairings {
		got = append(got, p.Mouthpiece)
	}
	if want := []string{"avocet 15", "Avocet 16", "Bittern 16", "curlew 16"}; !slices.Equal(got, want) {
		t.Errorf("order %q, want %q", got, want)
	}
}

// The keys that programs rely on.
func TestRankJSON(t *testing.T) {
	e, q := twoWorlds()
	text, err := json.Marshal(rank(t, e, q))
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Horn     string
		Pairings []map[string]any
	}
	if err := json.Unmarshal(text, &got); err != nil {
		t.Fatal(err)
	}
	if got.Horn != "Alder" {
		t.Errorf("horn is %q", got.Horn)
	}
	for _, key := range []string{"rank", "mouthpiece", "error_cents", "low", "high", "chance_best", "support", "worst", "evidence", "linked"} {
		if _, ok := got.Pairings[0][key]; !ok {
			t.Errorf("%q is missing from %s", key, text)
		}
	}
	if w, ok := got.Pairings[0]["worst"].(map[string]any); !ok || w["note"] == nil || w["cents"] == nil {
		t.Errorf("worst is %v", got.Pairings[0]["worst"])
	}
}

func TestRankFilters(t *testing.T) {
	e, _ := twoWorlds()
	e.evidence = func(s fit.Setup) fit.Evidence {
		if s.Mouthpiece == "unmeasured" {
			return fit.Evidence{Horn: 1, Basis: fit.BasisDimensions}
		}
		return fit.Evidence{Horn: 1, Mouthpiece: 1, Basis: fit.BasisMeasured}
	}
	e.unlinked = map[catalog.ID]bool{"island": true}
	edit := func(label string, f func(*catalog.Mouthpiece)) catalog.Mouthpiece {
		m := mouthpiece(label)
		f(&m)
		return m
	}
	list := []catalog.Mouthpiece{
		mouthpiece("plain"), mouthpiece("unmeasured"), mouthpiece("island"),
		edit("wide", func(m *catalog.Mouthpiece) { m.RimMM = 17 }),
		edit("no rim", func(m *catalog.Mouthpiece) { m.RimMM = 0 }),
		edit("deep", func(m *catalog.Mouthpiece) { m.CupCM3 = 1.6 }),
		edit("retired", func(m *catalog.Mouthpiece) { m.Retired = true }),
		edit("cornet", func(m *catalog.Mouthpiece) { m.Shank = catalog.ShankCornet }),
		edit("shop", func(m *catalog.Mouthpiece) { m.Stock = []string{"Harbour Music"} }),
		edit("own", func(m *catalog.Mouthpiece) { m.Owner = "reed-otter"; m.Tags = []string{"Marching"} }),
	}
	everyday := []string{"deep", "island", "no rim", "own", "plain", "shop", "unmeasured", "wide"}
	player := catalog.Player{ID: "p", Label: "reed-otter", RimMinMM: 16, RimMaxMM: 16.5, CupMaxCM3: 1.5}
	without := func(names ...string) []string {
		return slices.DeleteFunc(slices.Clone(everyday), func(s string) bool { return slices.Contains(names, s) })
	}
	for name, c := range map[string]struct {
		filter Filter
		want   []string
	}{
		"none":          {Filter{}, everyday},
		"rim range":     {Filter{RimMM: Limits{16, 16.5}}, without("wide", "no rim")},
		"rim from":      {Filter{RimMM: Limits{Min: 16.5}}, []string{"wide"}},
		"cup":           {Filter{CupCM3: Limits{Max: 1.3}}, without("deep")},
		"stock":         {Filter{Stock: "harbour music"}, []string{"shop"}},
		"owner":         {Filter{Owner: "Reed-Otter"}, []string{"own"}},
		"tag":           {Filter{Tag: "marching"}, []string{"own"}},
		"adapter":       {Filter{Adapter: true}, append(slices.Clone(everyday), "cornet")},
		"retired":       {Filter{Retired: true}, append(slices.Clone(everyday), "retired")},
		"measured":      {Filter{Measured: true}, without("unmeasured")},
		"linked":        {Filter{Linked: true}, without("island")},
		"comfort":       {Filter{Comfort: true}, without("wide", "no rim", "deep")},
		"key of a horn": {Filter{Key: pitch.KeyC, Loaner: true}, everyday}, // the horn is given
	} {
		h := alder()
		r := rank(t, e, Question{FromHorn: &h, Mouthpieces: list, Player: &player, Filter: c.filter})
		var got []string
		for _, p := range r.Pairings {
			got = append(got, p.Mouthpiece)
			if p.Adapter != (p.Mouthpiece == "cornet") {
				t.Errorf("%s: adapter of %s is %v", name, p.Mouthpiece, p.Adapter)
			}
		}
		slices.Sort(got)
		slices.Sort(c.want)
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
		left := 0
		for _, n := range r.LeftOut {
			left += n
		}
		if left != len(list)-len(got) || r.Considered != len(got) {
			t.Errorf("%s: %d of %d left out, considered %d: %v", name, left, len(list), r.Considered, r.LeftOut)
		}
	}
}

func TestRankFromMouthpieceAndOverPairs(t *testing.T) {
	e, _ := twoWorlds()
	rowan, hazel := horn("Rowan"), horn("Hazel")
	rowan.Key, rowan.Loaner, rowan.Tags = pitch.KeyC, true, []string{"cupboard"}
	hazel.Instrument, hazel.Receiver = catalog.Cornet, catalog.ShankCornet
	hornList := []catalog.Horn{alder(), rowan, hazel}
	plover, dunlin := mouthpiece("Plover 16.2"), mouthpiece("Dunlin 16.6")
	dunlin.Tags = []string{"cupboard"}
	labels := func(q Question) []string {
		var out []string
		for _, p := range rank(t, e, q).Pairings {
			out = append(out, p.Horn+"/"+p.Mouthpiece)
		}
		slices.Sort(out)
		return out
	}
	for name, c := range map[string]struct {
		q    Question
		want []string
	}{
		"horns for Plover": {Question{FromMouthpiece: &plover, Horns: hornList}, []string{"Alder/Plover 16.2", "Rowan/Plover 16.2"}},
		"with an adapter":  {Question{FromMouthpiece: &plover, Horns: hornList, Filter: Filter{Adapter: true, Instrument: catalog.Cornet}}, []string{"Hazel/Plover 16.2"}},
		"in C":             {Question{FromMouthpiece: &plover, Horns: hornList, Filter: Filter{Key: pitch.KeyC}}, []string{"Rowan/Plover 16.2"}},
		"loaners":          {Question{FromMouthpiece: &plover, Horns: hornList, Filter: Filter{Loaner: true}}, []string{"Rowan/Plover 16.2"}},
		"the tag of a horn": {Question{FromMouthpiece: &dunlin, Horns: hornList, Filter: Filter{Tag: "cupboard"}},
			[]string{"Rowan/Dunlin 16.6"}},
		"all pairs": {Question{Horns: hornList, Mouthpieces: []catalog.Mouthpiece{plover, dunlin}},
			[]string{"Alder/Dunlin 16.6", "Alder/Plover 16.2", "Rowan/Dunlin 16.6", "Rowan/Plover 16.2"}},
		"a tag of either": {Question{Horns: hornList, Mouthpieces: []catalog.Mouthpiece{plover, dunlin}, Filter: Filter{Tag: "cupboard"}},
			[]string{"Alder/Dunlin 16.6", "Rowan/Dunlin 16.6", "Rowan/Plover 16.2"}},
	} {
		if got := labels(c.q); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}

func TestRankErrors(t *testing.T) {
	e, q := twoWorlds()
	ctx := context.Background()
	m := mouthpiece("Plover 16.2")
	both := q
	both.FromMouthpiece = &m
	backwards := q
	backwards.Criteria = Criteria{Low: 79, High: 67}
	weightless := q
	weightless.Criteria.Weights = map[pitch.Note]float64{60: 1}
	empty := q
	empty.Mouthpieces = nil
	filtered := q
	filtered.Filter.RimMM = Limits{Min: 20}
	for name, c := range map[string]struct {
		q    Question
		kind catalog.Kind
		text string
	}{
		"horn and mouthpiece": {both, catalog.Invalid, "both given"},
		"backwards range":     {backwards, catalog.Invalid, "G5..G4"},
		"no weight":           {weightless, catalog.Invalid, "Alder"},
		"nothing there":       {empty, catalog.NotFound, "add gear"},
		"all filtered out":    {filtered, catalog.NotFound, "rim outside the range: 2"},
	} {
		_, err := Rank(ctx, e, c.q)
		if err == nil || catalog.KindOf(err) != c.kind || !strings.Contains(err.Error(), c.text) {
			t.Errorf("%s: %v", name, err)
		}
	}
	e.fail = errors.New("no fit")
	if _, err := Rank(ctx, e, q); !errors.Is(err, e.fail) {
		t.Errorf("a failing engine: %v", err)
	}
	e.fail = nil
	stopped, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := Rank(stopped, e, q); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

func TestRankLimitKeepsChancesOfTheWholeList(t *testing.T) {
	e, q := twoWorlds()
	q.Limit = 1
	r := rank(t, e, q)
	if len(r.Pairings) != 1 || r.Considered != 2 {
		t.Fatalf("%d of %d", len(r.Pairings), r.Considered)
	}
	near(t, "chance of the one shown", r.Pairings[0].ChanceBest, 0.5, 1e-12)
}

func TestRankWithoutAnswersForSomeSlots(t *testing.T) {
	fake, q := twoWorlds()
	q.Criteria = Criteria{High: pitch.TopUsual}
	e := someEngine{fake, fit.StandardSlots()}
	r := rank(t, e, q)
	if !slices.ContainsFunc(r.Notes, func(s string) bool {
		return strings.HasPrefix(s, "Not judged: C#6, D6, Eb6, F6, F#6 and G6.")
	}) {
		t.Errorf("notes %q", r.Notes)
	}
	// A four-valve horn falls back on the fingerings of three valves.
	four := alder()
	four.Valves = 4
	q.FromHorn, q.Criteria = &four, Criteria{}
	for _, note := range rank(t, e, q).Notes {
		if strings.HasPrefix(note, "Not judged") {
			t.Errorf("four valves: %s", note)
		}
	}
	e.slots = nil
	if _, err := Rank(context.Background(), e, q); catalog.KindOf(err) != catalog.Invalid {
		t.Errorf("an engine without answers: %v", err)
	}
}

func TestRankSaysWhatItRestsOn(t *testing.T) {
	e, q := twoWorlds()
	notesFor := func(evidence func(fit.Setup) fit.Evidence) string {
		e.evidence = evidence
		return strings.Join(rank(t, e, q).Notes, " ")
	}
	notes := notesFor(func(fit.Setup) fit.Evidence { return fit.Evidence{Mouthpiece: 2, Basis: fit.BasisPrior} })
	if !strings.Contains(notes, "Nobody has measured the horn Alder") {
		t.Errorf("the horn asked from is not measured: %q", notes)
	}
	notes = notesFor(func(s fit.Setup) fit.Evidence {
		if s.Mouthpiece == "Dunlin 16.6" {
			return fit.Evidence{Horn: 2, Basis: fit.BasisPrior}
		}
		return fit.Evidence{Horn: 2, Mouthpiece: 1, Basis: fit.BasisMeasured}
	})
	if !strings.Contains(notes, "Nobody has measured Dunlin 16.6: ") || strings.Contains(notes, "linked") {
		t.Errorf("one of two is not measured: %q", notes)
	}
	notes = notesFor(func(fit.Setup) fit.Evidence { return fit.Evidence{Basis: fit.BasisDimensions} })
	if !strings.Contains(notes, "Nobody has measured any of this gear") || strings.Contains(notes, "linked") || strings.Contains(notes, "Dunlin") {
		t.Errorf("nothing is measured: %q", notes)
	}
	e.unlinked = map[catalog.ID]bool{"Dunlin 16.6": true}
	notes = notesFor(nil)
	if !strings.Contains(notes, "1 of 2 pairings is not linked") || strings.Contains(notes, "Nobody") {
		t.Errorf("one of two is not linked: %q", notes)
	}
	if strings.Contains(notes, "uncertain") {
		t.Errorf("certain profiles: %q", notes)
	}
	e.sd = 5 // 80 % interval +-6.4
	if notes = notesFor(nil); !strings.Contains(notes, "2 of 2 profiles are uncertain by more than plus or minus 6 cents") {
		t.Errorf("wide profiles: %q", notes)
	}
	e.sd = 0
	m := mouthpiece("Plover 16.2")
	e.evidence = func(fit.Setup) fit.Evidence { return fit.Evidence{Horn: 2, Basis: fit.BasisPrior} }
	notes = strings.Join(rank(t, e, Question{FromMouthpiece: &m, Horns: []catalog.Horn{alder()}}).Notes, " ")
	if !strings.Contains(notes, "Nobody has measured the mouthpiece Plover 16.2") {
		t.Errorf("notes %q", notes)
	}
	// Many that may be best: the list does not pretend.
	e, q = twoWorlds()
	q.Mouthpieces = append(q.Mouthpieces, mouthpiece("Avocet 15"))
	e.items["Avocet 15"] = byNote(map[string]float64{"G4": 3, "G5": -3})
	if notes := strings.Join(rank(t, e, q).Notes, " "); strings.Contains(notes, "try several") {
		t.Errorf("half a chance is enough: %q", notes)
	}
	e.items["Avocet 15"] = byNote(map[string]float64{"G4": -6, "G5": 6})
	e.worlds["Avocet 15"] = []vector{nought, byNote(map[string]float64{"G4": 12, "G5": -12})}
	r := rank(t, e, q)
	near(t, "a draw won by two is split", r.Pairings[0].ChanceBest, 0.25, 1e-12)
	if notes := strings.Join(r.Notes, " "); !strings.Contains(notes, "a chance of 25 %") {
		t.Errorf("notes %q", notes)
	}
}
