package match

import (
	"math"
	"slices"
	"strings"

	"centwise/catalog"
	"centwise/match/assign"
)

// rules say which horns are there, and which student must have which.
type rules struct {
	gone []bool       // by horn
	only []catalog.ID // by student; empty = any
}

// plainRules are those without the what-if.
func (d *desk) plainRules() rules {
	r := rules{make([]bool, len(d.horns)), make([]catalog.ID, len(d.students))}
	for h, x := range d.horns {
		r.gone[h] = !slices.ContainsFunc(d.q.Horns, func(y catalog.Horn) bool { return y.ID == x.ID })
	}
	for i, s := range d.students {
		r.only[i] = s.Only
	}
	return r
}

// rules are those with the what-if.
func (d *desk) rules() rules {
	r := d.plainRules()
	for h, x := range d.horns {
		r.gone[h] = slices.Contains(d.q.WhatIf.Without, x.ID)
	}
	for i, s := range d.students {
		if id, ok := d.q.WhatIf.Locks[s.Player.Label]; ok {
			r.only[i] = id
		}
	}
	return r
}

// refuses says why a student can't have a horn, mouthpieces apart; "" = they
// can. A horn that a student must have may break the limits.
func (d *desk) refuses(r rules, i, h int) string {
	s, horn := d.students[i], d.horns[h]
	switch {
	case r.only[i] == horn.ID && !r.gone[h]:
		return ""
	case r.gone[h]:
		return "not there"
	case slices.Contains(s.Never, horn.ID):
		return "never to be theirs"
	case r.only[i] != "":
		return "not the horn they must have"
	case s.Key != "" && horn.Key != s.Key:
		return "other key"
	case s.Instrument != "" && horn.Instrument != s.Instrument:
		return "other instrument"
	}
	return rejectSize("bore", horn.BoreMM, s.BoreMM)
}

// mayPlay reports whether a student may be given an extra. A spare mouthpiece
// must lie within the comfort of the student.
func (d *desk) mayPlay(i, extra int) bool {
	s := d.students[i]
	if extra == 0 {
		return s.Own != nil
	}
	if s.Own != nil && s.KeepOwn {
		return false
	}
	return Filter{Comfort: true}.rejectMouthpiece(d.spares[extra-1].Mouthpiece, &s.Player) == ""
}

// cost is what a student costs with a horn and an extra: the expected error, and
// what changes must gain.
func (d *desk) cost(i, h, extra int) float64 {
	s := d.students[i]
	cost := d.errs[i][h*d.extras()+extra]
	if s.NowHorn != nil && s.NowHorn.ID != d.horns[h].ID {
		cost += d.q.ChangeCents
	}
	if m := d.mouthpiece(i, extra); s.NowMouthpiece != nil && m != nil && s.NowMouthpiece.ID != m.ID {
		cost += d.q.ChangeCents
	}
	return cost
}

// rosterPlan is a plan as places at the desk.
type rosterPlan struct {
	rules rules
	horn  []int // of each student, -1 = none
	extra []int // of each student who has a horn
	total float64
	proof Proof
	two   *assign.Two // with the costs of horns, whose things come first
}

func (p *rosterPlan) served() (n int) {
	for _, h := range p.horn {
		if h >= 0 {
			n++
		}
	}
	return n
}

// plan gives out horns and mouthpieces. Where not everybody can be served, as
// many as can be are, students who have a horn now before those who have none.
func (d *desk) plan(r rules) *rosterPlan {
	p := &rosterPlan{rules: r, two: d.costs(r, false)}
	if !d.solve(p, p.two) {
		d.solve(p, d.costs(r, true))
	}
	return p
}

// costs makes the table to solve; with orNothing, everybody may stay without a
// horn at a cost that no exchange saves.
func (d *desk) costs(r rules, orNothing bool) *assign.Two {
	n, horns, extras := len(d.students), len(d.horns), d.extras()
	t := &assign.Two{Persons: n, Things: horns, Extras: extras, Copies: []int{n}}
	if orNothing || horns < n {
		t.Things += n
	}
	for _, s := range d.spares {
		t.Copies = append(t.Copies, s.Copies)
	}
	t.Cost = slices.Repeat([]float64{math.Inf(1)}, n*t.Things*extras)
	dearest := 1.0
	for i := range n {
		for h := range horns {
			if d.refuses(r, i, h) != "" {
				continue
			}
			for k := range extras {
				if !d.mayPlay(i, k) {
					continue
				}
				if x := d.cost(i, h, k); !math.IsInf(x, 1) {
					t.Cost[(i*t.Things+h)*extras+k] = x
					dearest = max(dearest, x)
				}
			}
		}
	}
	if t.Things > horns && orNothing {
		nothing := 2 * dearest * float64(n+1)
		for i, s := range d.students {
			cost := nothing
			if s.NowHorn != nil {
				cost = 2 * nothing
			}
			t.Cost[(i*t.Things+horns+i)*extras] = cost
		}
	}
	return t
}

