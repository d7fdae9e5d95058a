package match

import (
	"fmt"
	"slices"
	"strings"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/fit"
)

// field is the gear that a question ranks, by label, with how setups are judged
// and which pairs may not be.
type field struct {
	horns       []*catalog.Horn
	mouthpieces []*catalog.Mouthpiece
	plans       []*plan // by horn; horns that are judged alike share one, and one that fits nothing has none
	classes     pairClasses
	leftOut     map[string]int // by reason: gear that does not pass, and pairs that may not be
	missing     []pitch.Note   // notes in the range that nothing is known of
}

// candidate is a pairing before it is judged, as places in a field.
type candidate struct{ horn, mouthpiece int }

// gridEngine is an Engine that prepares many pairings at once; [fit.Model] is one.
type gridEngine interface {
	Engine
	Grid(horns, mouthpieces []catalog.ID, player catalog.ID, slots []pitch.Slot, drawn int) (*fit.Grid, error)
}

// lattice holds the grids of a field: one for all horns that are judged on the
// same slots.
type lattice struct {
	grids []*fit.Grid
	grid  []int // of each horn
	at    []int // place of each horn in its grid
}

func (f *field) lattice(e gridEngine, player *catalog.Player) (*lattice, error) {
	l := &lattice{grid: make([]int, len(f.horns)), at: make([]int, len(f.horns))}
	var members [][]catalog.ID
	var plans []*plan
	for h, p := range f.plans {
		if p == nil {
			continue
		}
		g := slices.IndexFunc(plans, func(o *plan) bool { return o == p || slices.Equal(o.slots, p.slots) })
		if g < 0 {
			g = len(plans)
			plans, members = append(plans, p), append(members, nil)
		}
		l.grid[h], l.at[h] = g, len(members[g])
		members[g] = append(members[g], f.horns[h].ID)
	}
	var who catalog.ID
	if player != nil {
		who = player.ID
	}
	mouthpieces := make([]catalog.ID, len(f.mouthpieces))
	for m := range mouthpieces {
		mouthpieces[m] = f.mouthpieces[m].ID
	}
	for g, p := range plans {
		grid, err := e.Grid(members[g], mouthpieces, who, p.slots, len(p.problem.Slots()))
		if err != nil {
			return nil, fmt.Errorf("predicting %s with %s: %w", Count(len(members[g]), "horn"), Count(len(mouthpieces), "mouthpiece"), err)
		}
		l.grids = append(l.grids, grid)
	}
	return l, nil
}

// of gives the grid of a candidate and the horn's place in it.
func (l *lattice) of(c candidate) (g *fit.Grid, horn int) {
	return l.grids[l.grid[c.horn]], l.at[c.horn]
}

// casters cast the pairings of a lattice, for one goroutine.
type casters struct {
	*lattice
	of []*fit.Caster // by grid
}

func (l *lattice) newCasters() casters {
	c := casters{lattice: l}
	for _, g := range l.grids {
		c.of = append(c.of, g.NewCaster())
	}
	return c
}

// prediction is good until the next call.
func (c casters) prediction(x candidate) fit.Prediction {
	return c.of[c.grid[x.horn]].Prediction(c.at[x.horn], x.mouthpiece)
}

// draws are good until the next call.
func (c casters) draws(x candidate) [][]float64 {
	return c.of[c.grid[x.horn]].Draws(c.at[x.horn], x.mouthpiece)
}

// centre sets out to the mean of the draws.
func (c casters) centre(x candidate, out []float64) {
	c.of[c.grid[x.horn]].Centre(c.at[x.horn], x.mouthpiece, out)
}

// field lists the gear that passes the filters and plans how to judge it.
func (q Question) field(e Engine) (*field, error) {
	f := &field{leftOut: map[string]int{}}
	f.horns, f.mouthpieces = q.hornList(f.leftOut), q.mouthpieceList(f.leftOut)
	f.classes = q.pairClasses(f.horns, f.mouthpieces)
	f.classes.each(func(reason string, pairs int) {
		if reason != "" && pairs > 0 {
			f.leftOut[reason] += pairs
		}
	})
	return f, f.plan(q, answers(e))
}

