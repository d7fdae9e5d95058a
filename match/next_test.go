package match

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// foreseeing is a fakeEngine whose worlds are told share by share.
type foreseeing struct {
	*fakeEngine
	parts []fit.Part
}

func (e foreseeing) Parts() []fit.Part { return e.parts }

func (e foreseeing) SessionLaw(slots []pitch.Slot, _ fit.Source) (fit.SessionLaw, error) {
	return fit.SessionLaw{Day: make([]float64, len(slots)*len(slots)), ReadingSD: 1e-3, GrossFactor: 6}, nil
}

func (e foreseeing) Joint(setups []fit.Setup, slots []pitch.Slot) (*fit.Joint, error) {
	j := &fit.Joint{Slots: slots, Draws: e.draws}
	at := map[catalog.ID]int{}
	for _, s := range setups {
		p, err := e.Predict(s, slots)
		if err != nil {
			return nil, err
		}
		x := fit.JointSetup{Setup: s, Mean: p.Mean, Linked: p.Linked, Evidence: p.Evidence}
		for _, id := range []catalog.ID{s.Horn, s.Mouthpiece} {
			if _, known := at[id]; !known {
				at[id] = len(j.Shares)
				deviations := make([]float64, e.draws*len(slots))
				for k, world := range e.worlds[id] {
					for q, slot := range slots {
						deviations[k*len(slots)+q] = world(slot)
					}
				}
				j.Shares = append(j.Shares, fit.JointShare{Item: at[id], Deviations: deviations})
			}
			x.Shares = append(x.Shares, at[id])
		}
		j.Setups = append(j.Setups, x)
	}
	return j, nil
}

// tilted is a profile of the notes G4, C5, G5: up by size, nought, down by size.
func tilted(size float64) vector { return byNote(map[string]float64{"G4": size, "G5": -size}) }

// twoContenders are a mouthpiece that is well known, and another of which the
// size of the tilt has a standard deviation of 1 cent.
func twoContenders() foreseeing {
	const draws = 400
	e := &fakeEngine{draws: draws, items: map[catalog.ID]vector{"known": tilted(8.5), "doubtful": tilted(9)}, worlds: map[catalog.ID][]vector{}}
	for k := range draws {
		e.worlds["doubtful"] = append(e.worlds["doubtful"], tilted(distuv.UnitNormal.Quantile((float64(k)+0.5)/draws)))
	}
	return foreseeing{fakeEngine: e}
}

func choiceOfTwo() NextQuestion {
	both := []catalog.Mouthpiece{mouthpiece("known"), mouthpiece("doubtful")}
	return NextQuestion{
		Choices: []Choice{{Horn: alder(), Mouthpieces: both, Criteria: threeOpen()}},
		Horns:   []catalog.Horn{alder()}, Mouthpieces: both,
	}
}

// Of two contenders, one known and one with a normal error, knowing it is worth
// s phi(d/s) - d Phi(-d/s), d the difference of the expected errors (the expected
// value of perfect information of a two-way choice; Raiffa & Schlaifer 1961, from
// memory). The error of a tilt of x is x sqrt(2/3).
func TestNextOfTwoContendersExactly(t *testing.T) {
	n, err := SuggestNext(context.Background(), twoContenders(), choiceOfTwo())
	if err != nil {
		t.Fatal(err)
	}
	s := math.Sqrt(2.0 / 3)
	d := s * (math.Sqrt(9*9+1) - 8.5)
	want := s*distuv.UnitNormal.Prob(d/s) - d*distuv.UnitNormal.CDF(-d/s)
	first := n.Sessions[0]
	if first.Mouthpiece != "doubtful" || first.ForHorn != "Alder" || first.Rank != 1 {
		t.Errorf("first comes %+v", first)
	}
	if !(first.Doubt > 0 && first.Doubt < 0.03) {
		t.Errorf("doubt %g", first.Doubt)
	}
	near(t, "the saving", first.SavesCents, want, 3*first.Doubt)
	near(t, "the chance of another choice", first.Chance, distuv.UnitNormal.CDF(-d/s), 0.05)
	near(t, "the regret", n.RegretCents, want, 3*first.Doubt)
	near(t, "what the known one teaches", n.Sessions[1].SavesCents, 0, 1e-9)
	if c := n.Choices[0]; c.Best != "known" || c.Contenders != 2 {
		t.Errorf("the choice stands at %+v", c)
	}
	if words := strings.Join(n.Words(), " "); !strings.Contains(words, "Measure Alder with doubtful next") {
		t.Errorf("it says: %s", words)
	}
}

