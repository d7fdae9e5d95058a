package match

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
	"centwise/match/visit"
)

// VisitQuestion asks how to spend an hour among mouthpieces.
type VisitQuestion struct {
	Horn        catalog.Horn
	Now         catalog.Mouthpiece // played now
	Player      catalog.Player
	Stock       []catalog.Mouthpiece // what may be tried; gear of the catalog
	Filter      Filter               // such as comfort and adapters
	Contributor string               // who reads the tuner
	Name        string
	Tries       int // there is strength for
	Minutes     int // there is time for
	Notes       int // that decide
	Rule        visit.Rule
	Control     bool // the own mouthpiece once more, among the others
	Blind       bool
	Seed        uint64
}

// What a try takes, in minutes (common practice, no source): to change and warm to
// a mouthpiece and to rest after it; and a note that is played, read and written.
const (
	minutesToChange = 2.0
	minutesToRest   = 2.0
	minutesPerNote  = 0.15
)

// MinutesPerTry is what a try of so many notes takes, with the rest after it.
func MinutesPerTry(notes int) float64 {
	return minutesToChange + minutesToRest + minutesPerNote*float64(notes*visit.Times)
}

// stockLooked is how many of a stock are looked into, those of least expected
// error: of those beyond 40 none was ever picked in simulated visits.
const stockLooked = 40

// PlanVisit plans a visit. The first result is what is kept in the catalog, the
// second what there is to say of it. Errors: Invalid for budgets that make no
// sense; those of [Rank], and NotFound when the stock has nothing to try.
func PlanVisit(ctx context.Context, e Foresight, q VisitQuestion) (catalog.Visit, *VisitSheet, error) {
	var none catalog.Visit
	if err := q.Check(); err != nil {
		return none, nil, err
	}
	stock, leftOut, err := q.stock(ctx, e)
	if err != nil {
		return none, nil, err
	}
	kept := catalog.Visit{
		ID: catalog.NewID(), Name: q.Name, Horn: q.Horn.ID, Mouthpiece: q.Now.ID, Player: q.Player.ID, Contributor: q.Contributor,
		Times: visit.Times, Tries: q.Tries, Minutes: q.Minutes, Cents: q.Rule.Cents, Chance: q.Rule.Chance,
		Blind: q.Blind, Adapter: q.Filter.Adapter, Seed: int64(q.Seed >> 1),
	}
	for _, m := range stock {
		kept.Candidates = append(kept.Candidates, catalog.VisitCandidate{Mouthpiece: m.ID})
	}
	s, err := openVisit(e, kept, q.Horn, q.Player, append([]catalog.Mouthpiece{q.Now}, stock...))
	if err != nil {
		return none, nil, err
	}
	tries := q.tries()
	if q.Control {
		tries--
	}
	steps := s.visit.Order(nil, nil, tries)
	kept = s.arrange(steps, q)
	kept.Notes = s.decidingNotes(steps, q.Notes)
	s, err = openVisit(e, kept, q.Horn, q.Player, append([]catalog.Mouthpiece{q.Now}, stock...))
	if err != nil {
		return none, nil, err
	}
	sheet := s.sheet(steps)
	sheet.LeftOut = leftOut
	return kept, sheet, nil
}

// Check refuses budgets that make no sense. The error is of kind Invalid.
func (q VisitQuestion) Check() error {
	for _, n := range []struct {
		what        string
		value, most int
	}{{"tries", q.Tries, catalog.MaxTries}, {"minutes", q.Minutes, catalog.MaxVisitMinutes}, {"notes", q.Notes, len(pitch.UsualSlots(pitch.RangeLow, pitch.TopUsual, 3))}} {
		if n.value < 1 || n.value > n.most {
			return catalog.Errorf(catalog.Invalid, fmt.Sprintf("choose 1 to %d", n.most), "a visit can't have %d %s", n.value, n.what)
		}
	}
	if !(q.Rule.Cents >= 0 && q.Rule.Cents < 100 && q.Rule.Chance >= 0 && q.Rule.Chance <= 1) {
		return catalog.Errorf(catalog.Invalid, "use cents from 0 on and a chance from 0 to 100 %", "a visit can't stop at %g cents and a chance of %g", q.Rule.Cents, q.Rule.Chance)
	}
	if q.Control && q.tries() < 2 {
		return catalog.Errorf(catalog.Invalid, fmt.Sprintf("plan two tries and %.0f minutes, or leave the control out", math.Ceil(2*MinutesPerTry(q.Notes))),
			"a control is a try of its own, and there is room for one try only")
	}
	return nil
}

// tries is how many tries there is strength and time for, the control among them.
func (q VisitQuestion) tries() int {
	return min(q.Tries, max(1, int(float64(q.Minutes)/MinutesPerTry(q.Notes))))
}

