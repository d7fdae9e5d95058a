package match

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"centwise/catalog"
	"centwise/match/belief"
	"centwise/match/tuning"
	"centwise/match/visit"
)

// VisitProgress is how a visit stands after what was read so far.
type VisitProgress struct {
	Name   string `json:"name"`
	Horn   string `json:"horn"`
	Player string `json:"player"`
	Blind  bool   `json:"blind"`
	// Standings are those of all that was tried and of the present setup, the best
	// first, and behind them what was not tried.
	Standings []VisitStanding `json:"standings"`
	Tried     int             `json:"tried"`
	Pick      string          `json:"pick"` // code or, of what is not blind, label
	PickCode  string          `json:"pick_code,omitempty"`
	// Next is the candidate to try next; empty when the visit may stop.
	Next      string  `json:"next,omitempty"`
	NextCode  string  `json:"next_code,omitempty"`
	NextGain  float64 `json:"next_gain_cents,omitempty"`
	Done      bool    `json:"done"`
	DoneFor   string  `json:"done_for"` // why it may stop, or what speaks against it
	Verdict   string  `json:"verdict"`
	Raw       string  `json:"raw,omitempty"` // the best by the readings alone
	WhyNotRaw string  `json:"why_not_raw,omitempty"`
}

// VisitStanding is one setup of a visit.
type VisitStanding struct {
	Code         string   `json:"code,omitempty"` // empty for what is played now
	Mouthpiece   string   `json:"mouthpiece"`
	Now          bool     `json:"now"`
	Tried        bool     `json:"tried"`
	Readings     int      `json:"readings"`
	RankBefore   int      `json:"rank_before"` // of all of the visit
	RankAfter    int      `json:"rank_after"`
	Before       Expected `json:"before"`
	After        Expected `json:"after"`
	ChanceBetter float64  `json:"chance_better"` // than what is played now
	ChanceBest   float64  `json:"chance_best"`
	// RawCents is the error of the readings by themselves; null where too few notes
	// were read.
	RawCents *float64 `json:"raw_cents"`
}

// FollowVisit works out how a kept visit stands after its lines. Candidates are
// the mouthpieces of the visit's candidates, in their order. The labels of a blind
// visit are only opened if asked. Errors are those of the engine.
func FollowVisit(e Foresight, kept catalog.Visit, h catalog.Horn, now catalog.Mouthpiece, p catalog.Player, candidates []catalog.Mouthpiece, open bool) (*VisitProgress, error) {
	s, err := resumeVisit(e, kept, h, now, p, candidates)
	if err != nil {
		return nil, err
	}
	return s.progress(open), nil
}

// SheetOfVisit lays a kept visit out as it was planned.
func SheetOfVisit(e Foresight, kept catalog.Visit, h catalog.Horn, now catalog.Mouthpiece, p catalog.Player, candidates []catalog.Mouthpiece) (*VisitSheet, error) {
	kept.Lines = nil
	s, err := resumeVisit(e, kept, h, now, p, candidates)
	if err != nil {
		return nil, err
	}
	return s.sheet(s.visit.Order(nil, s.planned, kept.Planned)), nil
}

// planned reports whether a setup is one of the plan.
func (s *visitState) planned(setup int) bool {
	return slices.ContainsFunc(s.kept.Candidates[:s.kept.Planned], func(c catalog.VisitCandidate) bool { return s.setups[c.Code] == setup })
}

// resumeVisit opens a kept visit and takes in its lines, try by try.
func resumeVisit(e Foresight, kept catalog.Visit, h catalog.Horn, now catalog.Mouthpiece, p catalog.Player, candidates []catalog.Mouthpiece) (*visitState, error) {
	mouthpieces := []catalog.Mouthpiece{now}
	for _, m := range candidates {
		if m.ID != now.ID {
			mouthpieces = append(mouthpieces, m)
		}
	}
	s, err := openVisit(e, kept, h, p, mouthpieces)
	if err != nil {
		return nil, err
	}
	for _, l := range kept.Taken() {
		setup := s.setups[l.Code]
		if len(l.Cents) > 0 && !slices.Contains(s.tried, setup) {
			s.tried = append(s.tried, setup)
		}
	}
	for _, setup := range s.tried {
		s.visit.Learn(setup, s.readings(setup))
	}
	return s, nil
}

// readings are those of a setup by place of the slot.
func (s *visitState) readings(setup int) belief.Readings {
	out := belief.Readings{}
	for _, l := range s.kept.Taken() {
		if s.setups[l.Code] == setup && len(l.Cents) > 0 {
			if j := slices.Index(s.plan.problem.Slots(), l.Slot); j >= 0 {
				out[j] = append(out[j], l.Cents...)
			}
		}
	}
	return out
}

func (s *visitState) rule() visit.Rule {
	return visit.Rule{Cents: s.kept.Cents, Chance: s.kept.Chance}
}

// name is what a setup goes by.
func (s *visitState) name(setup int, open bool) string {
	if setup == 0 || open || !s.kept.Blind {
		return s.mouthpieces[setup].Label
	}
	return s.codes[setup]
}

