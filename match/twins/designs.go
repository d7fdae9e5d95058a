package twins

import (
	"cmp"
	"maps"
	"slices"

	"centwise/catalog"
)

// copies are the records of one spelling of a design.
type copies struct {
	name    catalog.DesignName
	key     string // as links name it: of the spelling that stands for it
	design  design
	count   int
	oldest  catalog.ID
	traits  map[string]bool
	average []dimension // mean of what is stated
	stated  []int
}

// What speaks for two spellings being one design, as odds like those of evidence.
const (
	lettersAlike  = 1.0 // nothing but case, spaces, punctuation, "Mk II" for "mark 2"
	oneSlip       = 0.4 // in a long name
	moreSlips     = 0.0
	makerMissing  = 0.0
	rareSpelling  = 0.3  // one has many copies, the other a few
	designsApart  = -1.0 // for each dimension
	designsClose  = 0.15
	closeDesigns  = 0.45
	manyCopies    = 5
	rareFor       = 5 // so many times rarer is rare
	slipLikeness  = 0.92
	otherLikeness = 0.84
)

// findDesigns proposes spellings of designs to link. found are the records that are
// proposed to be linked: a spelling that only an alias has says nothing any more.
func findDesigns(q Question, designs catalog.Designs, found []Proposal) (out []Proposal) {
	alias := map[string]bool{}
	for _, p := range found {
		alias[p.Alias] = true
	}
	horns, mouthpieces := map[string]*copies{}, map[string]*copies{}
	for _, h := range q.Horns {
		if !h.Retired && !alias[string(h.ID)] {
			addCopy(horns, designs.HornName(h), h.DesignName(), ofHorn(h))
		}
	}
	for _, m := range q.Mouthpieces {
		if !m.Retired && !alias[string(m.ID)] {
			addCopy(mouthpieces, designs.MouthpieceName(m), m.DesignName(), ofMouthpiece(m))
		}
	}
	out = append(out, spelledTwice(catalog.LinkHornDesign, horns)...)
	return append(out, spelledTwice(catalog.LinkMouthpieceDesign, mouthpieces)...)
}

// addCopy counts a copy of a design that goes by a key.
func addCopy(all map[string]*copies, key string, name catalog.DesignName, r *record) {
	if key == "" {
		return
	}
	c := all[key]
	if c == nil {
		c = &copies{name: name, key: key, design: r.design, oldest: r.id, traits: map[string]bool{}, average: slices.Clone(r.dimensions), stated: make([]int, len(r.dimensions))}
		for i := range c.average {
			c.average[i].value = 0
		}
		all[key] = c
	}
	c.count++
	c.oldest = min(c.oldest, r.id)
	c.traits[r.traits] = true
	if name.Key() == key { // the spelling that is kept
		c.name, c.design = name, r.design
	}
	for i, d := range r.dimensions {
		if d.value != 0 {
			c.stated[i]++
			c.average[i].value += (d.value - c.average[i].value) / float64(c.stated[i])
		}
	}
}

// spelledTwice proposes what may be one design.
func spelledTwice(kind catalog.LinkKind, all map[string]*copies) (out []Proposal) {
	var list []*copies
	inLine := map[string]int{}
	for _, key := range slices.Sorted(maps.Keys(all)) {
		list = append(list, all[key])
		inLine[catalog.Fold(all[key].name.String())]++
	}
	pairs := nearDesigns(list)
	slices.SortFunc(pairs, func(a, b [2]int) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) })
	best, makers := map[*copies]Proposal{}, map[*copies]int{}
	for _, p := range slices.Compact(pairs) {
		a, b := list[p[0]], list[p[1]]
		if ratherKept(a, b) {
			a, b = b, a // a is the alias
		}
		e, ok := oneDesign(a, b)
		if !ok || certainty(e.odds) < worthTelling {
			continue
		}
		if a.design.maker.empty() && !b.design.maker.empty() {
			makers[a]++
		}
		if has, ok := best[a]; !ok || has.Certainty < certainty(e.odds) {
			best[a] = Proposal{Kind: kind, Alias: a.key, Kept: b.key, AliasName: a.called(inLine), KeptName: b.called(inLine), Certainty: certainty(e.odds), Evidence: e.words(false)}
		}
	}
	for _, c := range list {
		if p, ok := best[c]; ok && makers[c] <= 1 { // a model of several makers could be any of theirs
			out = append(out, p)
		}
	}
	return out
}

// ratherKept reports whether a is rather to be kept than b: it states a maker, has
// more copies, or is older.
func ratherKept(a, b *copies) bool {
	if a.design.maker.empty() != b.design.maker.empty() {
		return b.design.maker.empty()
	}
	return a.count > b.count || a.count == b.count && a.oldest < b.oldest
}

// called is the name as a command line takes it; inLine counts what names are when
// maker and model stand in a line.
func (c *copies) called(inLine map[string]int) string {
	if inLine[catalog.Fold(c.name.String())] > 1 {
		return c.name.Exact()
	}
	return c.name.String()
}

// nearDesigns lists the pairs of spellings that are worth comparing: by maker and
// model, and by the model alone where a maker is not stated.
func nearDesigns(list []*copies) (pairs [][2]int) {
	both, models := make([]spelling, len(list)), make([]spelling, len(list))
	for i, c := range list {
		both[i], models[i] = c.design.both, c.design.model
	}
	joinDistinct(both, func(i, j int) { pairs = append(pairs, [2]int{i, j}) })
	joinDistinct(models, func(i, j int) {
		if list[i].design.maker.empty() != list[j].design.maker.empty() {
			pairs = append(pairs, [2]int{i, j})
		}
	})
	return pairs
}

// joinDistinct is near for spellings of which some may be the same.
func joinDistinct(list []spelling, visit func(i, j int)) {
	places := map[string][]int{}
	var distinct []spelling
	var members [][]int
	var keys []string
	for i, s := range list {
		key := s.marks + "\n" + s.letters
		if len(places[key]) == 0 {
			keys, distinct = append(keys, key), append(distinct, s)
		}
		places[key] = append(places[key], i)
	}
	for _, key := range keys {
		members = append(members, places[key])
	}
	cross := func(a, b []int) {
		if len(a)*len(b) > crowded*crowded {
			return
		}
		for _, i := range a {
			for _, j := range b {
				if i != j {
					visit(min(i, j), max(i, j))
				}
			}
		}
	}
	for _, m := range members {
		cross(m, m)
	}
	near(distinct, func(i, j int) { cross(members[i], members[j]) })
}

// oneDesign weighs two spellings; ok is false where they are not alike, or no two
// copies could be of one design.
func oneDesign(a, b *copies) (e evidence, ok bool) {
	shared := false
	for t := range a.traits {
		shared = shared || b.traits[t]
	}
	likeness, known := a.design.namedLike(b.design)
	if !shared || !known || likeness < otherLikeness {
		return e, false
	}
	switch {
	case likeness >= 1:
		e.add(lettersAlike, "the spellings differ in nothing that is heard")
	case a.design.maker.empty() != b.design.maker.empty() && likeness >= noMaker:
		e.add(makerMissing, "the maker is stated of one only")
	case likeness >= slipLikeness:
		e.add(oneSlip, "the spellings differ by a slip")
	default:
		e.add(moreSlips, "the spellings are alike")
	}
	if b.count >= manyCopies && b.count >= rareFor*a.count {
		e.add(rareSpelling, "%d records are spelled the latter way, %d the former", b.count, a.count)
	}
	e.dimensions(a.average, b.average, designsClose, closeDesigns, designsApart)
	return e, true
}
