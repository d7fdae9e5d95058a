package match

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// Taught asks what a session taught: what is known of its setup, and how
// mouthpieces rank for its horn, before and after it.
type Taught struct {
	Horn        catalog.Horn
	Mouthpiece  catalog.Mouthpiece
	Player      *catalog.Player // nil = a typical player
	Mouthpieces []catalog.Mouthpiece
	Adapter     bool // let shanks and receivers differ
}

// Lesson is what a session taught.
type Lesson struct {
	Horn       string    `json:"horn"`
	Mouthpiece string    `json:"mouthpiece"`
	Player     string    `json:"player,omitempty"`
	Before     Knowledge `json:"before"`
	After      Knowledge `json:"after"`
	// ChangeCents is how far the expected profile moved: the root mean square
	// over the notes.
	ChangeCents float64 `json:"change_cents"`
	Ranked      int     `json:"ranked"` // mouthpieces that were ranked for the horn
	// Moved are the mouthpieces that have another rank for the horn, those near
	// the top first.
	Moved []Move `json:"moved"`
}

// Knowledge is what is known of a setup.
type Knowledge struct {
	// IntervalCents is the half width of the 80 % interval of a note, the mean
	// over the notes.
	IntervalCents      float64   `json:"interval_cents"`
	PairSessions       int       `json:"pair_sessions"`
	HornSessions       int       `json:"horn_sessions"`
	MouthpieceSessions int       `json:"mouthpiece_sessions"`
	Basis              fit.Basis `json:"basis"`
	Linked             bool      `json:"linked"`
}

// Move is a mouthpiece that has another rank.
type Move struct {
	Mouthpiece  string  `json:"mouthpiece"`
	From        int     `json:"from"`
	To          int     `json:"to"`
	ErrorBefore float64 `json:"error_before"`
	ErrorAfter  float64 `json:"error_after"`
}

// Standing is what an engine knows of a question, taken down so that the engine
// may go: another fit of the catalog takes the place of the one before.
type Standing struct {
	setup   fit.Prediction
	ranking *Ranking
}

// Stand takes down what an engine knows of a question. Errors are those of
// [Rank] and of the engine.
func Stand(ctx context.Context, e Engine, q Taught) (*Standing, error) {
	p, err := q.predict(e)
	if err != nil {
		return nil, fmt.Errorf("predicting the setup: %w", err)
	}
	r, err := Rank(ctx, e, Question{FromHorn: &q.Horn, Mouthpieces: q.Mouthpieces, Player: q.Player, Filter: Filter{Adapter: q.Adapter}, NoSupport: true})
	if err != nil {
		return nil, err
	}
	return &Standing{p, r}, nil
}

// Learn compares what was known of a question before a session with what is
// known after it.
func Learn(before, after *Standing, q Taught) *Lesson {
	l := &Lesson{Horn: q.Horn.Label, Mouthpiece: q.Mouthpiece.Label, Before: knowledge(before.setup), After: knowledge(after.setup)}
	if q.Player != nil {
		l.Player = q.Player.Label
	}
	was := map[pitch.Slot]float64{}
	for j, slot := range before.setup.Slots {
		was[slot] = before.setup.Mean[j]
	}
	n := 0
	for j, slot := range after.setup.Slots {
		if old, ok := was[slot]; ok {
			n++
			l.ChangeCents += (after.setup.Mean[j] - old) * (after.setup.Mean[j] - old)
		}
	}
	l.ChangeCents = math.Sqrt(l.ChangeCents / float64(max(1, n)))
	l.compareRanks(before.ranking, after.ranking)
	return l
}

// predict asks for the notes by which setups with the horn are judged.
func (q Taught) predict(e Engine) (fit.Prediction, error) {
	plan, err := Criteria{}.For(q.Player).plan(q.Horn, answers(e), false)
	if err != nil {
		return fit.Prediction{}, err
	}
	s := fit.Setup{Horn: q.Horn.ID, Mouthpiece: q.Mouthpiece.ID}
	if q.Player != nil {
		s.Player = q.Player.ID
	}
	p, err := e.Predict(s, plan.slots)
	if err == nil {
		err = usable([]fit.Prediction{p}, 1, len(plan.slots))
	}
	return p, err
}

