package fit

import (
	"slices"
	"testing"

	"centwise/catalog"
)

// Two records of one horn that are linked give the very fit that one record with
// all sessions gives, and apart again the fit from before.
func TestLinkedRecordsAreOneItem(t *testing.T) {
	one, two := duo(), duo()
	two.addHorn(catalog.Horn{Label: "Alder again"})
	for i := range two.sessions {
		if two.sessions[i].Name == "Alder+Dunlin 16.6+reed-otter" || i == 1 {
			two.sessions[i].Horn = hornID("Alder again")
		}
	}
	store, ids := database(t, two)
	apart := currentProfile(t, store, ids)
	link := catalog.Link{Kind: catalog.LinkHorn, Alias: string(ids[hornID("Alder again")]), Kept: string(ids[hornID("Alder")])}
	if err := store.Apply(t.Context(), catalog.Changes{Links: []catalog.Link{link}}); err != nil {
		t.Fatal(err)
	}
	straight, straightIDs := database(t, one)
	want := currentProfile(t, straight, straightIDs)
	if got := currentProfile(t, store, ids); !slices.Equal(got, want) {
		t.Errorf("linked %.3f\none    %.3f", got, want)
	}
	if slices.Equal(apart, want) {
		t.Error("the link changed nothing")
	}
	link.Number, link.Retired = 2, true
	if err := store.Apply(t.Context(), catalog.Changes{Links: []catalog.Link{link}}); err != nil {
		t.Fatal(err)
	}
	if got := currentProfile(t, store, ids); !slices.Equal(got, apart) {
		t.Errorf("unlinked %.3f\nbefore   %.3f", got, apart)
	}
}

// currentProfile is what the fit of a catalog says of Alder, with one seed for all.
func currentProfile(t *testing.T, store catalog.Store, ids map[catalog.ID]catalog.ID) []float64 {
	t.Helper()
	m, err := Current(t.Context(), store, Options{Seed: 5})
	if err != nil {
		t.Fatal(err)
	}
	return predict(t, m, Setup{Horn: ids[hornID("Alder")], Mouthpiece: ids[mouthpieceID("Plover 16.2")]}, usualSlots()).Mean
}

// Two spellings of a design that are linked are one: the copies share what is
// known, as if they were spelled alike.
func TestLinkedSpellingsAreOneDesign(t *testing.T) {
	make := func(spelling string, links ...catalog.LinkSummary) *Data {
		rng := seeded(19)
		s := newShelf(nil, []string{"Plover 16.2"}, []string{"reed-otter"})
		s.addHorn(catalog.Horn{Label: "Alder", Maker: "Tidewright", Model: "Heron"})
		s.addHorn(catalog.Horn{Label: "Aspen", Maker: "Tide Wright", Model: spelling})
		s.addHorn(catalog.Horn{Label: "Birch", Maker: "Tidewright", Model: "Heron"})
		for range 3 {
			s.measure("Aspen", "Plover 16.2", "reed-otter", usualSlots(), func(int) float64 { return 4 * rng.NormFloat64() })
		}
		s.links = links
		return s.load(t)
	}
	link := catalog.LinkSummary{Link: catalog.Link{Kind: catalog.LinkHornDesign, Alias: "tide wright\thern"}, Root: "tidewright\theron"}
	d := make("Hern", link)
	if d.Horns[0].Design != d.Horns[1].Design || d.Horns[1].Design != d.Horns[2].Design {
		t.Fatalf("designs %q, %q, %q", d.Horns[0].Design, d.Horns[1].Design, d.Horns[2].Design)
	}
	m := solved(t, newEngine(d, DefaultComponents(len(d.Sources)), 1, false), plan{draws: 40}, true)
	if p := wantSane(t, m, setup("Birch", "Plover 16.2", "")); p.Evidence.Basis != BasisDesign || p.Evidence.HornDesign != 3 {
		t.Errorf("evidence %+v", p.Evidence)
	}
	if d := make("Hern"); d.Horns[1].Design == d.Horns[2].Design {
		t.Error("they were one design without a link")
	}
}
