package match

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/belief"
	"centwise/match/fit"
)

// NextQuestion asks which session would teach most.
type NextQuestion struct {
	// Choices are what people want to decide. Regret is counted over all of them,
	// each alike.
	Choices []Choice
	// Horns, Mouthpieces and Players are at hand for a session. Without players
	// a typical one is taken to play.
	Horns       []catalog.Horn
	Mouthpieces []catalog.Mouthpiece
	Players     []catalog.Player
	Adapter     bool // let shanks and receivers differ
	// Sessions is how many sessions are looked into at most; 0 = usualProposals.
	// Of more, those that touch the contenders of the most doubtful choices are.
	Sessions int
	Limit    int // keep the first so many; 0 = all
	Progress catalog.Counter
}

// Choice is one decision: the mouthpiece for a horn and a player.
type Choice struct {
	Horn        catalog.Horn
	Player      *catalog.Player      // nil = a typical player
	Mouthpieces []catalog.Mouthpiece // to choose from
	Criteria    Criteria
	Filter      Filter
}

// Next is the answer.
type Next struct {
	// RegretCents is what the choices together are expected to lose to the best
	// ones, which nobody knows: what sessions can save at most.
	RegretCents float64        `json:"regret_cents"`
	Choices     []ChoiceState  `json:"choices"`
	Sessions    []NextSession  `json:"sessions"` // the most useful first
	Considered  int            `json:"considered"`
	LeftOut     map[string]int `json:"left_out,omitempty"`
	// Link is the session that would join the two largest unlinked parts of the
	// catalog, if there are such parts and the gear is at hand.
	Link  *Link    `json:"link,omitempty"`
	Parts int      `json:"parts"`
	Notes []string `json:"notes,omitempty"`
}

// ChoiceState is how a choice stands.
type ChoiceState struct {
	Horn       string  `json:"horn"`
	Player     string  `json:"player,omitempty"` // empty = a typical player
	Best       string  `json:"best"`             // as far as is known
	ErrorCents float64 `json:"error_cents"`
	ChanceBest float64 `json:"chance_best"`
	Contenders int     `json:"contenders"` // mouthpieces that may still be the best
	// RegretCents is what taking Best is expected to lose to the best one.
	RegretCents float64 `json:"regret_cents"`
}

// NextSession is a session that could be measured next.
type NextSession struct {
	Rank       int    `json:"rank"`
	Horn       string `json:"horn"`
	Mouthpiece string `json:"mouthpiece"`
	Player     string `json:"player,omitempty"`
	// SavesCents is by how much it is expected to make the choices better, all
	// together; Doubt is the standard error of that number by the
	// finite number of made-up outcomes.
	SavesCents float64 `json:"saves_cents"`
	Doubt      float64 `json:"doubt_cents"`
	// Chance is the chance that some choice is another one afterwards.
	Chance float64 `json:"chance_changes"`
	// For is the choice that gains most.
	ForHorn   string  `json:"for_horn"`
	ForPlayer string  `json:"for_player,omitempty"`
	ForCents  float64 `json:"for_cents"`
	// What is known of the setup: sessions with both, with each.
	PairSessions       int       `json:"pair_sessions"`
	HornSessions       int       `json:"horn_sessions"`
	MouthpieceSessions int       `json:"mouthpiece_sessions"`
	Basis              fit.Basis `json:"basis"`
	Linked             bool      `json:"linked"`
}

// Foresight is an [Engine] that can say what sessions would teach; [fit.Model] is
// one.
type Foresight interface {
	Engine
	Joint(setups []fit.Setup, slots []pitch.Slot) (*fit.Joint, error)
	SessionLaw(slots []pitch.Slot, by fit.Source) (fit.SessionLaw, error)
	Parts() []fit.Part
}

const (
	// contenders is how many mouthpieces of a choice are followed: of those beyond
	// the first dozen hardly any ever wins.
	contenders = 12
	// usualProposals is how many sessions are looked into unless said otherwise.
	usualProposals = 240
	// plannedRounds is how often a session reads each note, as measuring asks for
	// unless told otherwise.
	plannedRounds = 3
)

// SuggestNext finds the session that would most reduce what the choices are
// expected to lose. It works out, for each session, how far its readings can be
// expected to move the expected errors of the contenders, jointly, and from that
// how much better the choices would be made on average over all its outcomes
// (preposterior analysis: Raiffa & Schlaifer 1961, from memory). Errors are taken
// to follow profiles in a straight line near what is expected, which holds where
// uncertainty is small against the error. Errors of the call: those of [Rank].
func SuggestNext(ctx context.Context, e Foresight, q NextQuestion) (*Next, error) {
	if len(q.Choices) == 0 {
		return nil, catalog.Errorf(catalog.NotFound, "say whose choice matters, as in --for-horn Alder, or measure a session first",
			"there is no choice to prepare: no loaner and no player with a session")
	}
	if q.Progress == nil {
		q.Progress = catalog.NoCounter{}
	}
	f := &foresight{q: q, e: e}
	if err := f.rankChoices(ctx); err != nil {
		return nil, err
	}
	if len(f.choices) == 0 {
		return nil, catalog.Errorf(catalog.NotFound, "add gear first, or loosen the filters", "no choice has two mouthpieces to choose from")
	}
	f.propose()
	out := &Next{Considered: len(f.proposals), Sessions: []NextSession{}, LeftOut: f.leftOut}
	if err := f.value(ctx, out); err != nil {
		return nil, err
	}
	slices.SortStableFunc(out.Sessions, func(a, b NextSession) int {
		return cmp.Or(cmp.Compare(b.SavesCents, a.SavesCents), compareLabels(a.Horn, b.Horn), compareLabels(a.Mouthpiece, b.Mouthpiece), compareLabels(a.Player, b.Player))
	})
	if q.Limit > 0 && len(out.Sessions) > q.Limit {
		out.Sessions = out.Sessions[:q.Limit]
	}
	for i := range out.Sessions {
		out.Sessions[i].Rank = i + 1
	}
	f.link(out)
	out.Notes = f.notes(out)
	return out, nil
}

