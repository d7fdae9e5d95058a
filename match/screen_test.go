package match

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"math"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
	"centwise/match/fit/simulate"
	"centwise/match/tuning"
)

// worldStore is as much of a store as a fit reads, of a simulated world with gear
// that nobody measured beside it.
type worldStore struct {
	catalog.Store
	world       *simulate.World
	horns       []catalog.Horn
	mouthpieces []catalog.Mouthpiece
}

func (s *worldStore) Horns(context.Context, bool) ([]catalog.Horn, error) { return s.horns, nil }
func (s *worldStore) Mouthpieces(context.Context, bool) ([]catalog.Mouthpiece, error) {
	return s.mouthpieces, nil
}
func (s *worldStore) Players(context.Context, bool) ([]catalog.Player, error) {
	return s.world.CatalogPlayers(), nil
}
func (s *worldStore) Links(context.Context) ([]catalog.LinkSummary, error) { return nil, nil }
func (s *worldStore) Info(context.Context) (catalog.Info, error)           { return catalog.Info{}, nil }
func (s *worldStore) Measurements(context.Context, int64) iter.Seq2[catalog.Measured, error] {
	return s.world.Measurements()
}
func (s *worldStore) Digest(context.Context) (catalog.Digest, error) { return catalog.Digest{1}, nil }

// screenWorld is fitted once for all tests.
var screenWorld = sync.OnceValues(makeScreenWorld)

// makeScreenWorld fits a catalog with horns of differing throws, keys and
// owners, several parts, and gear of which nothing tells some from others. What
// is ranked is a part of it.
func makeScreenWorld() (*fit.Model, *worldStore) {
	w := simulate.Generate(simulate.Harder, simulate.Small, 5)
	s := &worldStore{world: w, horns: w.CatalogHorns(), mouthpieces: w.CatalogMouthpieces()}
	for i := range 3 {
		s.horns = append(s.horns, horn(fmt.Sprintf("Rowan %d", i)))
	}
	for i := range 4 {
		m := mouthpiece(fmt.Sprintf("Knot %d", i))
		m.RimMM, m.CupCM3 = 0, 0
		s.mouthpieces = append(s.mouthpieces, m)
	}
	for i := range s.horns {
		h := &s.horns[i]
		h.Throw3MM = float64(i%3) * 7
		if i%4 == 1 {
			h.Throw1MM = 6
		}
		if i%5 == 2 {
			h.Owner = "Lantern Bay"
		}
		if i%6 == 3 {
			h.Key = pitch.KeyC
		}
	}
	for i := range s.mouthpieces {
		if i%3 == 1 {
			s.mouthpieces[i].Owner = "Lantern Bay"
		}
	}
	data, err := fit.Load(context.Background(), s, catalog.NoCounter{})
	if err != nil {
		panic(err)
	}
	m, err := fit.Run(context.Background(), data, fit.Options{Draws: 24, Seed: 3})
	if err != nil {
		panic(err)
	}
	s.horns, s.mouthpieces = s.horns[len(s.horns)-25:], s.mouthpieces[len(s.mouthpieces)-45:]
	return m, s
}

// screenQuestions ask in all the ways that change what is judged or left out.
func screenQuestions(s *worldStore) map[string]Question {
	q := Question{Horns: s.horns, Mouthpieces: s.mouthpieces, Limit: 7}
	player := s.world.CatalogPlayers()[0]
	out := map[string]Question{"plain": q}
	with := func(name string, change func(q *Question)) {
		q := q
		change(&q)
		out[name] = q
	}
	with("player", func(q *Question) { q.Player = &player })
	with("one", func(q *Question) { q.Limit = 1 })
	with("no throws", func(q *Question) { q.Criteria.NoThrows = true })
	with("stops", func(q *Question) { q.Criteria.Travel = &tuning.Travel{MinCents: -1, MaxCents: 2} })
	with("weights", func(q *Question) { q.Criteria.Register = tuning.RegisterHigh; q.Criteria.Low = 60 })
	with("measured", func(q *Question) { q.Filter.Measured = true })
	with("linked", func(q *Question) { q.Filter.Linked = true })
	with("owner", func(q *Question) { q.Filter.Owner = "lantern bay" })
	with("long", func(q *Question) { q.Limit = 1000 })
	return out
}

