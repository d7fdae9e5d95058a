package match

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// tellingEngine owes its predictions to sessions as it is told.
type tellingEngine struct {
	*fakeEngine
	found fit.Influences
	// What each of them moves and widens.
	shift, wide []vector
}

func (e tellingEngine) Influences(_ context.Context, _ catalog.Store, _ fit.Setup, slots []pitch.Slot, _ catalog.Counter) (*fit.Influences, error) {
	for i := range e.found.List {
		wide := make([]float64, len(slots))
		for j, s := range slots {
			e.found.List[i].Shift = append(e.found.List[i].Shift, e.shift[i](s))
			wide[j] = e.wide[i](s)
		}
		e.found.List[i].Widening = [][]float64{wide}
	}
	return &e.found, e.fail
}

// logbook knows who measured what.
type logbook struct {
	catalog.Store
	sessions []catalog.Session
}

func (l logbook) Session(_ context.Context, name string) (catalog.Session, error) {
	for _, s := range l.sessions {
		if s.Name == name {
			return s, nil
		}
	}
	return catalog.Session{}, catalog.Errorf(catalog.NotFound, "", "no session %s", name)
}

func (logbook) Horns(context.Context, bool) ([]catalog.Horn, error) {
	return []catalog.Horn{alder()}, nil
}

func (logbook) Mouthpieces(context.Context, bool) ([]catalog.Mouthpiece, error) {
	return []catalog.Mouthpiece{mouthpiece("Plover 16.2")}, nil
}

func (logbook) Players(context.Context, bool) ([]catalog.Player, error) {
	return []catalog.Player{{ID: "p", Label: "blue-kite"}}, nil
}

// Alder with Plover leaves G4 4 sharp and G5 4 flat, in every draw. Without the
// first session it would be 6 and -6; without the second as it is, but uncertain
// by 3 and -3; the others change nothing.
func TestInfluenceByHand(t *testing.T) {
	ends := func(x float64) vector { return byNote(map[string]float64{"G4": x, "G5": -x}) }
	e := tellingEngine{fakeEngine: &fakeEngine{items: map[catalog.ID]vector{"alder": ends(4)}, draws: 7, sd: 1}}
	e.found = fit.Influences{Whole: true, Sessions: 5, Left: 1, List: []fit.Influence{
		{Session: "nothing", Shared: fit.Shared{Horn: true}}, {Session: "far off"},
		{Session: "wide", Shared: fit.Shared{MouthpieceDesign: true}},
		{Session: "shift", Readings: 31, Shared: fit.Shared{Horn: true, Player: true}},
	}}
	e.shift = []vector{nought, ends(0.02), nought, func(s pitch.Slot) float64 { return 5 + ends(2)(s) }} // 5 is the level's
	unsure := func(s pitch.Slot) float64 {                                                               // on the notes that don't count too
		if v := ends(3)(s); v != 0 || s.Note() == 72 {
			return v
		}
		return 3
	}
	e.wide = []vector{nought, nought, unsure, nought}
	book := logbook{sessions: []catalog.Session{
		{Name: "shift", Horn: "alder", Mouthpiece: "Plover 16.2", Player: "p", Contributor: "lamp-keeper", At: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)},
		{Name: "wide", Method: catalog.MethodImpedance}, {Name: "nothing"},
	}}
	x, err := FindInfluence(t.Context(), e, book, Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2")}, threeOpen(), false, catalog.NoCounter{})
	if err != nil {
		t.Fatal(err)
	}
	if len(x.Sessions) != 3 || x.Sessions[0].Session != "shift" || x.Others != 1 || x.NotWeighed != 1 || x.OthersMove == nil {
		t.Fatalf("sessions %+v, %d others, %d not weighed", x.Sessions, x.Others, x.NotWeighed)
	}
	near(t, "what others move", *x.OthersMove, 0.02*math.Sqrt(2/3.), 1e-9)
	first := x.Sessions[0]
	near(t, "profile", first.ProfileMoves, math.Sqrt(8/3.), 1e-9)
	near(t, "error without", first.ErrorWithout, math.Sqrt(72/3.), 1e-9)
	near(t, "error moves", first.ErrorMoves, math.Sqrt(72/3.)-math.Sqrt(32/3.), 1e-9)
	near(t, "the note that moves most", math.Abs(first.Most.Cents), 2, 1e-9)
	if first.Date != "2026-03-01T00:00:00Z" || first.Contributor != "lamp-keeper" || first.Method != "tuner" ||
		first.Horn != "Alder" || first.Player != "blue-kite" || !slices.Equal(first.Shares, []string{"horn", "player"}) {
		t.Errorf("it is described as %+v", first)
	}
	for _, s := range x.Sessions[1:] {
		switch s.Session {
		case "wide":
			near(t, "error of what is uncertain", s.ErrorWithout, math.Sqrt((32+18)/3.), 1e-9)
			near(t, "sd of what is uncertain", s.SDWithout, math.Sqrt(10), 1e-9)
			near(t, "profile of what is uncertain", s.ProfileMoves, 0, 1e-12)
		case "nothing":
			near(t, "error without a session that changes nothing", s.ErrorMoves, 0, 1e-12)
		}
	}
	if words := strings.Join(x.Words(), " "); !strings.Contains(words, "rests most on shift") || !strings.Contains(words, "1 session more") {
		t.Errorf("it says %q", words)
	}
}

// In a large catalog the sessions that share nothing are counted, not looked at.
func TestInfluenceInALargeCatalog(t *testing.T) {
	e := tellingEngine{fakeEngine: &fakeEngine{}, found: fit.Influences{Sessions: 27_000}}
	x, err := FindInfluence(t.Context(), e, logbook{}, Of{Horn: alder(), Mouthpiece: mouthpiece("Plover 16.2")}, threeOpen(), false, catalog.NoCounter{})
	if err != nil {
		t.Fatal(err)
	}
	if x.Others != 27_000 || x.OthersMove != nil || len(x.Sessions) != 0 || x.Sessions == nil {
		t.Errorf("%d others that move it by %v, sessions %v", x.Others, x.OthersMove, x.Sessions)
	}
	if words := x.Words(); !strings.Contains(words[0], "No session shares anything") {
		t.Errorf("it says %q", words)
	}
}