// stock are the mouthpieces that are looked into, best expected first.
func (q VisitQuestion) stock(ctx context.Context, e Engine) ([]catalog.Mouthpiece, map[string]int, error) {
	others := slices.DeleteFunc(slices.Clone(q.Stock), func(m catalog.Mouthpiece) bool { return m.ID == q.Now.ID })
	if len(others) == 0 {
		return nil, nil, catalog.Errorf(catalog.NotFound, "list what the shop has with --stock FILE, or add mouthpieces first", "there is nothing to try besides %s", q.Now.Label)
	}
	r, err := Rank(ctx, e, Question{FromHorn: &q.Horn, Mouthpieces: others, Player: &q.Player, Filter: q.Filter, NoSupport: true, Limit: stockLooked})
	if err != nil {
		return nil, nil, fmt.Errorf("looking for what to try: %w", err)
	}
	byLabel := map[string]catalog.Mouthpiece{}
	for _, m := range others {
		byLabel[m.Label] = m
	}
	var out []catalog.Mouthpiece
	for _, p := range r.Pairings {
		out = append(out, byLabel[p.Mouthpiece])
	}
	return out, r.LeftOut, nil
}

// arrange puts the candidates of the kept visit into the order of the plan, with
// the control in the middle of it, and gives them letters in an order that tells
// nothing.
func (s *visitState) arrange(steps []visit.Step, q VisitQuestion) catalog.Visit {
	v := s.kept
	var order []catalog.VisitCandidate
	for _, step := range steps {
		order = append(order, catalog.VisitCandidate{Mouthpiece: s.mouthpieces[step.Setup].ID})
	}
	inPlan := slices.Clone(order)
	if q.Control && len(steps) > 0 {
		order = slices.Insert(order, (len(order)+1)/2, catalog.VisitCandidate{Mouthpiece: v.Mouthpiece})
	}
	v.Planned = len(order)
	for _, c := range v.Candidates {
		if !slices.Contains(inPlan, c) {
			order = append(order, c)
		}
	}
	rng := rand.New(rand.NewPCG(q.Seed, 0x6c657474657273))
	letter := func(from, count int) {
		for i, k := range rng.Perm(count) {
			order[from+i].Code = catalog.CandidateCode(from + k)
		}
	}
	letter(0, v.Planned)
	letter(v.Planned, len(order)-v.Planned)
	v.Candidates = order
	return v
}

// visitState is a visit as far as it has come.
type visitState struct {
	kept        catalog.Visit
	horn        catalog.Horn
	player      catalog.Player
	mouthpieces []catalog.Mouthpiece // by setup, the present one first
	plan        plan
	joint       *fit.Joint
	visit       *visit.Visit
	before      []visit.Standing // as it began
	notes       []int            // places of the kept notes
	setups      map[string]int   // by code
	codes       map[int]string   // by setup; the control's under 0
	tried       []int            // setups in the order in which they were first read
}

// openVisit begins a kept visit, before any of its lines. Mouthpieces hold the
// present one and then all candidates but the control, in any order: they are
// sorted, so that the possible worlds do not depend on it.
func openVisit(e Foresight, kept catalog.Visit, h catalog.Horn, p catalog.Player, mouthpieces []catalog.Mouthpiece) (*visitState, error) {
	mouthpieces = slices.Clone(mouthpieces)
	slices.SortFunc(mouthpieces[1:], func(a, b catalog.Mouthpiece) int { return cmp.Compare(a.ID, b.ID) })
	s := &visitState{kept: kept, horn: h, player: p, mouthpieces: mouthpieces, setups: map[string]int{}, codes: map[int]string{}}
	var err error
	if s.plan, err = (Criteria{}).For(&p).plan(h, answers(e), false); err != nil {
		return nil, err
	}
	var setups []fit.Setup
	for i, m := range mouthpieces {
		setups = append(setups, fit.Setup{Horn: h.ID, Mouthpiece: m.ID, Player: p.ID})
		for _, c := range kept.Candidates {
			if c.Mouthpiece == m.ID {
				s.setups[c.Code], s.codes[i] = i, c.Code
			}
		}
	}
	slots := s.plan.problem.Slots()
	if s.joint, err = e.Joint(setups, slots); err != nil {
		return nil, fmt.Errorf("working out what is known of the stock: %w", err)
	}
	law, err := e.SessionLaw(slots, fit.Source{Contributor: kept.Contributor, Method: catalog.MethodTuner})
	if err != nil {
		return nil, err
	}
	for _, slot := range kept.Notes {
		if at := slices.Index(slots, slot); at >= 0 {
			s.notes = append(s.notes, at)
		}
	}
	s.visit = visit.Open(s.joint, law, s.plan.problem, uint64(kept.Seed))
	s.before = s.visit.Standings()
	return s, nil
}

// decidingNotes are chosen for the candidates of the plan, or of the top where
// the plan is short, and put in order from low to high so that they are easily
// played.
func (s *visitState) decidingNotes(steps []visit.Step, count int) []pitch.Slot {
	const least = 12
	more := s.visit.Order(nil, nil, least)
	var setups []int
	for _, step := range append(slices.Clone(steps), more...) {
		if !slices.Contains(setups, step.Setup) {
			setups = append(setups, step.Setup)
		}
	}
	if len(setups) == 0 {
		setups = []int{0}
	}
	notes := s.visit.Notes(setups, count)
	slices.Sort(notes)
	var out []pitch.Slot
	for _, j := range notes {
		out = append(out, s.plan.problem.Slots()[j])
	}
	return out
}
