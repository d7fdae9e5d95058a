package twins

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"centwise/catalog"
	"centwise/match/fit"
)

// Engine knows how far apart what was measured of two records is. [fit.Model] is
// one.
type Engine interface {
	HornDifference(a, b catalog.ID) (fit.Difference, error)
	MouthpieceDifference(a, b catalog.ID) (fit.Difference, error)
}

// Question is what to search.
type Question struct {
	Horns       []catalog.Horn // retired ones are passed over
	Mouthpieces []catalog.Mouthpiece
	Links       []catalog.LinkSummary
	Engine      Engine // nil if nothing was measured
}

// Proposal says that two records, or two spellings, look like one.
type Proposal struct {
	Kind        catalog.LinkKind
	Alias, Kept string // ids, or keys of designs
	// AliasName and KeptName are labels, or designs as [catalog.DesignName.Is]
	// reads them.
	AliasName, KeptName string
	Certainty           float64
	Evidence            []string
	// Difference is how far apart what was measured is; nil where nothing was.
	Difference *fit.Difference
}

// Kinds of finding that proposals make.
const (
	FindTwin   = "twin"        // a horn or mouthpiece entered twice
	FindDesign = "twin-design" // a design spelled in two ways
)

// Finding is the proposal as a check reports it.
func (p Proposal) Finding() catalog.Finding {
	f := catalog.Finding{Kind: FindTwin, Subject: p.AliasName, Certainty: p.Certainty, Repair: fmt.Sprintf("centwise pool link %s %s %s", p.Kind, catalog.ShellWord(p.AliasName), catalog.ShellWord(p.KeptName))}
	said := strings.Join(p.Evidence, "; ")
	if p.Kind.OfDesign() {
		f.Kind = FindDesign
		f.Detail = fmt.Sprintf("%s %q and %q may be one design: %s. As two, their copies say nothing of each other", strings.ReplaceAll(string(p.Kind), "-", " "), p.AliasName, p.KeptName, said)
		return f
	}
	f.Detail = fmt.Sprintf("%s %q and %q may be one: %s. As two, they share no measurements", p.Kind, p.AliasName, p.KeptName, said)
	return f
}

const (
	// worthTelling is the certainty from which on a proposal is made.
	worthTelling = 0.5
	// worthMeasuring are the odds from which on measurements could make it one.
	worthMeasuring = -measuredAtMost
	// crowded is how many records may share a label or a serial number before those
	// of other designs are no longer compared with each other.
	crowded = 40
)

// Find proposes what may have been entered twice, the surest first. Records that
// are linked are not proposed again. The error is the context's or the engine's.
func Find(ctx context.Context, q Question) ([]Proposal, error) {
	designs := catalog.NewDesigns(q.Links)
	var out []Proposal
	s := newSearch(ctx, q.Engine)
	for _, h := range q.Horns {
		if !h.Retired {
			s.records = append(s.records, ofHorn(h))
		}
	}
	for _, m := range q.Mouthpieces {
		if !m.Retired {
			s.records = append(s.records, ofMouthpiece(m))
		}
	}
	found, err := s.find()
	if err != nil {
		return nil, err
	}
	out = append(out, found...)
	out = append(out, findDesigns(q, designs, found)...)
	slices.SortStableFunc(out, func(a, b Proposal) int {
		return cmp.Or(cmp.Compare(b.Certainty, a.Certainty), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.AliasName, b.AliasName), cmp.Compare(a.KeptName, b.KeptName))
	})
	return out, ctx.Err()
}

// search is one search for records entered twice.
type search struct {
	ctx     context.Context
	engine  Engine
	records []*record
	// How many records have a label, a serial number, or a design.
	labels, serials, designs map[string]int
	tried                    map[[2]int]bool
	pairs                    []weighed
}

// weighed is a pair that may be one.
type weighed struct {
	a, b *record
	evidence
	difference *fit.Difference
}

func newSearch(ctx context.Context, e Engine) *search {
	return &search{ctx: ctx, engine: e, labels: map[string]int{}, serials: map[string]int{}, designs: map[string]int{}, tried: map[[2]int]bool{}}
}

func labelKey(r *record) string {
	return string(r.kind) + "\n" + r.named.marks + "\n" + r.named.letters
}

func designKey(r *record) string {
	return string(r.kind) + "\n" + r.design.both.marks + "\n" + r.design.both.letters
}

