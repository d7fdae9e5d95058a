package match

import (
	"cmp"
	"container/heap"
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"centwise/match/fit"
	"centwise/match/tuning"
)

// Of millions of pairings a list shows a few. Which those are is found without
// working out the draws of all.
//
// What the slide and the throws leave of a profile x is its distance from a
// convex set, so the mean square left, L(x), is convex, and the expected square
// over the draws x_k is at least that of their centre (Jensen's inequality):
//
//	mean_k L(x_k) >= L(mean_k x_k)
//
// The right side takes one search for the slide instead of one a draw. Pairings
// are judged in the order of this bound until it exceeds the worst that is kept:
// the others can't be better. The list is the one that judging all would give.
//
// Pairings that nothing tells apart count as one with the mean of their squares,
// since the luckiest of many alike would stand too high (see pool.go).

// screen looks for the pairings with the least expected error.
type screen struct {
	q       Question
	f       *field
	lattice *lattice
	owners  [][]int // gear that a list is made for: horns, or mouthpieces if turned
	sought  [][]int // gear that is looked for, in sets that nothing tells apart
	turned  bool
	keep    int // sets of pairings that a list holds
	members int // pairings of a set that are judged
	// ceiling is the expected square beyond which nothing is kept, as bits of a
	// float64, where all owners share one list.
	ceiling atomic.Uint64
}

// screenFrom is from how many pairs on a list is made by screening.
const screenFrom = 20_000

// alikeJudged is how many of pairings that nothing tells apart are judged at
// most; the more of them the less their draws add to what is known.
const alikeJudged = 256

// canScreen reports whether a question for a list of a few can be answered by
// screening, and whether that is worth it.
func (q Question) canScreen(e Engine, f *field) bool {
	_, ok := e.(gridEngine)
	return ok && q.Sort == SortError && !q.Pareto && q.Limit > 0 && f.pairs() > screenFrom
}

// newScreen prepares lists of a question's length.
func (q Question) newScreen(e gridEngine, f *field) (*screen, error) {
	l, err := f.lattice(e, q.Player)
	if err != nil {
		return nil, err
	}
	s := &screen{q: q, f: f, lattice: l, keep: q.Limit, members: max(alikeJudged, q.Limit)}
	s.ceiling.Store(math.Float64bits(math.Inf(1)))
	return s, nil
}

// alikeHorns are the field's horns in sets that nothing tells apart.
func (s *screen) alikeHorns() [][]int {
	type key struct {
		kind  string
		reach reach
	}
	return sets(len(s.f.horns), func(h int) (key, bool) {
		if s.f.plans[h] == nil {
			return key{}, false
		}
		g, at := s.lattice.of(candidate{horn: h})
		k := key{g.HornKind(at), reachOf(*s.f.horns[h])}
		return k, k.kind != ""
	})
}

// alikeMouthpieces is to mouthpieces what alikeHorns is to horns.
func (s *screen) alikeMouthpieces() [][]int {
	return sets(len(s.f.mouthpieces), func(m int) (string, bool) {
		kind := s.lattice.grids[0].MouthpieceKind(m)
		return kind, kind != ""
	})
}

// sets divides 0..n-1 into those that share a key and those that have none.
func sets[K comparable](n int, key func(i int) (K, bool)) [][]int {
	at := map[K]int{}
	var out [][]int
	for i := range n {
		k, ok := key(i)
		if place, seen := at[k]; ok && seen {
			out[place] = append(out[place], i)
			continue
		}
		if ok {
			at[k] = len(out)
		}
		out = append(out, []int{i})
	}
	return out
}

// alone are 0..n-1, each in a set of its own.
func alone(n int) [][]int {
	return sets(n, func(i int) (int, bool) { return 0, false })
}

// entry is a set of pairings on a list.
type entry struct {
	owner, sought int
	square        float64 // expected, mean over the members
	size          int     // pairings of the set
	judged        []candidate
	errs          []float64 // of every draw of every member that was judged
}

func (a *entry) compare(b *entry) int {
	return cmp.Or(cmp.Compare(a.square, b.square), cmp.Compare(a.owner, b.owner), cmp.Compare(a.sought, b.sought))
}

// board keeps the best entries, the worst of them on top (a heap).
type board []*entry

func (b board) Len() int           { return len(b) }
func (b board) Less(i, j int) bool { return b[i].compare(b[j]) > 0 }
func (b board) Swap(i, j int)      { b[i], b[j] = b[j], b[i] }
func (b *board) Push(x any)        { *b = append(*b, x.(*entry)) }
func (b *board) Pop() any {
	last := (*b)[len(*b)-1]
	*b = (*b)[:len(*b)-1]
	return last
}