// plan prepares the judgement of every horn that has a mouthpiece to go with.
func (f *field) plan(q Question, answered func(pitch.Slot) bool) error {
	f.plans = make([]*plan, len(f.horns))
	alike := map[reach]*plan{}
	for i, h := range f.horns {
		if !f.classes.pairsWithAny(i) {
			continue
		}
		key := reachOf(*h)
		if alike[key] == nil {
			p, err := q.Criteria.plan(*h, answered, !q.NoSupport)
			if err != nil {
				return err
			}
			alike[key] = &p
			f.missing = append(f.missing, p.missing...)
		}
		f.plans[i] = alike[key]
	}
	slices.Sort(f.missing)
	f.missing = slices.Compact(f.missing)
	return nil
}

// pairs is how many pairs may be.
func (f *field) pairs() (n int) {
	f.classes.each(func(reason string, pairs int) {
		if reason == "" {
			n += pairs
		}
	})
	return n
}

// candidates lists the pairs that may be, by label.
func (f *field) candidates() []candidate {
	out := make([]candidate, 0, f.pairs())
	for h := range f.horns {
		for m := range f.mouthpieces {
			if f.classes.reason(h, m) == "" {
				out = append(out, candidate{h, m})
			}
		}
	}
	return out
}

// pairClasses knows why pairs may not be. It depends on little of horn and
// mouthpiece, so both fall into few classes.
type pairClasses struct {
	horn, mouthpiece []int      // class of each
	reasons          [][]string // by class of horn and of mouthpiece; empty = may be
}

func (q Question) pairClasses(horns []*catalog.Horn, mouthpieces []*catalog.Mouthpiece) pairClasses {
	type traits struct {
		end        catalog.Shank
		owner, tag bool
	}
	traitsOf := func(end catalog.Shank, owner string, tags []string) traits {
		return traits{end, strings.EqualFold(owner, q.Filter.Owner), containsFold(tags, q.Filter.Tag)}
	}
	var c pairClasses
	var firstHorns, firstMouthpieces []int
	c.horn, firstHorns = classify(len(horns), func(i int) traits { return traitsOf(horns[i].Receiver, horns[i].Owner, horns[i].Tags) })
	c.mouthpiece, firstMouthpieces = classify(len(mouthpieces), func(i int) traits {
		return traitsOf(mouthpieces[i].Shank, mouthpieces[i].Owner, mouthpieces[i].Tags)
	})
	for _, h := range firstHorns {
		var row []string
		for _, m := range firstMouthpieces {
			row = append(row, q.Filter.rejectPair(*horns[h], *mouthpieces[m], q.sought()))
		}
		c.reasons = append(c.reasons, row)
	}
	return c
}

// classify numbers the classes of 0..n-1 and gives the first of each.
func classify[K comparable](n int, key func(i int) K) (class, first []int) {
	number := map[K]int{}
	class = make([]int, n)
	for i := range n {
		k := key(i)
		if _, seen := number[k]; !seen {
			number[k] = len(first)
			first = append(first, i)
		}
		class[i] = number[k]
	}
	return class, first
}

// reason says why a pair may not be, "" if it may.
func (c *pairClasses) reason(horn, mouthpiece int) string {
	return c.reasons[c.horn[horn]][c.mouthpiece[mouthpiece]]
}

// each calls use for every class of horns with every class of mouthpieces: why
// their pairs may not be, and how many there are.
func (c *pairClasses) each(use func(reason string, pairs int)) {
	count := func(class []int, number int) (n int) {
		for _, k := range class {
			if k == number {
				n++
			}
		}
		return n
	}
	for h, row := range c.reasons {
		horns := count(c.horn, h)
		for m, reason := range row {
			use(reason, horns*count(c.mouthpiece, m))
		}
	}
}

func (c *pairClasses) pairsWithAny(horn int) bool {
	return slices.Contains(c.reasons[c.horn[horn]], "")
}
