package sheet

import (
	"fmt"
	"strings"

	"centwise/catalog"
)

// kind says how to handle the records of one kind of gear.
type kind[T any] struct {
	noun   string
	fields []field[T]
	base   func(*T) (id *catalog.ID, r *catalog.Revision, label *string)
	norm   func(*T)
	valid  func(*T) error
	digest func(*T) catalog.Digest
}

var horns = &kind[catalog.Horn]{kindHorn, hornFields,
	func(h *catalog.Horn) (*catalog.ID, *catalog.Revision, *string) { return &h.ID, &h.Revision, &h.Label },
	(*catalog.Horn).Normalize,
	func(h *catalog.Horn) error { return h.Validate() },
	func(h *catalog.Horn) catalog.Digest { return h.Digest() }}

var mouthpieces = &kind[catalog.Mouthpiece]{kindMouthpiece, mouthpieceFields,
	func(m *catalog.Mouthpiece) (*catalog.ID, *catalog.Revision, *string) {
		return &m.ID, &m.Revision, &m.Label
	},
	(*catalog.Mouthpiece).Normalize,
	func(m *catalog.Mouthpiece) error { return m.Validate() },
	func(m *catalog.Mouthpiece) catalog.Digest { return m.Digest() }}

var players = &kind[catalog.Player]{kindPlayer, playerFields,
	func(p *catalog.Player) (*catalog.ID, *catalog.Revision, *string) { return &p.ID, &p.Revision, &p.Label },
	(*catalog.Player).Normalize,
	func(p *catalog.Player) error { return p.Validate() },
	func(p *catalog.Player) catalog.Digest { return p.Digest() }}

// state is how an item came onto a shelf.
type state int

const (
	stored  state = iota // in the catalog before
	listed               // in a gear list of this import, new or changed
	created              // named by a session and to be made
	unknown              // named by a session and not to be made
	broken               // in a gear list of this import, with problems
)

// item is one piece of gear that this import knows.
type item[T any] struct {
	rec   T
	state state
	// Where it was first named, and by how many rows.
	from  *table
	line  int
	uses  int
	lines []int // the first few rows

	fitted bool // a mouthpiece that is to be made has the shank for its horn
}

const shownLines = 5

// sure reports whether what the item says can be relied on.
func (it *item[T]) sure() bool { return it.state != unknown && it.state != broken }

// shelf holds the gear of one kind: what the catalog has and what this import
// adds.
type shelf[T any] struct {
	*kind[T]
	byLabel map[string]*item[T] // in normal form
	folded  map[string]*item[T] // the same but for case and width: one label to the catalog
	alike   map[string]*item[T] // the same but for case, width and spaces: one label to a reader
	aliases map[string]string   // labels of those in alike that are another name of their item
	cells   map[string]*item[T] // as written in cells, to look each up once
	added   []*item[T]          // listed, created and unknown, as they came
}

func newShelf[T any](k *kind[T], have []T) *shelf[T] {
	s := &shelf[T]{kind: k, byLabel: map[string]*item[T]{}, folded: map[string]*item[T]{}, alike: map[string]*item[T]{}, aliases: map[string]string{}, cells: map[string]*item[T]{}}
	for _, rec := range have {
		s.put(&item[T]{rec: rec})
	}
	return s
}

func (s *shelf[T]) label(it *item[T]) string {
	_, _, label := s.base(&it.rec)
	return *label
}

func (s *shelf[T]) id(it *item[T]) catalog.ID {
	id, _, _ := s.base(&it.rec)
	return *id
}

func (s *shelf[T]) put(it *item[T]) {
	label := s.label(it)
	s.byLabel[label] = it
	s.folded[catalog.Fold(label)] = it
	s.alike[likeness(label)] = it
}

// putAlias lets sessions name an item of the catalog by the label of what is
// linked to it.
func (s *shelf[T]) putAlias(l catalog.LinkSummary) {
	it := s.byLabel[l.RootLabel]
	if it == nil {
		return
	}
	s.byLabel[l.AliasLabel] = it
	if fold := catalog.Fold(l.AliasLabel); s.folded[fold] == nil {
		s.folded[fold] = it
	}
	if like := likeness(l.AliasLabel); s.alike[like] == nil {
		s.alike[like], s.aliases[like] = it, l.AliasLabel
	}
}

