package match

import (
	"cmp"
	"context"
	"slices"

	"centwise/catalog"
)

// Worth is what one more horn, or one more mouthpiece, of a design would gain a
// class.
type Worth struct {
	Kind   string `json:"kind"`   // horn or mouthpiece
	Design string `json:"design"` // maker and model
	// Like is a specimen of the design in the catalog.
	Like string `json:"like"`
	// TotalCents is by how much the total of the class falls, changes counted; it
	// is never below nought, as what is not wanted need not be given out, and
	// nought where more students are served, whose errors come on top.
	TotalCents float64 `json:"total_cents"`
	// Gain is how much less is left to the lip, in all, by joint draws.
	Gain   Gain   `json:"gain"`
	Served int    `json:"served"` // how many more students are served
	Who    string `json:"student,omitempty"`
	// Different is how many students have something else than without it.
	Different int `json:"different"`

	total float64 // of the class with it
}

// newSpecimen begins the id of a specimen that is not there.
const newSpecimen = "new specimen "

// OneMoreOfEach gives a new specimen of every design of the horns and of the
// mouthpieces: nobody has measured it, so it varies about its design. Gear whose
// model is not known has no design.
func OneMoreOfEach(horns []catalog.Horn, mouthpieces []catalog.Mouthpiece, designs catalog.Designs) (newHorns []catalog.Horn, newMouthpieces []catalog.Mouthpiece) {
	seen := map[string]bool{}
	for _, h := range horns {
		key := designs.Horn(h)
		if key == "" || seen["h"+key] {
			continue
		}
		seen["h"+key] = true
		label := h.Label
		h.ID, h.Serial, h.Owner, h.Loaner, h.Retired = catalog.ID(newSpecimen+"horn "+key), "", "", true, false
		h.Label = newLabel(h.Maker, h.Model, label)
		newHorns = append(newHorns, h)
	}
	for _, m := range mouthpieces {
		key := designs.Mouthpiece(m)
		if key == "" || seen["m"+key] {
			continue
		}
		seen["m"+key] = true
		label := m.Label
		m.ID, m.Serial, m.Owner, m.Retired = catalog.ID(newSpecimen+"mouthpiece "+key), "", "", false
		m.Label = newLabel(m.Maker, m.Model, label)
		newMouthpieces = append(newMouthpieces, m)
	}
	return newHorns, newMouthpieces
}

// newLabel names a new specimen; no label in a catalog has a line end.
func newLabel(maker, model, like string) string { return maker + " " + model + "\n" + like }

// Extended is a store with gear that is not in it, for a fit that knows the
// designs of that gear. It is for reading only.
type Extended struct {
	catalog.Store
	MoreHorns       []catalog.Horn
	MoreMouthpieces []catalog.Mouthpiece
}

// Horns lists the horns with those that are not there.
func (e Extended) Horns(ctx context.Context, retired bool) ([]catalog.Horn, error) {
	have, err := e.Store.Horns(ctx, retired)
	return append(have, e.MoreHorns...), err
}

// Mouthpieces lists the mouthpieces with those that are not there.
func (e Extended) Mouthpieces(ctx context.Context, retired bool) ([]catalog.Mouthpiece, error) {
	have, err := e.Store.Mouthpieces(ctx, retired)
	return append(have, e.MoreMouthpieces...), err
}