// scout is one goroutine's part of a screen.
type scout struct {
	*screen
	cast       casters
	centre     []float64
	bounds     bounds
	board      board
	spare      []*entry // memory for new ones
	considered int
	leftOut    map[string]int
	list       []Pairing // memory of finish
	room       tuning.Result
}

func (s *screen) newScout() *scout {
	return &scout{screen: s, cast: s.lattice.newCasters(), leftOut: map[string]int{}}
}

// bounded is a set of pairings and what its expected square is at least.
type bounded struct {
	square float64
	sought int
}

// bounds gives the least one first (a heap).
type bounds []bounded

func (b bounds) Len() int           { return len(b) }
func (b bounds) Less(i, j int) bool { return b[i].square < b[j].square }
func (b bounds) Swap(i, j int)      { b[i], b[j] = b[j], b[i] }
func (b *bounds) Push(x any)        { *b = append(*b, x.(bounded)) }
func (b *bounds) Pop() any {
	last := (*b)[len(*b)-1]
	*b = (*b)[:len(*b)-1]
	return last
}

// each calls use for the pairings of an owner with a set that may be, as many
// as are judged, and gives how many there are in all.
func (s *screen) each(owner, sought int, use func(c candidate), reject func(reason string)) (size int) {
	for _, o := range s.owners[owner] {
		for _, x := range s.sought[sought] {
			c := candidate{o, x}
			if s.turned {
				c = candidate{x, o}
			}
			if s.f.classes.reason(c.horn, c.mouthpiece) != "" {
				continue
			}
			if reason := s.rejected(c); reason != "" {
				reject(reason)
				continue
			}
			if size++; size <= s.members {
				use(c)
			}
		}
	}
	return size
}

// rejected applies the filters on what a prediction rests on.
func (s *screen) rejected(c candidate) string {
	if !s.q.Filter.Measured && !s.q.Filter.Linked {
		return ""
	}
	g, at := s.lattice.of(c)
	return s.q.rejectPairing(g.Basis(at, c.mouthpiece), g.Linked(at, c.mouthpiece))
}

// slack is by how much bounds are lowered, so that rounding can't put a pairing
// beyond its own expected square.
const slack = 1e-9

// look bounds all sets of an owner.
func (s *scout) look(owner int) {
	s.bounds = s.bounds[:0]
	sum := 0.0
	add := func(c candidate) {
		p := s.f.plans[c.horn].problem
		if n := len(p.Slots()); cap(s.centre) < n {
			s.centre = make([]float64, n)
		}
		s.centre = s.centre[:len(p.Slots())]
		s.cast.centre(c, s.centre)
		sum += p.Floor(s.centre)
	}
	reject := func(reason string) { s.leftOut[reason]++ }
	for i := range s.sought {
		sum = 0
		if size := s.each(owner, i, add, reject); size > 0 {
			s.considered += size
			s.bounds = append(s.bounds, bounded{sum/float64(min(size, s.members))*(1-slack) - slack, i})
		}
	}
	heap.Init(&s.bounds)
}

// worst is the expected square beyond which nothing can come on the board.
func (s *scout) worst() float64 {
	worst := math.Float64frombits(s.ceiling.Load())
	if len(s.board) == s.keep {
		worst = min(worst, s.board[0].square)
	}
	return worst
}

// seek puts on the board what an owner has for it.
func (s *scout) seek(owner int) {
	s.look(owner)
	for len(s.bounds) > 0 && s.bounds[0].square <= s.worst() {
		next := heap.Pop(&s.bounds).(bounded)
		s.judge(owner, next.sought)
	}
}

// judge works out an entry and puts it on the board if it is good enough.
func (s *scout) judge(owner, sought int) {
	e := s.newEntry()
	*e = entry{owner: owner, sought: sought, judged: e.judged[:0], errs: e.errs[:0]}
	e.size = s.each(owner, sought, func(c candidate) {
		draws := s.cast.draws(c)
		at := len(e.errs)
		e.errs = slices.Grow(e.errs, len(draws))[:at+len(draws)]
		s.f.plans[c.horn].problem.Errors(e.errs[at:], draws)
		e.judged = append(e.judged, c)
	}, func(string) {})
	for _, x := range e.errs {
		e.square += x * x
	}
	e.square /= float64(len(e.errs))
	heap.Push(&s.board, e)
	if len(s.board) > s.keep {
		s.spare = append(s.spare, heap.Pop(&s.board).(*entry))
	}
}