// near is the label that differs from another only by case or spaces, which may be
// that of an alias of the item.
func (s *shelf[T]) near(label string, it *item[T]) string {
	if alias, ok := s.aliases[likeness(label)]; ok {
		return alias
	}
	return s.label(it)
}

// likeness is equal for labels that differ only by case, width or spaces.
func likeness(label string) string { return strings.ReplaceAll(catalog.Fold(label), " ", "") }

// use finds the item that a session names, and puts an unknown one on the
// shelf: to be made if create says so.
func (s *shelf[T]) use(t *table, line int, cell string, create bool, contributor string) *item[T] {
	it, ok := s.cells[cell]
	if !ok {
		label := catalog.NormalLabel(catalog.ReadCell(cell))
		if it, ok = s.byLabel[label]; !ok {
			it = s.add(t, line, label, create, contributor)
		}
		s.cells[strings.Clone(cell)] = it
	}
	it.uses++
	if it.from == t && len(it.lines) < shownLines && (len(it.lines) == 0 || it.lines[len(it.lines)-1] != line) {
		it.lines = append(it.lines, line)
	}
	return it
}

func (s *shelf[T]) add(t *table, line int, label string, create bool, contributor string) *item[T] {
	it := &item[T]{state: unknown, from: t, line: line}
	id, r, l := s.base(&it.rec)
	*l = strings.Clone(label)
	if create && s.alike[likeness(label)] == nil {
		it.state = created
		*id = catalog.NewID()
		*r = catalog.Revision{Number: 1, Contributor: contributor}
		s.norm(&it.rec)
	}
	if _, taken := s.alike[likeness(label)]; taken {
		s.byLabel[*l] = it
	} else {
		s.put(it)
	}
	s.added = append(s.added, it)
	return it
}

// labels lists the labels that a session may name.
func (s *shelf[T]) labels() []string {
	var out []string
	for label, it := range s.byLabel {
		if it.state != unknown {
			out = append(out, label)
		}
	}
	return out
}

// unknowns reports each label that is not there once, with near ones and rows,
// and records that are not accepted.
func (s *shelf[T]) unknowns(c *collector) {
	var have []string
	seen := 0
	for _, it := range s.added {
		switch it.state {
		case unknown:
			if seen++; seen == 1 {
				have = s.labels()
			}
			if seen > printed { // looking for near labels takes long, and nobody would read them
				have = nil
			}
			c.addLabel(s.unknownLabel(it, have))
		case created:
			for _, p := range catalog.ProblemsOf(s.valid(&it.rec)) {
				c.addLabel(it.from.problem(it.line, s.noun, s.label(it), p.What+it.where(), p.Hint))
			}
		}
	}
}

func (s *shelf[T]) unknownLabel(it *item[T], have []string) Problem {
	label := s.label(it)
	p := it.from.problem(it.line, s.noun, label, "is not in the catalog"+it.where(), "")
	if twin := s.alike[likeness(label)]; twin != it && twin.state != unknown {
		p.What = fmt.Sprintf("differs from %q only by case or spaces%s", s.near(label, twin), it.where())
		p.Hint = "write it the same"
		return p
	}
	if twin := s.alike[likeness(label)]; twin != it {
		p.What = fmt.Sprintf("is not in the catalog, and differs from %q only by case or spaces%s", s.near(label, twin), it.where())
	}
	p.Hint = "add it first, or make what is new with --create"
	if near := catalog.Near(label, have, 3); len(near) > 0 {
		p.Hint = "did you mean " + quotedOr(near) + "? Otherwise " + p.Hint
	}
	return p
}

// where lists the rows that name the item, if there are several.
func (it *item[T]) where() string {
	if it.uses <= 1 {
		return ""
	}
	rows := make([]string, len(it.lines))
	for i, line := range it.lines {
		rows[i] = fmt.Sprint(line)
	}
	text := fmt.Sprintf("; %d rows name it: %s", it.uses, strings.Join(rows, ", "))
	if it.uses > len(rows) {
		text += " ..."
	}
	return text
}

func quotedOr(list []string) string {
	for i := range list {
		list[i] = fmt.Sprintf("%q", list[i])
	}
	return strings.Join(list, " or ")
}
