package match

import (
	"context"
	"fmt"
	"math"
	"slices"

	"centwise/catalog"
	"centwise/match/fit"
	"centwise/match/tuning"
)

// desk holds what a roster is worked out from: by student, what every horn with
// every mouthpiece is expected to leave to the lip.
type desk struct {
	e        Engine
	q        RosterQuestion
	students []*Student // by label
	horns    []*catalog.Horn
	spares   []*Spare
	judged   []*catalog.Player // as whom each student is judged
	sessions []int             // with each student

	// errs are expected errors by student: at horn*extras + extra, where extra 0
	// is the student's own mouthpiece and k the spare k-1; +Inf where shank and
	// receiver don't fit, or there is no own.
	errs [][]float64
}

// extras is how many mouthpieces a student may choose from.
func (d *desk) extras() int { return 1 + len(d.spares) }

// mouthpiece is the mouthpiece of a student's extra.
func (d *desk) mouthpiece(student, extra int) *catalog.Mouthpiece {
	if extra == 0 {
		return d.students[student].Own
	}
	return &d.spares[extra-1].Mouthpiece
}

func newDesk(ctx context.Context, e Engine, q RosterQuestion) (*desk, error) {
	d := &desk{e: e, q: q}
	for i := range q.Students {
		d.students = append(d.students, &q.Students[i])
	}
	for i := range q.Horns {
		d.horns = append(d.horns, &q.Horns[i])
	}
	if q.WhatIf != nil {
		for i := range q.WhatIf.Add {
			added := &q.WhatIf.Add[i]
			if !slices.ContainsFunc(d.horns, func(h *catalog.Horn) bool { return h.ID == added.ID }) {
				d.horns = append(d.horns, added)
			}
		}
	}
	for i := range q.Spares {
		d.spares = append(d.spares, &q.Spares[i])
	}
	slices.SortFunc(d.students, func(a, b *Student) int { return compareLabels(a.Player.Label, b.Player.Label) })
	slices.SortFunc(d.horns, func(a, b *catalog.Horn) int { return compareLabels(a.Label, b.Label) })
	slices.SortFunc(d.spares, func(a, b *Spare) int { return compareLabels(a.Mouthpiece.Label, b.Mouthpiece.Label) })
	if err := d.countSessions(); err != nil {
		return nil, err
	}
	return d, d.judge(ctx)
}

// countSessions counts the sessions with each student.
func (d *desk) countSessions() error {
	d.sessions, d.judged = make([]int, len(d.students)), make([]*catalog.Player, len(d.students))
	var setups []fit.Setup
	var at []int
	for i, s := range d.students {
		if s.Player.ID != "" {
			d.judged[i] = &s.Player
			setups, at = append(setups, fit.Setup{Player: s.Player.ID}), append(at, i)
		}
	}
	slots := AnsweredSlots(d.e)[:1]
	predictions, err := d.e.PredictMany(setups, slots)
	if err == nil {
		err = usable(predictions, len(setups), len(slots))
	}
	if err != nil {
		return fmt.Errorf("looking for the sessions of the students: %w", err)
	}
	for k, i := range at {
		d.sessions[i] = predictions[k].Evidence.Player
	}
	return nil
}

// kind is students who are judged alike: one who was measured, or all that were
// not and play the same notes. Among these the draws would differ by chance
// alone, and a plan by chance would look like knowledge.
type kind struct {
	player      *catalog.Player
	criteria    Criteria
	members     []int
	mouthpieces []catalog.Mouthpiece
}

// kinds sorts the students, and gives those of a kind one to be judged as.
func (d *desk) kinds() []*kind {
	var out []*kind
	byKey := map[string]*kind{}
	for i, s := range d.students {
		c := s.Criteria.For(&s.Player)
		plain := c
		plain.WeightsFrom, plain.Travel = "", nil
		key := fmt.Sprintf("%v", plain)
		if c.Travel != nil {
			key += fmt.Sprintf(" travel %v", *c.Travel)
		}
		switch {
		case d.sessions[i] > 0:
			key += " " + string(s.Player.ID)
		case s.Player.ID == "":
			key += " typical"
		}
		k := byKey[key]
		if k == nil {
			k = &kind{player: d.judged[i], criteria: c}
			byKey[key] = k
			out = append(out, k)
		}
		d.judged[i] = k.player
		k.members = append(k.members, i)
		if s.Own != nil {
			k.need(*s.Own)
		}
	}
	return out
}

