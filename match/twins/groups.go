package twins

import (
	"cmp"
	"slices"
	"strings"
)

// groups are records that are one, pair by pair: a tree each.
type groups struct {
	parent   map[*record]*record
	serial   map[*record]string // by the root of the group: the one that is stated, if any
	pairs    map[*record][]weighed
	sessions map[*record]int
	order    []*record // as they came
}

func newGroups() *groups {
	return &groups{parent: map[*record]*record{}, serial: map[*record]string{}, pairs: map[*record][]weighed{}, sessions: map[*record]int{}}
}

func (g *groups) root(r *record) *record {
	if _, known := g.parent[r]; !known {
		g.parent[r], g.serial[r] = r, r.serial
		g.order = append(g.order, r)
	}
	for g.parent[r] != r {
		r = g.parent[r]
	}
	return r
}

// join takes a pair up, unless the two are one already or, through others, have two
// serial numbers.
func (g *groups) join(p weighed) {
	a, b := g.root(p.a), g.root(p.b)
	if a == b || g.serial[a] != "" && g.serial[b] != "" && g.serial[a] != g.serial[b] {
		return
	}
	g.parent[b] = a
	g.serial[a] = cmp.Or(g.serial[a], g.serial[b])
	g.pairs[p.a] = append(g.pairs[p.a], p)
	g.pairs[p.b] = append(g.pairs[p.b], p)
	if d := p.difference; d != nil {
		g.sessions[p.a], g.sessions[p.b] = d.Sessions[0], d.Sessions[1]
	}
}

// proposals links the records of each group towards the one that is to be kept:
// each by the pair that makes it one with the next.
func (g *groups) proposals() (out []Proposal) {
	members := map[*record][]*record{}
	var roots []*record
	for _, r := range g.order {
		root := g.root(r)
		if len(members[root]) == 0 {
			roots = append(roots, root)
		}
		members[root] = append(members[root], r)
	}
	for _, root := range roots {
		if len(members[root]) > 1 {
			out = append(out, g.towards(slices.MinFunc(members[root], g.compare))...)
		}
	}
	return out
}

// compare puts the record first that is rather to be kept: one with a serial
// number, the one that was measured more often, the older one.
func (g *groups) compare(a, b *record) int {
	stated := func(r *record) int { return min(1, len(r.serial)) }
	return cmp.Or(cmp.Compare(stated(b), stated(a)), cmp.Compare(g.sessions[b], g.sessions[a]), strings.Compare(string(a.id), string(b.id)))
}

// towards walks from the record that is kept to all that are one with it.
func (g *groups) towards(kept *record) (out []Proposal) {
	seen := map[*record]bool{kept: true}
	for waiting := []*record{kept}; len(waiting) > 0; waiting = waiting[1:] {
		to := waiting[0]
		for _, p := range g.pairs[to] {
			alias := p.a
			if alias == to {
				alias = p.b
			}
			if seen[alias] {
				continue
			}
			seen[alias] = true
			waiting = append(waiting, alias)
			out = append(out, Proposal{Kind: to.kind, Alias: string(alias.id), Kept: string(to.id), AliasName: alias.label, KeptName: to.label,
				Certainty: certainty(p.odds), Evidence: p.words(alias != p.a), Difference: p.difference})
		}
	}
	return out
}
