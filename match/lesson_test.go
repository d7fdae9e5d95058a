package match

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"

	"centwise/catalog"
	"centwise/match/fit"
)

// lessonWorlds are what is known before and after a session of Alder with
// Plover: it was taken for sharp on some notes, and is in tune.
func lessonWorlds() (before, after *fakeEngine, q Taught) {
	horn := catalog.Horn{ID: catalog.NewID(), Label: "Alder"}
	horn.Normalize()
	q = Taught{Horn: horn}
	for _, label := range []string{"Dunlin", "Knot", "Plover"} {
		m := catalog.Mouthpiece{ID: catalog.NewID(), Label: label}
		m.Normalize()
		q.Mouthpieces = append(q.Mouthpieces, m)
	}
	q.Mouthpiece = q.Mouthpieces[2]
	// Not what a slide or a throw could take away.
	bump := func(size float64) vector { return byNote(map[string]float64{"D5": size, "E5": -size}) }
	engine := func(plover, sd float64, e fit.Evidence) *fakeEngine {
		return &fakeEngine{sd: sd, draws: 1, evidence: func(fit.Setup) fit.Evidence { return e }, items: map[catalog.ID]vector{
			q.Mouthpieces[0].ID: bump(10), q.Mouthpieces[1].ID: bump(20), q.Mouthpieces[2].ID: bump(plover)}}
	}
	before = engine(40, 8, fit.Evidence{Horn: 2, Mouthpiece: 1, Basis: fit.BasisMeasured})
	after = engine(0, 3, fit.Evidence{Pair: 1, Horn: 3, Mouthpiece: 2, Basis: fit.BasisMeasured})
	return before, after, q
}

// learn compares two engines.
func learn(before, after Engine, q Taught) (*Lesson, error) {
	was, err := Stand(context.Background(), before, q)
	if err != nil {
		return nil, err
	}
	is, err := Stand(context.Background(), after, q)
	if err != nil {
		return nil, err
	}
	return Learn(was, is, q), nil
}

func TestLearn(t *testing.T) {
	before, after, q := lessonWorlds()
	l, err := learn(before, after, q)
	if err != nil {
		t.Fatal(err)
	}
	// 1.2815515655 standard deviations bound 80 % (normal tables).
	if math.Abs(l.Before.IntervalCents-1.2815515655*8) > 1e-6 || math.Abs(l.After.IntervalCents-1.2815515655*3) > 1e-6 {
		t.Errorf("intervals %v and %v", l.Before.IntervalCents, l.After.IntervalCents)
	}
	// Two of 31 notes moved by 40 cents.
	if want := math.Sqrt(2 * 40 * 40 / 31.0); math.Abs(l.ChangeCents-want) > 1e-9 {
		t.Errorf("change %v, want %v", l.ChangeCents, want)
	}
	if l.Before.PairSessions != 0 || l.After.PairSessions != 1 || l.After.HornSessions != 3 || l.Ranked != 3 {
		t.Errorf("%+v", l)
	}
	var moves []string
	for _, m := range l.Moved {
		moves = append(moves, m.Mouthpiece)
		if m.Mouthpiece == "Plover" && (m.From != 3 || m.To != 1 || m.ErrorBefore <= m.ErrorAfter) {
			t.Errorf("%+v", m)
		}
	}
	if got := strings.Join(moves, " "); got != "Plover Dunlin Knot" {
		t.Errorf("moved: %s", got)
	}
	text := strings.Join(l.Words(), " ")
	for _, want := range []string{"within 3.8 cents a note now", "10.3 before", "moved by 10.2", "1 session with both, 3 with the horn and 2 with the mouthpiece",
		"3 have another rank: Plover from 3 to 1, Dunlin from 1 to 2 and Knot from 2 to 3"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in %s", want, text)
		}
	}
}

func TestLearnWords(t *testing.T) {
	before, after, q := lessonWorlds()
	if l, err := learn(after, after, q); err != nil || !strings.Contains(strings.Join(l.Words(), " "), "The order of the 3 mouthpieces for Alder is as it was.") {
		t.Errorf("%v, error %v", l, err)
	}
	before.unlinked = map[catalog.ID]bool{q.Horn.ID: true}
	if l, err := learn(before, after, q); err != nil || !strings.Contains(strings.Join(l.Words(), " "), "before; now they are") {
		t.Errorf("%v, error %v", l, err)
	}
	if l, err := learn(before, before, q); err != nil || !strings.Contains(strings.Join(l.Words(), " "), "still not linked") {
		t.Errorf("%v, error %v", l, err)
	}
	if l, err := learn(after, before, q); err != nil || !strings.Contains(strings.Join(l.Words(), " "), "The interval is wider than before") {
		t.Errorf("%v, error %v", l, err)
	}
	l := &Lesson{Horn: "Alder", Ranked: 40, Moved: []Move{{Mouthpiece: "Knot", From: 31, To: 30}}}
	if text := strings.Join(l.moveWords(), " "); !strings.Contains(text, "1 has another rank, none of them among the first 10") {
		t.Error(text)
	}
}

func TestStandFails(t *testing.T) {
	before, _, q := lessonWorlds()
	before.fail = errors.New("no engine")
	if _, err := Stand(context.Background(), before, q); !errors.Is(err, before.fail) || !strings.Contains(err.Error(), "setup") {
		t.Error(err)
	}
	before.fail = nil
	q.Mouthpieces = nil
	if _, err := Stand(context.Background(), before, q); catalog.KindOf(err) != catalog.NotFound {
		t.Error(err)
	}
}
