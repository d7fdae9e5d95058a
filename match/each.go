package match

import (
	"context"
	"maps"
	"slices"

	"centwise/catalog"
)

// Owner is whose lists [RankEach] makes.
type Owner string

// A list of mouthpieces for each horn, or of horns for each mouthpiece.
const (
	EachHorn       Owner = "horn"
	EachMouthpiece Owner = "mouthpiece"
)

// EachRanking is a list for each horn or for each mouthpiece.
type EachRanking struct {
	Each       Owner          `json:"each"`
	Player     string         `json:"player,omitempty"` // label; empty = a typical player
	SortedBy   SortKey        `json:"sorted_by"`
	Weighting  string         `json:"weights"`
	Considered int            `json:"considered"` // pairings, in all lists together
	LeftOut    map[string]int `json:"left_out,omitempty"`
	Lists      []List         `json:"lists,omitempty"` // by label
	// Without counts the gear for which the filters leave nothing.
	Without int `json:"without,omitempty"`
	// Notes are sentences on what the lists can't say; they count the pairings
	// that the lists hold.
	Notes []string `json:"notes,omitempty"`
}

// List ranks what goes with one horn or one mouthpiece, best first.
type List struct {
	Horn       string    `json:"horn,omitempty"`       // label, when the list is for a horn
	Mouthpiece string    `json:"mouthpiece,omitempty"` // label, when the list is for a mouthpiece
	Considered int       `json:"considered"`
	Pairings   []Pairing `json:"pairings"`
}

// RankEach ranks the mouthpieces for each horn of a question, or the horns for
// each mouthpiece. Filters by owner and tag select what is looked for, the
// others both. The errors are those of [Rank].
//
// Of much gear only the pairings that can come to stand in a list are judged;
// the lists are the same (see screen.go). So that it doesn't matter which way
// they were made, chances of being the best are shared out between the pairings
// that a list holds, the first Limit; lists can't be sorted by them. Of thousands
// some poorly known pairing nearly always has a chance left, which only a whole
// list can say.
func RankEach(ctx context.Context, e Engine, each Owner, q Question) (*EachRanking, error) {
	if q.FromHorn != nil || q.FromMouthpiece != nil {
		return nil, catalog.Errorf(catalog.Invalid, "leave the name out for a list for each, or ask for the one list",
			"lists for each %s are asked for, and one of them is named", each)
	}
	q.each = map[Owner]side{EachHorn: horns, EachMouthpiece: mouthpieces}[each]
	if q.Sort == SortChance {
		return nil, catalog.Errorf(catalog.Invalid, "sort by error, worst or support, or ask for one list",
			"lists for each can't be sorted by chance: it is shared out between those listed")
	}
	q, err := q.settled()
	if err != nil {
		return nil, err
	}
	f, err := q.field(e)
	if err != nil {
		return nil, err
	}
	r := &EachRanking{Each: each, SortedBy: q.Sort, Weighting: q.Criteria.weighting(), LeftOut: maps.Clone(f.leftOut)}
	if q.Player != nil {
		r.Player = q.Player.Label
	}
	switch {
	case q.canScreen(e, f):
		err = q.eachScreened(ctx, e.(gridEngine), f, r)
	case q.Limit == 0 && f.pairs() > maxListed:
		err = tooMany(f.pairs(), q)
	default:
		err = q.eachWhole(ctx, e, f, r)
	}
	if err != nil {
		return nil, err
	}
	return r, r.close(q, f)
}

// eachScreened makes the lists by screening.
func (q Question) eachScreened(ctx context.Context, e gridEngine, f *field, r *EachRanking) error {
	s, err := q.newScreen(e, f)
	if err != nil {
		return err
	}
	s.owners, s.sought = alone(len(f.horns)), s.alikeMouthpieces()
	if s.turned = q.each == mouthpieces; s.turned {
		s.owners, s.sought = alone(len(f.mouthpieces)), s.alikeHorns()
	}
	r.Lists = make([]List, len(s.owners))
	scouts := s.over(ctx, func(s *scout, owner int) {
		before := s.considered
		s.seek(owner)
		l := f.list(q, owner)
		l.Considered = s.considered - before
		l.Pairings = s.finish(s.board)
		r.Lists[owner] = l
		s.clearBoard()
	})
	for _, s := range scouts {
		addCounts(r.LeftOut, s.leftOut)
	}
	return ctx.Err()
}

// eachWhole makes the lists by judging all pairings, list by list.
func (q Question) eachWhole(ctx context.Context, e Engine, f *field, r *EachRanking) error {
	owners := len(f.horns)
	if q.each == mouthpieces {
		owners = len(f.mouthpieces)
	}
	if q.Progress != nil {
		q.Progress.Start("ranking", int64(owners))
		defer q.Progress.Done()
	}
	for i := range owners {
		if q.Progress != nil {
			q.Progress.Add(1)
		}
		list, err := q.score(ctx, e, f.only(q.each, i), r.LeftOut)
		if err != nil {
			return err
		}
		l := f.list(q, i)
		l.Considered, l.Pairings = len(list), slices.Clone(q.standAlone(list))
		r.Lists = append(r.Lists, l)
	}
	return nil
}

// only is a field of one horn or one mouthpiece.
func (f *field) only(s side, i int) *field {
	one := *f
	if s == horns {
		one.horns, one.plans, one.classes.horn = f.horns[i:i+1], f.plans[i:i+1], f.classes.horn[i:i+1]
	} else {
		one.mouthpieces, one.classes.mouthpiece = f.mouthpieces[i:i+1], f.classes.mouthpiece[i:i+1]
	}
	return &one
}

// list is the list without pairings of an owner.
func (f *field) list(q Question, owner int) List {
	if q.each == horns {
		return List{Horn: f.horns[owner].Label}
	}
	return List{Mouthpiece: f.mouthpieces[owner].Label}
}

// close leaves out empty lists and says what the others can't.
func (r *EachRanking) close(q Question, f *field) error {
	r.Lists = slices.DeleteFunc(r.Lists, func(l List) bool {
		r.Considered += l.Considered
		if len(l.Pairings) == 0 {
			r.Without++
		}
		return len(l.Pairings) == 0
	})
	if len(r.Lists) == 0 {
		return q.nothingLeft(r.LeftOut)
	}
	r.Notes = q.remarks(func(yield func([]Pairing) bool) {
		for _, l := range r.Lists {
			if !yield(l.Pairings) {
				return
			}
		}
	}, f.missing)
	return nil
}
