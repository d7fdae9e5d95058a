package match

import (
	"cmp"
	"context"
	"fmt"
	"maps"
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
	// Table says that every pair is wanted, so that fewer can't be asked for.
	Table bool
	// NoSupport leaves harmonic support out, which saves the predictions of the
	// harmonics' slots. SortSupport needs it.
	NoSupport bool
	// Progress is told of lists for each that take long; nil shows nothing.
	Progress catalog.Counter
	// Against is the setup played now: every pairing is compared with it.
	Against *Of
	// Pareto keeps the pairings that no other one beats in everything.
	Pareto bool
	// Resonances are what impedance sessions say of some setups.
	Resonances map[PairOf]*Resonances

	now  *presentSetup // Against, judged
	each side          // whose lists are asked for, one for each horn or mouthpiece
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
	// Against says whether changing is worth it; nil if nothing was compared.
	Against *Against `json:"against,omitempty"`
	// Pareto is how many pairings nothing beats, if only those are listed.
	Pareto int `json:"pareto,omitempty"`
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
	// SupportMeasured is the mean harmonic support by measured resonances, nil
	// where there are none.
	SupportMeasured *float64 `json:"support_measured,omitempty"`
	// Gain compares with the setup played now, if one is named; Now is that
	// setup itself.
	Gain *Gain `json:"gain,omitempty"`
	Now  bool  `json:"now,omitempty"`

	errs  []float64 // error of every draw
	group group     // what it would be pooled with
	// unjudged is how many pairings were not judged that nothing tells from it.
	unjudged int
	brief    *candidate // not yet worked out but for its errors
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
	case q.each == horns:
		return mouthpieces
	case q.each == mouthpieces:
		return horns
	default:
		return pairs
	}
}

// Rank answers a question. It fails with Invalid when the question contradicts
// itself or asks for too long a list, and with NotFound when the filters leave
// nothing, saying what they took out. The answer does not depend on the order of
// the candidates.
//
// A list of all pairs of much gear, of which a part is wanted, is made by
// judging only those pairings that can come to stand in it; see screen.go.
func Rank(ctx context.Context, e Engine, q Question) (*Ranking, error) {
	q, err := q.settled()
	if err != nil {
		return nil, err
	}
	if q.now, err = q.presently(e); err != nil {
		return nil, err
	}
	f, err := q.field(e)
	if err != nil {
		return nil, err
	}
	if q.sought() == pairs && q.canScreen(e, f) {
		return q.rankScreened(ctx, e.(gridEngine), f)
	}
	if f.pairs() > maxListed {
		return nil, tooMany(f.pairs(), q)
	}
	r, err := q.rankAll(ctx, e, f)
	if err != nil {
		return nil, err
	}
	r.Pairings = q.shown(r.Pairings)
	return r, nil
}

// settled checks a question and fills in what it leaves open.
func (q Question) settled() (Question, error) {
	if q.FromHorn != nil && q.FromMouthpiece != nil {
		return q, catalog.Errorf(catalog.Invalid, "ask for the setup's prediction instead, or name only one of them",
			"horn and mouthpiece are both given, so there is nothing to rank")
	}
	if q.Sort == "" {
		q.Sort = SortError
	}
	if q.Sort == SortSupport && q.NoSupport {
		return q, catalog.Errorf(catalog.Invalid, "ask for support or choose another order", "the list can't be sorted by support without it")
	}
	if q.each != pairs && (q.Against != nil || q.Pareto) {
		return q, catalog.Errorf(catalog.Invalid, "ask for one list, of a horn, a mouthpiece or all pairs",
			"lists for each can't be compared with one setup or narrowed to what nothing beats")
	}
	q.Criteria = q.Criteria.For(q.Player)
	return q, nil
}

// maxListed is how many pairings are judged one by one and held at a time: with
// what belongs to them they take some 500 MB.
const maxListed = 250_000

// tooMany is the error for a list that would not fit.
func tooMany(count int, q Question) error {
	try := "narrow the gear by filters, or ask for the first few by error, as in: centwise rank --top 100"
	switch {
	case q.Table:
		try = "narrow the gear by filters, as in: centwise rank --matrix --stock LIST --key Bb --measured"
	case q.Pareto:
		try = "narrow the gear by filters, as in: centwise rank --pareto --stock LIST --key Bb --measured"
	case q.each != pairs:
		try = "say how many of each list, as in: centwise rank --each-horn --top 20"
	case q.Sort != SortError:
		return catalog.Errorf(catalog.Invalid, try, "%d pairings are too many to sort by %s; by error they can be", count, q.Sort)
	}
	return catalog.Errorf(catalog.Invalid, try, "%d pairings are too many to list", count)
}

// rankAll judges and ranks all candidates.
func (q Question) rankAll(ctx context.Context, e Engine, f *field) (*Ranking, error) {
	r := q.newRanking(f)
	pairings, err := q.score(ctx, e, f, r.LeftOut)
	if err != nil {
		return nil, err
	}
	if len(pairings) == 0 {
		return nil, q.nothingLeft(r.LeftOut)
	}
	q.stand(pairings)
	r.Considered, r.Pairings, r.Notes = len(pairings), pairings, q.remarks(slices.Values([][]Pairing{pairings}), f.missing)
	r.Against = q.now.answer(pairings, q.sought())
	if q.Pareto {
		r.tradeOff()
	}
	return r, nil
}

// stand puts pairings that were judged in their order.
func (q Question) stand(list []Pairing) {
	if len(list) == 0 {
		return
	}
	shareChances(list)
	pool(list, q.Criteria.ToleranceCents)
	q.now.compare(list)
	order(list, q.Sort)
	number(list)
}

// standAlone puts pairings in their order and gives those shown, with chances of
// being the best shared out between these alone.
func (q Question) standAlone(list []Pairing) []Pairing {
	q.stand(list)
	list = q.shown(list)
	if len(list) == 0 {
		return nil
	}
	for i := range list {
		list[i].ChanceBest = 0
	}
	shareChances(list)
	evenChances(list)
	return list
}

// newRanking is a ranking without pairings.
func (q Question) newRanking(f *field) *Ranking {
	r := &Ranking{SortedBy: q.Sort, Weighting: q.Criteria.weighting(), LeftOut: maps.Clone(f.leftOut)}
	if q.FromHorn != nil {
		r.Horn = q.FromHorn.Label
	}
	if q.FromMouthpiece != nil {
		r.Mouthpiece = q.FromMouthpiece.Label
	}
	if q.Player != nil {
		r.Player = q.Player.Label
	}
	return r
}

// shown are the pairings within the limit.
func (q Question) shown(list []Pairing) []Pairing {
	if q.Limit > 0 && q.Limit < len(list) {
		return list[:q.Limit]
	}
	return list
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
func (q Question) nothingLeft(leftOut map[string]int) error {
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
	return catalog.Errorf(catalog.NotFound, cmp.Or(q.Filter.misspelt(q.Horns, q.Mouthpieces), "loosen a filter"), "no pairing is left to rank (%s)", text)
}