// newEntry gives an entry of any content.
func (s *scout) newEntry() *entry {
	n := len(s.spare)
	if n == 0 {
		return &entry{}
	}
	e := s.spare[n-1]
	s.spare = s.spare[:n-1]
	return e
}

// clearBoard makes ready for another list.
func (s *scout) clearBoard() {
	s.spare = append(s.spare, s.board...)
	s.board = s.board[:0]
}

// finish gives the pairings of the entries, best first, as many as the limit,
// with what there is to say of them.
func (s *scout) finish(entries []*entry) []Pairing {
	slices.SortFunc(entries, (*entry).compare)
	list := s.list[:0]
	for _, e := range entries {
		draws := len(e.errs) / len(e.judged)
		for i, c := range e.judged {
			list = append(list, s.brief(c, e.errs[i*draws:][:draws]))
		}
		list[len(list)-1].unjudged = e.size - len(e.judged)
	}
	s.list = list
	list = slices.Clone(s.q.standAlone(list))
	for i := range list {
		s.complete(&list[i])
	}
	return list
}

// brief is what the order of pairings takes. Those that may be pooled with others
// are worked out whole.
func (s *scout) brief(c candidate, errs []float64) Pairing {
	g, at := s.lattice.of(c)
	if basis := g.Basis(at, c.mouthpiece); basis != fit.BasisMeasured {
		return s.q.pairing(s.f, c, s.cast.prediction(c), &s.room)
	}
	return Pairing{
		Horn: s.f.horns[c.horn].Label, Mouthpiece: s.f.mouthpieces[c.mouthpiece].Label,
		Verdict: summary(errs, s.q.Criteria.ToleranceCents), Basis: fit.BasisMeasured, errs: errs, brief: &c,
	}
}

// complete works out what brief left open.
func (s *scout) complete(p *Pairing) {
	p.errs = nil
	if p.brief == nil {
		return
	}
	whole := s.q.pairing(s.f, *p.brief, s.cast.prediction(*p.brief), &s.room)
	whole.Rank, whole.ChanceBest, whole.errs = p.Rank, p.ChanceBest, nil
	whole.Gain, whole.Now = p.Gain, p.Now
	*p = whole
}

// over runs the scouts over all owners, on all cores.
func (s *screen) over(ctx context.Context, visit func(s *scout, owner int)) []*scout {
	var next atomic.Int64
	var wait sync.WaitGroup
	scouts := make([]*scout, min(len(s.owners), runtime.GOMAXPROCS(0)))
	for w := range scouts {
		scouts[w] = s.newScout()
		wait.Go(func() {
			for owner := int(next.Add(1)) - 1; owner < len(s.owners) && ctx.Err() == nil; owner = int(next.Add(1)) - 1 {
				visit(scouts[w], owner)
			}
		})
	}
	wait.Wait()
	return scouts
}

// seekTogether fills one board for all owners. What one scout has found bounds
// what the others look at.
func (s *scout) seekTogether(owner int) {
	s.seek(owner)
	worst := math.Float64bits(s.worst()) // squares are positive, so their bits are in their order
	for old := s.ceiling.Load(); worst < old; old = s.ceiling.Load() {
		if s.ceiling.CompareAndSwap(old, worst) {
			return
		}
	}
}

// rankScreened ranks all pairs.
func (q Question) rankScreened(ctx context.Context, e gridEngine, f *field) (*Ranking, error) {
	s, err := q.newScreen(e, f)
	if err != nil {
		return nil, err
	}
	s.owners, s.sought = s.alikeHorns(), s.alikeMouthpieces()
	scouts := s.over(ctx, (*scout).seekTogether)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	r := q.newRanking(f)
	var entries []*entry
	for _, s := range scouts {
		entries = append(entries, s.board...)
		r.Considered += s.considered
		addCounts(r.LeftOut, s.leftOut)
	}
	if len(entries) == 0 {
		return nil, q.nothingLeft(r.LeftOut)
	}
	slices.SortFunc(entries, (*entry).compare)
	r.Pairings = scouts[0].finish(entries[:min(len(entries), s.keep)])
	r.Notes = append(q.remarks(slices.Values([][]Pairing{r.Pairings}), f.missing),
		fmt.Sprintf("Of so many pairings the first %d were found without judging all in full: what is said here of pairings, and the chances of being the best, are about these.", len(r.Pairings)))
	r.Against = q.now.answer(r.Pairings, q.sought())
	return r, nil
}

func addCounts(to, from map[string]int) {
	for reason, n := range from {
		to[reason] += n
	}
}