func knowledge(p fit.Prediction) Knowledge {
	k := Knowledge{
		PairSessions: p.Evidence.Pair, HornSessions: p.Evidence.Horn, MouthpieceSessions: p.Evidence.Mouthpiece,
		Basis: p.Evidence.Basis, Linked: p.Linked,
	}
	for _, sd := range p.SD {
		k.IntervalCents += z80 * sd / float64(len(p.SD))
	}
	return k
}

func (l *Lesson) compareRanks(was, is *Ranking) {
	l.Ranked, l.Moved = is.Considered, []Move{}
	old := map[string]Pairing{}
	for _, p := range was.Pairings {
		old[p.Mouthpiece] = p
	}
	for _, p := range is.Pairings {
		if o, ok := old[p.Mouthpiece]; ok && o.Rank != p.Rank {
			l.Moved = append(l.Moved, Move{p.Mouthpiece, o.Rank, p.Rank, o.ErrorCents, p.ErrorCents})
		}
	}
	slices.SortStableFunc(l.Moved, func(a, b Move) int {
		return cmp.Or(cmp.Compare(min(a.From, a.To), min(b.From, b.To)), cmp.Compare(a.To, b.To), cmp.Compare(a.Mouthpiece, b.Mouthpiece))
	})
}

// widerBy is how much wider an interval has to be to be called so.
const widerBy = 1.02

// shownMoves is how many moves the sentences name, all of them within the first
// shownRanks before or after.
const shownMoves, shownRanks = 5, 10

// Words say the lesson in plain sentences.
func (l *Lesson) Words() []string {
	setup := l.Horn + " with " + l.Mouthpiece
	if l.Player != "" {
		setup += " played by " + l.Player
	}
	out := []string{fmt.Sprintf("What is expected of %s is known to within %.1f cents a note now (80 %% interval), %.1f before; it moved by %.1f cents on a typical note.",
		setup, l.After.IntervalCents, l.Before.IntervalCents, l.ChangeCents)}
	if l.After.IntervalCents > widerBy*l.Before.IntervalCents {
		out = append(out, "The interval is wider than before: the session showed that notes vary more than was taken for usual.")
	}
	out = append(out, l.evidenceWords())
	return append(out, l.moveWords()...)
}

func (l *Lesson) evidenceWords() string {
	a := l.After
	text := fmt.Sprintf("It rests on %s with both, %d with the horn and %d with the mouthpiece.", Count(a.PairSessions, "session"), a.HornSessions, a.MouthpieceSessions)
	switch {
	case !a.Linked:
		text += " Horn and mouthpiece are still not linked by a chain of sessions."
	case !l.Before.Linked:
		text += " Horn and mouthpiece were not linked by any chain of sessions before; now they are."
	}
	return text
}

func (l *Lesson) moveWords() []string {
	if l.Ranked < 2 {
		return nil
	}
	if len(l.Moved) == 0 {
		return []string{fmt.Sprintf("The order of the %d mouthpieces for %s is as it was.", l.Ranked, l.Horn)}
	}
	var parts []string
	for _, m := range l.Moved {
		if min(m.From, m.To) <= shownRanks && len(parts) < shownMoves {
			parts = append(parts, fmt.Sprintf("%s from %d to %d", m.Mouthpiece, m.From, m.To))
		}
	}
	have := "have"
	if len(l.Moved) == 1 {
		have = "has"
	}
	text := fmt.Sprintf("Of %d mouthpieces for %s, %d %s another rank", l.Ranked, l.Horn, len(l.Moved), have)
	switch {
	case len(parts) == 0:
		return []string{text + fmt.Sprintf(", none of them among the first %d.", shownRanks)}
	case len(parts) < len(l.Moved):
		text += ", among them "
	default:
		text += ": "
	}
	return []string{text + joinAnd(parts) + "."}
}