// foresight is one answer in the making.
type foresight struct {
	q         NextQuestion
	e         Foresight
	choices   []*standingChoice
	undecided int // choices with fewer than two mouthpieces
	proposals []fit.Setup
	likeliest bool // proposals are not all that may be
	leftOut   map[string]int
	labels    map[catalog.ID]string
}

// standingChoice is a choice with its contenders, the best first.
type standingChoice struct {
	Choice
	plan     plan
	pairings []Pairing
	gear     []catalog.Mouthpiece // of the pairings
	setups   []int                // of the contenders, places in the belief
}

func (c *standingChoice) playerID() catalog.ID {
	if c.Player == nil {
		return ""
	}
	return c.Player.ID
}

// rankChoices finds the contenders of every choice.
func (f *foresight) rankChoices(ctx context.Context) error {
	f.q.Progress.Start("ranking for each choice", int64(len(f.q.Choices)))
	defer f.q.Progress.Done()
	for _, c := range f.q.Choices {
		f.q.Progress.Add(1)
		c.Criteria = c.Criteria.For(c.Player)
		r, err := Rank(ctx, f.e, Question{FromHorn: &c.Horn, Mouthpieces: c.Mouthpieces, Player: c.Player,
			Criteria: c.Criteria, Filter: c.Filter, NoSupport: true, Limit: contenders})
		if catalog.KindOf(err) == catalog.NotFound || err == nil && len(r.Pairings) < 2 {
			f.undecided++
			continue
		}
		if err != nil {
			return fmt.Errorf("ranking for %s: %w", c.Horn.Label, err)
		}
		p, err := c.Criteria.plan(c.Horn, answers(f.e), false)
		if err != nil {
			return err
		}
		s := &standingChoice{Choice: c, plan: p, pairings: r.Pairings}
		byLabel := map[string]catalog.Mouthpiece{}
		for _, m := range c.Mouthpieces {
			byLabel[m.Label] = m
		}
		for _, x := range r.Pairings {
			s.gear = append(s.gear, byLabel[x.Mouthpiece])
		}
		f.choices = append(f.choices, s)
	}
	return nil
}

// value works out what every proposal would save.
func (f *foresight) value(ctx context.Context, out *Next) error {
	slots := f.slots()
	setups, first := f.setups()
	j, err := f.e.Joint(setups, slots)
	if err != nil {
		return fmt.Errorf("working out what sessions would teach: %w", err)
	}
	common, err := f.e.SessionLaw(slots, fit.Source{})
	if err != nil {
		return err
	}
	v := f.newValuer(belief.New(j), belief.NewLaw(common, slots), slots)
	for _, c := range f.choices {
		s := v.state(c)
		out.Choices = append(out.Choices, s)
		out.RegretCents += s.RegretCents
	}
	out.Sessions = make([]NextSession, len(f.proposals))
	f.q.Progress.Start("looking into sessions", int64(len(f.proposals)))
	defer f.q.Progress.Done()
	onCores(len(f.proposals), func() func(i int) {
		return func(i int) {
			if ctx.Err() == nil {
				out.Sessions[i] = f.describe(j.Setups[first+i], v.session(first+i))
				f.q.Progress.Add(1)
			}
		}
	})
	return ctx.Err()
}

// slots are those by which any choice is judged.
func (f *foresight) slots() []pitch.Slot {
	var out []pitch.Slot
	for _, c := range f.choices {
		for _, s := range c.plan.problem.Slots() {
			if !slices.Contains(out, s) {
				out = append(out, s)
			}
		}
	}
	slices.SortFunc(out, pitch.Slot.Compare)
	return out
}

// setups are the contenders of all choices, each once, and from first on the
// proposals.
func (f *foresight) setups() (list []fit.Setup, first int) {
	at := map[fit.Setup]int{}
	for _, c := range f.choices {
		c.setups = nil
		for _, m := range c.gear {
			s := fit.Setup{Horn: c.Horn.ID, Mouthpiece: m.ID, Player: c.playerID()}
			if _, known := at[s]; !known {
				at[s] = len(list)
				list = append(list, s)
			}
			c.setups = append(c.setups, at[s])
		}
	}
	return append(list, f.proposals...), len(list)
}

func (f *foresight) describe(s fit.JointSetup, v valued) NextSession {
	out := NextSession{
		Horn: f.labels[s.Horn], Mouthpiece: f.labels[s.Mouthpiece], Player: f.labels[s.Player],
		SavesCents: v.saves, Doubt: v.doubt, Chance: v.chance, ForCents: v.most,
		PairSessions: s.Evidence.Pair, HornSessions: s.Evidence.Horn, MouthpieceSessions: s.Evidence.Mouthpiece,
		Basis: s.Evidence.Basis, Linked: s.Linked,
	}
	c := f.choices[v.choice]
	out.ForHorn = c.Horn.Label
	if c.Player != nil {
		out.ForPlayer = c.Player.Label
	}
	return out
}