// WorthOfOneMore says what each of some new horns and mouthpieces would gain the
// class of a roster question, by the least total, the most first. The engine must
// know them, as that of a catalog [Extended] by them does. What nobody could play
// is left out.
func WorthOfOneMore(ctx context.Context, e Engine, q RosterQuestion, horns []catalog.Horn, mouthpieces []catalog.Mouthpiece) ([]Worth, error) {
	q.Fairest, q.WhatIf = false, nil
	if err := q.check(); err != nil {
		return nil, err
	}
	baseHorns, baseSpares := len(q.Horns), len(q.Spares)
	all := q
	all.Horns = slices.Concat(q.Horns, horns)
	all.Spares = slices.Clone(q.Spares)
	for _, m := range mouthpieces {
		all.Spares = append(all.Spares, Spare{m, 1})
	}
	full, err := newDesk(ctx, e, all)
	if err != nil {
		return nil, err
	}
	w := &worthDesk{full: full, q: q}
	w.plain = full.only(q)
	w.plan = w.plain.plan(w.plain.plainRules())
	var out []Worth
	for _, h := range all.Horns[baseHorns:] {
		with := q
		with.Horns = slices.Concat(q.Horns, []catalog.Horn{h})
		if out, err = w.add(ctx, out, with, Worth{Kind: "horn", Design: designName(h.Maker, h.Model), Like: likeOf(h.Label)}, h.Label); err != nil {
			return nil, err
		}
	}
	for _, s := range all.Spares[baseSpares:] {
		with := q
		with.Spares = slices.Concat(q.Spares, []Spare{s})
		m := s.Mouthpiece
		if out, err = w.add(ctx, out, with, Worth{Kind: "mouthpiece", Design: designName(m.Maker, m.Model), Like: likeOf(m.Label)}, m.Label); err != nil {
			return nil, err
		}
	}
	slices.SortStableFunc(out, func(a, b Worth) int {
		return cmp.Or(cmp.Compare(b.Served, a.Served), cmp.Compare(a.total, b.total), compareLabels(a.Design, b.Design))
	})
	return out, nil
}

func designName(maker, model string) string {
	if maker == "" {
		return model
	}
	return maker + " " + model
}

// likeOf is the label of the specimen that a new one is like.
func likeOf(label string) string {
	for i := range label {
		if label[i] == '\n' {
			return label[i+1:]
		}
	}
	return label
}

// worthDesk compares plans with the plan as things are.
type worthDesk struct {
	full  *desk
	q     RosterQuestion
	plain *desk
	plan  *rosterPlan
}

// add works out what one more thing is worth; label is the thing's.
func (w *worthDesk) add(ctx context.Context, out []Worth, q RosterQuestion, x Worth, label string) ([]Worth, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	d := w.full.only(q)
	p := d.plan(d.plainRules())
	x.Served = p.served() - w.plan.served()
	if x.total = p.total; x.Served == 0 {
		x.TotalCents = max(0, w.plan.total-p.total)
	}
	var before, after classGains
	for i := range d.students {
		then, now := d.has(p, i), w.plain.has(w.plan, i)
		if then == now {
			continue
		}
		x.Different++
		if then.horn == label || then.mouthpiece == label {
			x.Who = d.students[i].Player.Label
		}
		for _, side := range []struct {
			d *desk
			p *rosterPlan
			g *classGains
		}{{w.plain, w.plan, &before}, {d, p, &after}} {
			if h := side.p.horn[i]; h >= 0 {
				pair, err := side.d.judgePair(i, *side.d.horns[h], *side.d.mouthpiece(i, side.p.extra[i]))
				if err != nil {
					return nil, err
				}
				side.g.add(pair.errs)
			}
		}
	}
	if x.Served == 0 && x.Who != "" && before.students == after.students {
		gains := before.total
		for k := range gains {
			gains[k] -= after.total[k]
		}
		x.Gain = *gainOf(gains)
	}
	return append(out, x), nil
}

// holding is what a student has in a plan, by labels.
type holding struct{ horn, mouthpiece string }

func (d *desk) has(p *rosterPlan, i int) holding {
	if p.horn[i] < 0 {
		return holding{}
	}
	return holding{d.horns[p.horn[i]].Label, d.mouthpiece(i, p.extra[i]).Label}
}

// only is the desk with no more horns and spare mouthpieces than a question has,
// which are all at this desk.
func (d *desk) only(q RosterQuestion) *desk {
	small := &desk{e: d.e, q: q, students: d.students, judged: d.judged, sessions: d.sessions}
	var horns, extras []int
	for h, x := range d.horns {
		if slices.ContainsFunc(q.Horns, func(y catalog.Horn) bool { return y.ID == x.ID }) {
			horns, small.horns = append(horns, h), append(small.horns, x)
		}
	}
	extras = append(extras, 0)
	for k, x := range d.spares {
		if slices.ContainsFunc(q.Spares, func(y Spare) bool { return y.Mouthpiece.ID == x.Mouthpiece.ID }) {
			extras, small.spares = append(extras, 1+k), append(small.spares, x)
		}
	}
	for i := range d.students {
		var errs []float64
		for _, h := range horns {
			for _, k := range extras {
				errs = append(errs, d.errs[i][h*d.extras()+k])
			}
		}
		small.errs = append(small.errs, errs)
	}
	return small
}