// searchWork bounds the search for an exact plan with spare mouthpieces, in
// costs looked at: some seconds.
const searchWork = 4e8

// solve fills in a plan; false when not everybody can be served.
func (d *desk) solve(p *rosterPlan, t *assign.Two) bool {
	if len(d.spares) == 0 {
		return d.solveHorns(p, t)
	}
	nodes := int(searchWork / float64(25*len(t.Cost)+1))
	s, err := assign.SolveTwo(t, max(1, min(5000, nodes)))
	if err != nil {
		return false
	}
	p.proof = Proof{Exact: s.Exact, LostCents: (s.Total - s.Bound) / float64(t.Persons)}
	if d.q.Fairest {
		f := assign.FairestTwo(t, s)
		d.take(p, t, f.Thing, f.Extra)
		p.proof = fairProof(f, t.Persons-p.served())
		return true
	}
	d.take(p, t, s.Thing, s.Extra)
	return true
}

// fairProof speaks of those who are served: what the others cost is no error.
func fairProof(f assign.FairTwo, unserved int) Proof {
	worst, bound := f.Worst(unserved)
	p := Proof{Exact: worst == bound}
	if !math.IsInf(bound, 0) {
		p.WorstBoundCents = bound
	}
	return p
}

// solveHorns is solve where there are no mouthpieces to give out.
func (d *desk) solveHorns(p *rosterPlan, t *assign.Two) bool {
	solve := assign.Solve
	if d.q.Fairest {
		solve = assign.Fairest
	}
	s, err := solve(t.With(make([]int, t.Persons)))
	if err != nil {
		return false
	}
	p.proof = Proof{Exact: true}
	d.take(p, t, s.Of, make([]int, t.Persons))
	return true
}

// take notes what a solution gives.
func (d *desk) take(p *rosterPlan, t *assign.Two, things, extras []int) {
	p.horn, p.extra, p.total = slices.Clone(things), extras, 0
	for i, h := range p.horn {
		if h >= len(d.horns) {
			p.horn[i] = -1
			continue
		}
		p.total += d.cost(i, h, extras[i])
	}
}

// runnerUps finds for every student what the class would do if they had to have
// another horn than the plan's, mouthpieces staying with the students.
func (d *desk) runnerUps(p *rosterPlan) []*RunnerUp {
	out := make([]*RunnerUp, len(d.students))
	var who []int // rows of the table
	for i, h := range p.horn {
		if h >= 0 {
			who = append(who, i)
		}
	}
	c := assign.NewCosts(len(who), len(d.horns))
	now := assign.Solution{}
	for row, i := range who {
		for h := range d.horns {
			x := math.Inf(1)
			if d.refuses(p.rules, i, h) == "" {
				x = d.cost(i, h, p.extra[i])
			}
			c.Set(row, h, x)
		}
		now.Of = append(now.Of, p.horn[i])
	}
	other := d.fairOthers(c, now.Of)
	if !d.q.Fairest {
		s, err := assign.Solve(c)
		if err != nil {
			return out // the plan is a solution
		}
		s.Of = now.Of // as cheap, by the plan's making
		other = assign.NewOthers(c, s).Without
	}
	for row, i := range who {
		if of, rise, ok := other(row); ok {
			out[i] = &RunnerUp{Horn: d.horns[of[row]].Label, CostCents: rise}
		}
	}
	return out
}

// fairOthers is [assign.Others.Without] for the fairest plan.
func (d *desk) fairOthers(c *assign.Costs, of []int) func(row int) ([]int, float64, bool) {
	total := 0.0
	for row, h := range of {
		total += c.At(row, h)
	}
	return func(row int) ([]int, float64, bool) {
		x := c.At(row, of[row])
		c.Set(row, of[row], math.Inf(1))
		defer c.Set(row, of[row], x)
		s, err := assign.Fairest(c)
		return s.Of, s.Total - total, err == nil
	}
}

// compare says what a what-if changes.
func (d *desk) compare(plain, changed *rosterPlan) *WhatIfOutcome {
	o := &WhatIfOutcome{TotalCents: changed.total - plain.total, Served: changed.served() - plain.served()}
	worst := func(p *rosterPlan) (x float64) {
		for i, h := range p.horn {
			if h >= 0 {
				x = max(x, d.errs[i][h*d.extras()+p.extra[i]])
			}
		}
		return x
	}
	o.WorstCents = worst(changed) - worst(plain)
	for i := range d.students {
		if plain.horn[i] != changed.horn[i] || plain.horn[i] >= 0 && plain.extra[i] != changed.extra[i] {
			o.Different++
		}
	}
	return o
}