func (k *kind) need(m catalog.Mouthpiece) {
	if !slices.ContainsFunc(k.mouthpieces, func(x catalog.Mouthpiece) bool { return x.ID == m.ID }) {
		k.mouthpieces = append(k.mouthpieces, m)
	}
}

// judge works out the expected errors.
func (d *desk) judge(ctx context.Context) error {
	progress := d.q.Progress
	if progress == nil {
		progress = catalog.NoCounter{}
	}
	kinds := d.kinds()
	progress.Start("judging the pairings", int64(len(kinds)))
	defer progress.Done()
	d.errs = make([][]float64, len(d.students))
	var horns []catalog.Horn
	for _, h := range d.horns {
		horns = append(horns, *h)
	}
	for _, k := range kinds {
		for _, s := range d.spares {
			k.need(s.Mouthpiece)
		}
		q := Question{Horns: horns, Mouthpieces: k.mouthpieces, Player: k.player, Criteria: k.criteria, NoSupport: true,
			Filter: Filter{Adapter: d.q.Adapter, Retired: true}}
		table, err := q.errorTable(ctx, d.e)
		if err != nil {
			return err
		}
		for _, i := range k.members {
			d.errs[i] = d.errorsOf(i, table)
		}
		progress.Add(1)
	}
	return nil
}

// errorsOf picks a student's errors from those of the kind.
func (d *desk) errorsOf(i int, table *errorTable) []float64 {
	extras := d.extras()
	out := make([]float64, len(d.horns)*extras)
	for k := range extras {
		m := d.mouthpiece(i, k)
		for h := range d.horns {
			out[h*extras+k] = math.Inf(1)
			if m != nil {
				out[h*extras+k] = table.at(h, m.ID)
			}
		}
	}
	return out
}

// errorTable holds expected errors of horns, by label, with mouthpieces.
type errorTable struct {
	column map[catalog.ID]int
	width  int
	cents  []float64
}

func (t *errorTable) at(horn int, mouthpiece catalog.ID) float64 {
	return t.cents[horn*t.width+t.column[mouthpiece]]
}

// errorTable gives the expected errors, and nothing else, of all pairs; +Inf
// where shank and receiver don't fit.
func (q Question) errorTable(ctx context.Context, e Engine) (*errorTable, error) {
	f, err := q.field(e)
	if err != nil {
		return nil, err
	}
	t := &errorTable{map[catalog.ID]int{}, len(f.mouthpieces), make([]float64, len(f.horns)*len(f.mouthpieces))}
	for at, m := range f.mouthpieces {
		t.column[m.ID] = at
	}
	for at := range t.cents {
		t.cents[at] = math.Inf(1)
	}
	list := f.candidates()
	put := func(c candidate, x float64) { t.cents[c.horn*t.width+c.mouthpiece] = x }
	g, ok := e.(gridEngine)
	if !ok {
		judged := make([]Pairing, len(list))
		if err := q.judgeBatches(ctx, e, f, list, judged); err != nil {
			return nil, err
		}
		for i, c := range list {
			put(c, judged[i].ErrorCents)
		}
		return t, nil
	}
	l, err := f.lattice(g, q.Player)
	if err != nil {
		return nil, err
	}
	onCores(len(list), func() func(i int) {
		cast := l.newCasters()
		var errs []float64
		return func(i int) {
			if ctx.Err() == nil {
				put(list[i], rootMeanSquare(f.plans[list[i].horn].problem, cast.draws(list[i]), &errs))
			}
		}
	})
	return t, ctx.Err()
}

// rootMeanSquare is the expected error of draws, as [summary] gives it; errs is
// room to work in.
func rootMeanSquare(p *tuning.Problem, draws [][]float64, errs *[]float64) float64 {
	if len(*errs) < len(draws) {
		*errs = make([]float64, len(draws))
	}
	p.Errors((*errs)[:len(draws)], draws)
	sum := 0.0
	for _, x := range (*errs)[:len(draws)] {
		sum += x * x
	}
	return math.Sqrt(sum / float64(len(draws)))
}