// The lists that are found by screening are those that judging every pairing
// gives, to the last number, for horns as for mouthpieces.
func TestScreenedListsAreTheWholeOnes(t *testing.T) {
	m, s := screenWorld()
	for name, q := range screenQuestions(s) {
		for _, each := range []Owner{EachHorn, EachMouthpiece} {
			q.each = map[Owner]side{EachHorn: horns, EachMouthpiece: mouthpieces}[each]
			want, got := lists(t, m, q, Question.eachWhole), lists(t, m, q, func(q Question, ctx context.Context, e Engine, f *field, r *EachRanking) error {
				return q.eachScreened(ctx, e.(gridEngine), f, r)
			})
			if got.Considered != want.Considered || !reflect.DeepEqual(got.LeftOut, want.LeftOut) || got.Without != want.Without || len(got.Lists) != len(want.Lists) {
				t.Fatalf("%s, each %s: %d considered, %v left out, %d lists; want %d, %v, %d", name, each,
					got.Considered, got.LeftOut, len(got.Lists), want.Considered, want.LeftOut, len(want.Lists))
			}
			for i := range want.Lists {
				sameList(t, fmt.Sprintf("%s, each %s, list %d", name, each, i), got.Lists[i].Pairings, want.Lists[i].Pairings)
			}
		}
	}
}

func lists(t *testing.T, e Engine, q Question, by func(Question, context.Context, Engine, *field, *EachRanking) error) *EachRanking {
	t.Helper()
	q, err := q.settled()
	if err != nil {
		t.Fatal(err)
	}
	f, err := q.field(e)
	if err != nil {
		t.Fatal(err)
	}
	r := &EachRanking{LeftOut: map[string]int{}}
	if err := by(q, t.Context(), e, f, r); err != nil {
		t.Fatal(err)
	}
	if err := r.close(q, f); err != nil {
		t.Fatal(err)
	}
	return r
}

// sameList compares lists. Sums of squares are added up in differing order, so
// the last digits may differ.
func sameList(t *testing.T, what string, got, want []Pairing) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s has %d pairings, want %d", what, len(got), len(want))
	}
	for i, p := range got {
		w := want[i]
		if p.Horn != w.Horn || p.Mouthpiece != w.Mouthpiece || p.Rank != w.Rank || p.Alike != w.Alike || p.Note != w.Note || p.Evidence != w.Evidence || p.Linked != w.Linked {
			t.Fatalf("%s, place %d: %s + %s, rank %d, %d alike; want %s + %s, rank %d, %d alike", what, i+1,
				p.Horn, p.Mouthpiece, p.Rank, p.Alike, w.Horn, w.Mouthpiece, w.Rank, w.Alike)
		}
		for _, x := range [][2]float64{{p.ErrorCents, w.ErrorCents}, {p.Low, w.Low}, {p.High, w.High}, {p.ChanceBest, w.ChanceBest},
			{p.ChanceTolerable, w.ChanceTolerable}, {*p.Support, *w.Support}, {p.Worst.Cents, w.Worst.Cents}, {p.TypicalSD, w.TypicalSD}} {
			if math.Abs(x[0]-x[1]) > 1e-9 {
				t.Fatalf("%s, place %d: %+v, want %+v", what, i+1, p, w)
			}
		}
	}
}

// One list of all pairs by screening has the pairings of the whole list.
func TestScreenedPairsAreTheFirstOfAll(t *testing.T) {
	m, s := screenWorld()
	for name, q := range screenQuestions(s) {
		q, err := q.settled()
		if err != nil {
			t.Fatal(err)
		}
		f, err := q.field(m)
		if err != nil {
			t.Fatal(err)
		}
		whole, err := q.rankAll(t.Context(), m, f)
		if err != nil {
			t.Fatal(err)
		}
		got, err := q.rankScreened(t.Context(), m, f)
		if err != nil {
			t.Fatal(err)
		}
		if got.Considered != whole.Considered || !reflect.DeepEqual(got.LeftOut, whole.LeftOut) {
			t.Errorf("%s: %d considered, %v left out; want %d, %v", name, got.Considered, got.LeftOut, whole.Considered, whole.LeftOut)
		}
		sameList(t, name, got.Pairings, q.standAlone(whole.Pairings))
		if again, err := q.rankScreened(t.Context(), m, f); err != nil || !reflect.DeepEqual(again, got) {
			t.Errorf("%s: asked again the list is another one: %v", name, err)
		}
	}
}

// screenOfHorns is a screen that looks for three mouthpieces for each horn.
func screenOfHorns(t *testing.T) *screen {
	t.Helper()
	m, s := screenWorld()
	q, err := Question{Horns: s.horns, Mouthpieces: s.mouthpieces, Limit: 3, each: horns}.settled()
	if err != nil {
		t.Fatal(err)
	}
	f, err := q.field(m)
	if err != nil {
		t.Fatal(err)
	}
	sc, err := q.newScreen(m, f)
	if err != nil {
		t.Fatal(err)
	}
	sc.owners, sc.sought = alone(len(f.horns)), sc.alikeMouthpieces()
	return sc
}