func (s *search) find() ([]Proposal, error) {
	for _, r := range s.records {
		s.labels[labelKey(r)]++
		s.designs[designKey(r)]++
		if r.serial != "" {
			s.serials[r.traits+" "+r.serial]++
		}
	}
	// Ids are ULIDs: their order is the order in which records were made.
	slices.SortStableFunc(s.records, func(a, b *record) int { return strings.Compare(string(a.id), string(b.id)) })
	for _, step := range []func(){
		s.bySerial,
		func() { s.byLabel(func(r *record) spelling { return r.named }) },
		func() { s.byLabel(func(r *record) spelling { return r.bare }) },
	} {
		if step(); s.ctx.Err() != nil {
			return nil, s.ctx.Err()
		}
	}
	if err := s.measure(); err != nil {
		return nil, err
	}
	return s.settle(), nil
}

// bySerial tries records with one serial number.
func (s *search) bySerial() {
	groups := map[string][]int{}
	for i, r := range s.records {
		if r.serial != "" {
			key := r.traits + "\n" + r.serial
			groups[key] = append(groups[key], i)
		}
	}
	for _, members := range groups {
		s.tryAll(members, members)
	}
}

// byLabel tries records whose labels, or what is left of them, are alike.
func (s *search) byLabel(of func(*record) spelling) {
	byTraits := map[string]map[string][]int{} // by what the label says
	for i, r := range s.records {
		named := of(r)
		if named.empty() {
			continue
		}
		if byTraits[r.traits] == nil {
			byTraits[r.traits] = map[string][]int{}
		}
		key := named.marks + "\n" + named.letters
		byTraits[r.traits][key] = append(byTraits[r.traits][key], i)
	}
	for _, groups := range byTraits {
		var named []spelling
		var members [][]int
		for _, m := range groups {
			named, members = append(named, of(s.records[m[0]])), append(members, m)
			s.tryAll(m, m)
		}
		near(named, func(i, j int) { s.tryAll(members[i], members[j]) })
	}
}

// tryAll tries every pair of two groups, or of one; where that would be too many,
// only those of one spelling of maker and model.
func (s *search) tryAll(a, b []int) {
	if len(a)*len(b) <= crowded*crowded {
		for _, i := range a {
			for _, j := range b {
				s.try(i, j)
			}
		}
		return
	}
	byDesign := map[string][]int{}
	for _, j := range b {
		key := designKey(s.records[j])
		byDesign[key] = append(byDesign[key], j)
	}
	for _, i := range a {
		if same := byDesign[designKey(s.records[i])]; len(same) <= crowded {
			for _, j := range same {
				s.try(i, j)
			}
		}
	}
}

func (s *search) try(i, j int) {
	pair := [2]int{min(i, j), max(i, j)}
	if i == j || s.tried[pair] {
		return
	}
	a, b := s.records[pair[0]], s.records[pair[1]]
	// Labels alone can't outweigh another model; that is soon told by its marks.
	if a.design.both.marks != b.design.both.marks && !a.design.model.empty() && !b.design.model.empty() && (a.serial == "" || a.serial != b.serial) {
		return
	}
	s.tried[pair] = true
	if e, ok := s.weigh(a, b); ok && e.odds >= worthMeasuring {
		s.pairs = append(s.pairs, weighed{a: a, b: b, evidence: e})
	}
}

// measure adds to the pairs what was measured of both.
func (s *search) measure() error {
	for i := range s.pairs {
		if err := s.ctx.Err(); err != nil {
			return err
		}
		p := &s.pairs[i]
		if s.engine == nil {
			continue
		}
		compare := s.engine.HornDifference
		if p.a.kind == catalog.LinkMouthpiece {
			compare = s.engine.MouthpieceDifference
		}
		d, err := compare(p.a.id, p.b.id)
		if err != nil {
			return fmt.Errorf("comparing what was measured of %s and %s: %w", p.a, p.b, err)
		}
		p.difference = &d
		p.measured(string(p.a.kind), d)
	}
	return nil
}

// settle makes proposals of the surest pairs.
func (s *search) settle() []Proposal {
	slices.SortStableFunc(s.pairs, func(a, b weighed) int {
		return cmp.Or(cmp.Compare(b.odds, a.odds), strings.Compare(string(a.a.id), string(b.a.id)), strings.Compare(string(a.b.id), string(b.b.id)))
	})
	g := newGroups()
	for _, p := range s.pairs {
		if certainty(p.odds) >= worthTelling {
			g.join(p)
		}
	}
	return g.proposals()
}
