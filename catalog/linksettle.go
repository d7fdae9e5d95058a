package catalog

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Linkable is what of a record decides whether it may be linked with another.
type Linkable struct {
	Label  string
	Traits []Trait // those of one kind have the same names in the same order
	Serial string
}

// Trait is something that is the same of two records of one thing.
type Trait struct{ Name, Value string }

// Linkable lists what no two records of one horn may differ in.
func (h Horn) Linkable() Linkable {
	return Linkable{h.Label, []Trait{{"kind", string(h.Instrument)}, {"key", string(h.Key)},
		{"number of valves", fmt.Sprint(h.Valves)}, {"receiver", string(h.Receiver)}}, h.Serial}
}

// Linkable lists what no two records of one mouthpiece may differ in.
func (m Mouthpiece) Linkable() Linkable {
	return Linkable{m.Label, []Trait{{"shank", string(m.Shank)}}, m.Serial}
}

// Settled is what becomes of a link.
type Settled struct {
	Root string // what the alias goes by in the end; empty if the link is not in effect
	Why  string // it is not
}

// Why links are not in effect, beside what two records differ in.
const (
	WhyApart   = "it was taken apart"
	WhyCircle  = "a later link goes the other way round"
	WhyNoAlias = "the alias is not in the catalog"
	WhyNoKept  = "what it is an alias of is not in the catalog"
)

// SettleLinks decides which links are in effect, one answer a link, by the links
// and the records alone: so catalogs that hold the same agree, whatever way they
// came by it. Links are taken up from the one made last to the one made first. One
// is left out that was taken apart, that names a record the catalog does not hold
// (record says nothing of it), that would close a circle, or that would join
// things that can't be one: records differ in a trait, or two serial numbers are
// stated.
func SettleLinks(links []Link, record func(k LinkKind, id string) (Linkable, bool)) []Settled {
	s := settler{record: record, parent: map[linkEnd]linkEnd{}, groups: map[linkEnd]*linkGroup{}}
	order := make([]int, len(links))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(i, j int) int {
		a, b := &links[i], &links[j]
		return -cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Alias, b.Alias))
	})
	out := make([]Settled, len(links))
	for _, i := range order {
		out[i].Why = s.take(links[i])
	}
	for i, l := range links {
		if out[i].Why == "" {
			out[i].Root = s.root(linkEnd{l.Kind, l.Alias}).name
		}
	}
	return out
}

type linkEnd struct {
	kind LinkKind
	name string
}

// linkGroup is what is known of records that are one thing.
type linkGroup struct {
	first   Linkable // for its traits
	serials Linkable // one that states a serial number, if any
}

type settler struct {
	record func(k LinkKind, id string) (Linkable, bool)
	parent map[linkEnd]linkEnd
	groups map[linkEnd]*linkGroup // by root
}

// root follows links to their end, and shortens the way.
func (s *settler) root(e linkEnd) linkEnd {
	end := e
	for next, ok := s.parent[end]; ok; next, ok = s.parent[end] {
		end = next
	}
	for e != end {
		e, s.parent[e] = s.parent[e], end
	}
	return end
}

// take takes a link up, or says why not.
func (s *settler) take(l Link) string {
	if l.Retired {
		return WhyApart
	}
	alias, kept := linkEnd{l.Kind, l.Alias}, linkEnd{l.Kind, l.Kept}
	root := s.root(kept)
	if root == alias {
		return WhyCircle
	}
	if l.Kind.OfDesign() {
		s.parent[alias] = kept
		return ""
	}
	// Every alias has one link, so it is still the root of what is linked to it.
	a, b := s.group(alias), s.group(root)
	switch {
	case a == nil:
		return WhyNoAlias
	case b == nil:
		return WhyNoKept
	}
	if why := a.contradicts(b); why != "" {
		return why
	}
	if b.serials.Serial == "" {
		b.serials = a.serials
	}
	s.parent[alias] = kept
	return ""
}

// group is what is known of a root and those linked to it; nil if the catalog does
// not hold it.
func (s *settler) group(root linkEnd) *linkGroup {
	g, known := s.groups[root]
	if !known {
		if r, ok := s.record(root.kind, root.name); ok {
			g = &linkGroup{first: r}
			if r.Serial != "" {
				g.serials = r
			}
		}
		s.groups[root] = g
	}
	return g
}

func (g *linkGroup) contradicts(h *linkGroup) string {
	for i, t := range g.first.Traits {
		if other := h.first.Traits[i]; t != other {
			return fmt.Sprintf("the %s of %q is %s, that of %q is %s", t.Name, g.first.Label, t.Value, h.first.Label, other.Value)
		}
	}
	a, b := g.serials, h.serials
	if a.Serial != "" && b.Serial != "" && PlainSerial(a.Serial) != PlainSerial(b.Serial) {
		return fmt.Sprintf("%q has the serial number %s, %q has %s", a.Label, a.Serial, b.Label, b.Serial)
	}
	return ""
}

// PlainSerial is a serial number without what people write differently: case,
// spaces, dots, hyphens and the like, "no." before it, noughts before a number.
func PlainSerial(serial string) string {
	var b strings.Builder
	for _, word := range strings.FieldsFunc(Fold(serial), func(r rune) bool { return strings.ContainsRune(" .-_/:#,;", r) }) {
		switch word {
		case "no", "nr", "num", "number", "serial", "sn", "s", "n":
			if b.Len() == 0 {
				continue
			}
		}
		b.WriteString(word)
	}
	plain := strings.TrimLeft(b.String(), "0")
	if plain == "" && b.Len() > 0 {
		return "0"
	}
	return plain
}