// No expected square is below its bound.
func TestBoundsHold(t *testing.T) {
	sc := screenOfHorns(t)
	scout := sc.newScout()
	for owner := range sc.owners {
		scout.look(owner)
		for _, b := range slices.Clone(scout.bounds) {
			scout.judge(owner, b.sought)
			if e := scout.board[0]; e.square < b.square {
				t.Fatalf("the expected square is %g, below its bound %g", e.square, b.square)
			}
			scout.clearBoard()
		}
	}
}

// Screening leaves a good part of the pairings alone.
func TestScreeningSpares(t *testing.T) {
	sc := screenOfHorns(t)
	scout := sc.newScout()
	left, all := 0, 0
	for owner := range sc.owners {
		scout.seek(owner)
		left += len(scout.bounds)
		all += len(sc.sought)
		scout.clearBoard()
	}
	if left < all/4 { // what a small, poorly known catalog allows
		t.Errorf("%d of %d were judged", all-left, all)
	}
}

func TestRankEachRefusals(t *testing.T) {
	e, hs, ms := manyPairs(2, 2, 3)
	h := alder()
	for what, q := range map[string]Question{
		"one horn": {FromHorn: &h, Mouthpieces: ms},
		"chance":   {Horns: hs, Mouthpieces: ms, Sort: SortChance},
	} {
		if _, err := RankEach(t.Context(), e, EachHorn, q); catalog.KindOf(err) != catalog.Invalid {
			t.Errorf("%s: %v", what, err)
		}
	}
	if _, err := RankEach(t.Context(), e, EachHorn, Question{Horns: hs, Mouthpieces: ms, Filter: Filter{Stock: "cupboard"}}); catalog.KindOf(err) != catalog.NotFound {
		t.Errorf("nothing in stock: %v", err)
	}
}

// Lists for each are those of the single questions, but for the chances.
func TestRankEachIsManyRankings(t *testing.T) {
	e, hs, ms := manyPairs(3, 8, 9)
	ms[2].Shank = catalog.ShankCornet
	hs[1].Receiver = catalog.ShankFlugelhorn // nothing fits
	for _, key := range []SortKey{SortError, SortWorst, SortSupport} {
		r, err := RankEach(t.Context(), e, EachHorn, Question{Horns: hs, Mouthpieces: ms, Limit: 4, Sort: key})
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Lists) != 2 || r.Without != 1 || r.Considered != 14 || r.LeftOut["shank does not fit the receiver"] != 10 {
			t.Fatalf("%d lists, %d without, %d considered, %v", len(r.Lists), r.Without, r.Considered, r.LeftOut)
		}
		for i, h := range []catalog.Horn{hs[0], hs[2]} {
			want := rank(t, e, Question{FromHorn: &h, Mouthpieces: ms, Limit: 4, Sort: key})
			if r.Lists[i].Horn != h.Label || r.Lists[i].Considered != want.Considered {
				t.Errorf("list of %s, %d considered", r.Lists[i].Horn, r.Lists[i].Considered)
			}
			sum := 0.0
			for j := range want.Pairings {
				sum += r.Lists[i].Pairings[j].ChanceBest
				want.Pairings[j].ChanceBest = r.Lists[i].Pairings[j].ChanceBest
			}
			near(t, "sum of the chances", sum, 1, 1e-12)
			sameList(t, h.Label, r.Lists[i].Pairings, want.Pairings)
		}
	}
}

// Too long a list is refused before it is made.
func TestTooManyPairings(t *testing.T) {
	e, hs, ms := manyPairs(1, 1, 1)
	for len(hs)*len(ms) <= maxListed {
		hs, ms = append(hs, hs...), append(ms, ms...)
	}
	for _, q := range []Question{{}, {Limit: 10, Sort: SortWorst}, {Limit: 10}} { // the engine can't screen
		q.Horns, q.Mouthpieces = hs, ms
		if _, err := Rank(t.Context(), e, q); catalog.KindOf(err) != catalog.Invalid {
			t.Errorf("%+v: %v", q.Sort, err)
		}
	}
	// A table can't be shorter, so filters are all that helps.
	_, err := Rank(t.Context(), e, Question{Horns: hs, Mouthpieces: ms, Table: true})
	if domain := (*catalog.Error)(nil); !errors.As(err, &domain) || strings.Contains(domain.Hint, "--top") || !strings.Contains(domain.Hint, "rank --matrix --stock") {
		t.Errorf("a table: %v", err)
	}
	if _, err := RankEach(t.Context(), e, EachHorn, Question{Horns: hs, Mouthpieces: ms}); catalog.KindOf(err) != catalog.Invalid {
		t.Errorf("lists for each: %v", err)
	}
}