// Unserved is a student who has no horn in a plan.
type Unserved struct {
	Student string `json:"student"`
	Reason  string `json:"reason"`
	// Students and Horns, or Mouthpieces, are what blocks: these students can have
	// nothing but these, which are fewer.
	Students    []string `json:"students,omitempty"`
	Horns       []string `json:"horns,omitempty"`
	Mouthpieces []string `json:"mouthpieces,omitempty"`
}

// unserved explains who has nothing.
func (d *desk) unserved(p *rosterPlan) []Unserved {
	var out []Unserved
	t := p.two
	horns := assign.NewCosts(t.Persons, len(d.horns))
	pieces, owner := d.pieces()
	for i := range d.students {
		for h := range d.horns {
			horns.Set(i, h, slices.Min(t.Cost[(i*t.Things+h)*t.Extras:][:t.Extras]))
		}
	}
	held := make([]int, len(d.students))
	d.holdPieces(p, owner, held)
	for i, h := range p.horn {
		if h >= 0 {
			continue
		}
		u := Unserved{Student: d.students[i].Player.Label}
		switch b, c := assign.Blocking(horns, p.horn, i), assign.Blocking(pieces, held, i); {
		case b != nil && len(b.Cols) == 0:
			u.Reason = d.whyNone(p.rules, i)
		case b != nil:
			u.Students, u.Horns = d.labels(b.Rows), hornLabels(d.horns, b.Cols)
			u.Reason = blockedWords(len(b.Rows), len(b.Cols), "horn")
		case c != nil && len(c.Cols) == 0:
			u.Reason = noPiece
		case c != nil:
			u.Students = d.labels(c.Rows)
			for _, at := range c.Cols {
				u.Mouthpieces = append(u.Mouthpieces, d.spares[owner[at]].Mouthpiece.Label)
			}
			u.Reason = blockedWords(len(c.Rows), len(c.Cols), "mouthpiece")
		default:
			u.Reason = "no horn that is left goes with a mouthpiece that is left"
		}
		out = append(out, u)
	}
	return out
}

// noPiece is why a student without a mouthpiece has no horn either.
const noPiece = "they have no mouthpiece of their own, and no spare one is for them"

func blockedWords(students, things int, noun string) string {
	return Count(students, "student") + " can have no more than " + Count(things, noun) + " between them"
}

// pieces is the table of students by copies of spare mouthpieces, and a column
// for each student's own; owner is the spare of each copy.
func (d *desk) pieces() (c *assign.Costs, owner []int) {
	for k, s := range d.spares {
		owner = append(owner, slices.Repeat([]int{k}, min(s.Copies, len(d.students)))...)
	}
	c = assign.NewCosts(len(d.students), len(owner)+len(d.students))
	for i := range d.students {
		row := c.Row(i)
		for at := range row {
			row[at] = math.Inf(1)
		}
		for at, k := range owner {
			if d.mayPlay(i, 1+k) {
				row[at] = 0
			}
		}
		if d.mayPlay(i, 0) {
			row[len(owner)+i] = 0
		}
	}
	return c, owner
}

// holdPieces notes which copy each student has.
func (d *desk) holdPieces(p *rosterPlan, owner, held []int) {
	taken := make([]bool, len(owner))
	for i := range held {
		held[i] = len(owner) + i
		switch {
		case p.horn[i] < 0:
			held[i] = -1
		case p.extra[i] > 0:
			for at, k := range owner {
				if k == p.extra[i]-1 && !taken[at] {
					taken[at], held[i] = true, at
					break
				}
			}
		}
	}
}

// whyNone counts why no horn will do for a student.
func (d *desk) whyNone(r rules, i int) string {
	counts := map[string]int{}
	piece := false
	for k := range d.extras() {
		piece = piece || d.mayPlay(i, k)
	}
	if !piece {
		return noPiece
	}
	for h := range d.horns {
		why := d.refuses(r, i, h)
		if why == "" {
			why = "no mouthpiece that fits"
		}
		counts[why]++
	}
	var parts []string
	for _, why := range sortedKeys(counts) {
		parts = append(parts, Count(counts[why], "horn")+" ("+why+")")
	}
	if len(parts) == 0 {
		return "there is no horn"
	}
	return "no horn will do: " + strings.Join(parts, ", ")
}

func (d *desk) labels(students []int) []string {
	var out []string
	for _, i := range students {
		out = append(out, d.students[i].Player.Label)
	}
	return out
}

func hornLabels(horns []*catalog.Horn, at []int) []string {
	var out []string
	for _, h := range at {
		out = append(out, horns[h].Label)
	}
	return out
}
