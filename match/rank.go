package match

import (
	"context"
	"fmt"
	"slices"

	"centwise/catalog"
	"centwise/match/fit"
)

// Question asks for a ranking. With one Horn named in From, its mouthpieces are
// ranked; with a mouthpiece, its horns; with neither, all pairs.
type Question struct {
	FromHorn       *catalog.Horn
	FromMouthpiece *catalog.Mouthpiece
	Horns          []catalog.Horn       // candidates; not used with FromHorn
	Mouthpieces    []catalog.Mouthpiece // candidates; not used with FromMouthpiece
	Player         *catalog.Player      // nil = a typical player
	Criteria       Criteria
	Filter         Filter
	Sort           SortKey // empty = SortError
	Limit          int     // keep the first so many; 0 = all. Chances refer to the whole list
	// NoSupport leaves harmonic support out, which saves the predictions of the
	// harmonics' slots. SortSupport needs it.
	NoSupport bool
}

// Ranking is the answer, best first.
type Ranking struct {
	Horn       string         `json:"horn,omitempty"`       // label, when asked from a horn
	Mouthpiece string         `json:"mouthpiece,omitempty"` // label, when asked from a mouthpiece
	Player     string         `json:"player,omitempty"`     // label; empty = a typical player
	SortedBy   SortKey        `json:"sorted_by"`
	Weighting  string         `json:"weights"`    // what the notes are weighed by
	Considered int            `json:"considered"` // pairings judged
	LeftOut    map[string]int `json:"left_out,omitempty"`
	Pairings   []Pairing      `json:"pairings"`
	// Notes are sentences on what the list can't say.
	Notes []string `json:"notes,omitempty"`
}

// Pairing is one line of a ranking.
type Pairing struct {
	// Rank counts from 1; pairings that nothing tells apart share the best of
	// their ranks.
	Rank       int    `json:"rank"`
	Horn       string `json:"horn"`
	Mouthpiece string `json:"mouthpiece"`
	Verdict
	// ChanceBest is the share of joint draws in which the pairing has the least
	// error of the list; ties are split.
	ChanceBest float64 `json:"chance_best"`
	// Evidence is how many sessions measured the horn or the mouthpiece itself.
	Evidence     int          `json:"evidence"`
	EvidenceOf   fit.Evidence `json:"-"`
	PairSessions int          `json:"pair_sessions"` // sessions with both together
	HornSessions int          `json:"horn_sessions"`
	Sessions     int          `json:"mouthpiece_sessions"`
	Basis        fit.Basis    `json:"basis"`
	Linked       bool         `json:"linked"`
	Adapter      bool         `json:"adapter,omitempty"` // shank and receiver differ
	// Alike is how many pairings of the list this one can't be told from,
	// itself included, because neither was measured; 0 when it stands alone.
	Alike int    `json:"alike,omitempty"`
	Note  string `json:"note,omitempty"`

	errs  []float64 // error of every draw
	group group     // what it would be pooled with
}

// side is which gear a question looks for.
type side int

const (
	pairs side = iota
	mouthpieces
	horns
)

func (q Question) sought() side {
	switch {
	case q.FromHorn != nil:
		return mouthpieces
	case q.FromMouthpiece != nil:
		return horns
	default:
		return pairs
	}
}

// Rank answers a question. It fails with Invalid when the question contradicts
// itself, and with NotFound when the filters leave nothing, saying what they
// took out. The answer does not depend on the order of the candidates.
func Rank(ctx context.Context, e Engine, q Question) (*Ranking, error) {
	if q.FromHorn != nil && q.FromMouthpiece != nil {
		return nil, catalog.Errorf(catalog.Invalid, "ask for the setup's prediction instead, or name only one of them",
			"horn and mouthpiece are both given, so there is nothing to rank")
	}
	if q.Sort == "" {
		q.Sort = SortError
	}
	if q.Sort == SortSupport && q.NoSupport {
		return nil, catalog.Errorf(catalog.Invalid, "ask for support or choose another order", "the list can't be sorted by support without it")
	}
	q.Criteria = q.Criteria.For(q.Player)
	list, leftOut := q.candidates()
	pairings, missing, err := q.score(ctx, e, list, leftOut)
	if err != nil {
		return nil, err
	}
	if len(pairings) == 0 {
		return nil, nothingLeft(leftOut)
	}
	shareChances(pairings)
	pool(pairings, q.Criteria.ToleranceCents)
	order(pairings, q.Sort)
	number(pairings)
	r := &Ranking{SortedBy: q.Sort, Weighting: q.Criteria.weighting(), Considered: len(pairings), LeftOut: leftOut, Notes: q.remarks(pairings, missing)}
	if q.FromHorn != nil {
		r.Horn = q.FromHorn.Label
	}
	if q.FromMouthpiece != nil {
		r.Mouthpiece = q.FromMouthpiece.Label
	}
	if q.Player != nil {
		r.Player = q.Player.Label
	}
	if q.Limit > 0 && q.Limit < len(pairings) {
		pairings = pairings[:q.Limit]
	}
	r.Pairings = pairings
	return r, nil
}

// candidate is a setup before it is judged.
type candidate struct {
	horn       *catalog.Horn
	mouthpiece *catalog.Mouthpiece
}

// candidates lists what passes the filters by label, and counts what does not
// by reason.
func (q Question) candidates() ([]candidate, map[string]int) {
	leftOut := map[string]int{}
	hornList := q.hornList(leftOut)
	mouthpieceList := q.mouthpieceList(leftOut)
	var out []candidate
	for _, h := range hornList {
		for _, m := range mouthpieceList {
			if reason := q.Filter.rejectPair(*h, *m, q.sought()); reason != "" {
				leftOut[reason]++
				continue
			}
			out = append(out, candidate{h, m})
		}
	}
	return out, leftOut
}

func (q Question) hornList(leftOut map[string]int) []*catalog.Horn {
	if q.FromHorn != nil {
		return []*catalog.Horn{q.FromHorn}
	}
	var out []*catalog.Horn
	for i := range q.Horns {
		if reason := q.Filter.rejectHorn(q.Horns[i]); reason != "" {
			leftOut[reason]++
			continue
		}
		out = append(out, &q.Horns[i])
	}
	slices.SortFunc(out, func(a, b *catalog.Horn) int { return compareLabels(a.Label, b.Label) })
	return out
}

func (q Question) mouthpieceList(leftOut map[string]int) []*catalog.Mouthpiece {
	if q.FromMouthpiece != nil {
		return []*catalog.Mouthpiece{q.FromMouthpiece}
	}
	var out []*catalog.Mouthpiece
	for i := range q.Mouthpieces {
		if reason := q.Filter.rejectMouthpiece(q.Mouthpieces[i], q.Player); reason != "" {
			leftOut[reason]++
			continue
		}
		out = append(out, &q.Mouthpieces[i])
	}
	slices.SortFunc(out, func(a, b *catalog.Mouthpiece) int { return compareLabels(a.Label, b.Label) })
	return out
}

// nothingLeft is the error for an empty list.
func nothingLeft(leftOut map[string]int) error {
	if len(leftOut) == 0 {
		return catalog.Errorf(catalog.NotFound, "add gear first, or import a list of it", "there is nothing to rank")
	}
	var reasons []string
	for reason, n := range leftOut {
		reasons = append(reasons, fmt.Sprintf("%s: %d", reason, n))
	}
	slices.Sort(reasons)
	text := reasons[0]
	for _, r := range reasons[1:] {
		text += ", " + r
	}
	return catalog.Errorf(catalog.NotFound, "loosen a filter", "no pairing is left to rank (%s)", text)
}