func (s *visitState) progress(open bool) *VisitProgress {
	out := &VisitProgress{Name: s.kept.Name, Horn: s.horn.Label, Player: s.player.Label, Blind: s.kept.Blind && !open, Tried: len(s.tried)}
	s.stand(out, open)
	pick := s.visit.Pick(s.tried)
	out.Pick, out.PickCode = s.name(pick, open), s.codes[pick]
	done, rival, chance := s.visit.Done(s.tried, nil, s.rule())
	full := len(s.tried) >= s.kept.Tries
	out.Done = done || full
	switch {
	case rival < 0:
		out.DoneFor = "everything was tried"
	case done:
		out.DoneFor = fmt.Sprintf("no candidate left has more than a %.0f %% chance of leaving %.1f cents less than %s", 100*s.kept.Chance, s.kept.Cents, out.Pick)
	case full:
		out.DoneFor = fmt.Sprintf("the %s are made; %s would still have a %.0f %% chance of leaving %.1f cents less", counted(s.kept.Tries, "try", "tries"), s.name(rival, open), 100*chance, s.kept.Cents)
	default:
		out.DoneFor = fmt.Sprintf("%s has a %.0f %% chance of leaving %.1f cents less than %s", s.name(rival, open), 100*chance, s.kept.Cents, out.Pick)
	}
	if next := s.visit.Order(s.tried, nil, 1); !out.Done && len(next) > 0 {
		out.Next, out.NextCode, out.NextGain = s.name(next[0].Setup, open), s.codes[next[0].Setup], next[0].GainCents
	}
	s.judge(out, pick, open)
	return out
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// stand fills in the standings.
func (s *visitState) stand(out *VisitProgress, open bool) {
	after := s.visit.Standings()
	rankBefore, rankAfter := ranks(s.before), ranks(after)
	for i := range after {
		x := VisitStanding{
			Code: s.codes[i], Mouthpiece: s.name(i, open), Now: i == 0, Tried: slices.Contains(s.tried, i),
			RankBefore: rankBefore[i], RankAfter: rankAfter[i], Before: expectedOf(s.before[i]), After: expectedOf(after[i]),
			ChanceBest: after[i].ChanceBest,
		}
		if i > 0 {
			x.ChanceBetter = s.visit.Better(i, 0, 0)
		}
		readings := s.readings(i)
		for _, list := range readings {
			x.Readings += len(list)
		}
		x.RawCents = s.raw(readings)
		out.Standings = append(out.Standings, x)
	}
	slices.SortStableFunc(out.Standings, func(a, b VisitStanding) int {
		if known := func(x VisitStanding) bool { return x.Tried || x.Now }; known(a) != known(b) {
			if known(a) {
				return -1
			}
			return 1
		}
		return cmp.Compare(a.RankAfter, b.RankAfter)
	})
}

// ranks count from 1, the least expected error first.
func ranks(list []visit.Standing) []int {
	order := make([]int, len(list))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(list[a].ErrorCents, list[b].ErrorCents) })
	out := make([]int, len(list))
	for rank, i := range order {
		out[i] = rank + 1
	}
	return out
}

// rawNotes is from how many notes on readings alone are called an error: with two
// the slide and the constant would fit anything.
const rawNotes = 4

// raw is the error of readings by themselves, after the best constant and slide;
// nil for too few.
func (s *visitState) raw(readings belief.Readings) *float64 {
	var at []int
	for j := range readings {
		at = append(at, j)
	}
	slices.Sort(at)
	if len(at) < rawNotes {
		return nil
	}
	constant := 0.0
	weights := tuning.Weights{}
	slots, means := s.plan.problem.Slots()[:0:0], []float64{}
	for _, j := range at {
		sum := 0.0
		for _, x := range readings[j] {
			sum += x
		}
		mean := sum / float64(len(readings[j]))
		constant += mean / float64(len(at))
		slots, means = append(slots, s.slot(j)), append(means, mean)
		weights[s.slot(j).Note()] = s.plan.problem.Weight(j)
	}
	for k := range means {
		means[k] -= constant
	}
	throws, length := tuning.ForHorn(s.horn)
	p, err := tuning.NewProblem(slots, tuning.Options{Weights: weights, Throws: throws, OpenLengthMM: length})
	if err != nil {
		return nil // none of the notes counts for the player
	}
	e := p.Error(means)
	return &e
}

// judge says in plain words what to do, with its doubt, and why where the readings
// by themselves say otherwise.
func (s *visitState) judge(out *VisitProgress, pick int, open bool) {
	now := s.mouthpieces[0].Label
	standing := s.visit.Standings()[pick]
	switch {
	case len(s.tried) == 0:
		out.Verdict = "Nothing was tried yet."
	case pick == 0:
		out.Verdict = fmt.Sprintf("Keep %s: nothing that was tried is expected to leave less. It leaves %.1f cents (80 %% chance of %.1f to %.1f).", now, standing.ErrorCents, standing.Low, standing.High)
	default:
		better := s.visit.Better(pick, 0, 0)
		out.Verdict = fmt.Sprintf("%s: it is expected to leave %.1f cents (80 %% chance of %.1f to %.1f), %.1f less than %s; the chance that it is better at all is %.0f %%.",
			out.Pick, standing.ErrorCents, standing.Low, standing.High, s.visit.Standings()[0].ErrorCents-standing.ErrorCents, now, 100*better)
		if better < 0.8 {
			out.Verdict += " That is a lean, not a finding: borrow it for a week before you buy."
		}
	}
	s.compareRaw(out, pick, open)
}

// compareRaw explains the pick where the best reading is another one.
func (s *visitState) compareRaw(out *VisitProgress, pick int, open bool) {
	best, least := -1, math.Inf(1)
	for _, i := range s.tried {
		if e := s.raw(s.readings(i)); e != nil && *e < least {
			best, least = i, *e
		}
	}
	if best < 0 {
		return
	}
	out.Raw = s.name(best, open)
	if best == pick {
		return
	}
	after := s.visit.Standings()
	out.WhyNotRaw = fmt.Sprintf("By the readings alone %s would come first (%.1f cents on the notes played). But few readings flatter the luckiest: with everything that is known of horn, player and mouthpieces it is expected to leave %.1f cents, %s %.1f; the chance that it is the better of the two is %.0f %%.",
		out.Raw, least, after[best].ErrorCents, out.Pick, after[pick].ErrorCents, 100*s.visit.Better(best, pick, 0))
}