func TestNextIsTheSameAgain(t *testing.T) {
	var got []NextSession
	for range 2 {
		n, err := SuggestNext(context.Background(), twoContenders(), choiceOfTwo())
		if err != nil {
			t.Fatal(err)
		}
		if got != nil && !slices.Equal(got, n.Sessions) {
			t.Errorf("%+v, then %+v", got, n.Sessions)
		}
		got = n.Sessions
	}
}

// The session that links is the one of the best known horn of the largest part
// with the best known mouthpiece of the next that fits and is at hand.
func TestNextNamesTheSessionThatLinks(t *testing.T) {
	e := twoContenders()
	cornet := mouthpiece("of a cornet")
	cornet.Shank = catalog.ShankCornet
	item := func(label string) fit.Item { return fit.Item{ID: catalog.ID(label), Label: label} }
	e.parts = []fit.Part{
		{Sessions: 9, Horns: []fit.Item{item("elsewhere"), item("alder")}, Mouthpieces: []fit.Item{item("known")}},
		{Sessions: 4, Horns: []fit.Item{item("far")}, Mouthpieces: []fit.Item{item("of a cornet"), item("doubtful")}},
	}
	q := choiceOfTwo()
	q.Mouthpieces = append(q.Mouthpieces, cornet)
	n, err := SuggestNext(context.Background(), e, q)
	if err != nil {
		t.Fatal(err)
	}
	if want := (Link{"Alder", "doubtful", 9, 4}); n.Link == nil || *n.Link != want {
		t.Errorf("link %+v, want %+v", n.Link, want)
	}
	if n.LeftOut["shank does not fit the receiver"] != 1 || n.Considered != 2 {
		t.Errorf("considered %d, left out %v", n.Considered, n.LeftOut)
	}
}

// Where the gear allows too many sessions, those with contenders are looked into,
// no more than asked for.
func TestNextLooksIntoTheLikely(t *testing.T) {
	q := choiceOfTwo()
	for range 40 {
		q.Horns = append(q.Horns, horn("Horn "+strings.Repeat("x", len(q.Horns))))
	}
	q.Sessions, q.Limit = 7, 3
	n, err := SuggestNext(context.Background(), twoContenders(), q)
	if err != nil {
		t.Fatal(err)
	}
	if n.Considered != 7 || len(n.Sessions) != 3 || n.Sessions[0].Mouthpiece != "doubtful" || n.Sessions[0].Horn != "Alder" {
		t.Errorf("considered %d, sessions %+v", n.Considered, n.Sessions)
	}
}

func TestNextWithoutAChoice(t *testing.T) {
	if _, err := SuggestNext(context.Background(), twoContenders(), NextQuestion{}); catalog.KindOf(err) != catalog.NotFound {
		t.Errorf("no choice at all: %v", err)
	}
	q := choiceOfTwo()
	q.Choices[0].Mouthpieces = q.Choices[0].Mouthpieces[:1]
	if _, err := SuggestNext(context.Background(), twoContenders(), q); catalog.KindOf(err) != catalog.NotFound {
		t.Errorf("nothing to choose from: %v", err)
	}
}

// Each player's choice is for the horn of the latest session; loaners count for a
// typical player.
func TestUsualChoices(t *testing.T) {
	lent := horn("Lent")
	lent.Loaner = true
	players := []catalog.Player{{ID: "a", Label: "a"}, {ID: "b", Label: "b"}, {ID: "c", Label: "c"}}
	session := func(player, horn catalog.ID) catalog.SessionSummary {
		return catalog.SessionSummary{Session: catalog.Session{Player: player, Horn: horn}}
	}
	list, more := UsualChoices([]catalog.Horn{alder(), lent}, nil, players,
		[]catalog.SessionSummary{session("a", "Lent"), session("b", "Lent"), session("a", "alder"), session("c", "sold")})
	var got []string
	for _, c := range list {
		name := c.Horn.Label
		if c.Player != nil {
			name += " " + c.Player.Label
		}
		got = append(got, name)
	}
	if want := []string{"Lent", "Alder a", "Lent b"}; !slices.Equal(got, want) || more != 0 {
		t.Errorf("%v and %d more, want %v", got, more, want)
	}
	var many []catalog.Horn
	for range 25 {
		h := horn("L" + strings.Repeat("x", len(many)))
		h.Loaner = true
		many = append(many, h)
	}
	if list, more := UsualChoices(many, nil, nil, nil); len(list) != 20 || more != 5 {
		t.Errorf("%d choices and %d more", len(list), more)
	}
}
