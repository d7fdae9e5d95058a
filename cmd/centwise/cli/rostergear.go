package cli

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/match"
)

// rosterGearFlags say what there is to give out.
type rosterGearFlags struct {
	repair  string
	spares  string
	copies  []string
	locks   []string
	without []string
	added   []string
}

// repairTag is the tag of horns that are not fit to be lent, unless the user
// says another.
const repairTag = "repair"

func (g *rosterGearFlags) add(cmd *cobra.Command) {
	fs := cmd.Flags()
	fs.StringVar(&g.repair, "repair-tag", repairTag, "horns with this `TAG` are not fit to be lent")
	fs.StringVar(&g.spares, "spares", "", "students may be given mouthpieces in stock on `LIST`")
	fs.StringArrayVar(&g.copies, "copies", nil, "how many there are of a spare mouthpiece, as `LABEL=N`; repeat it for others (default 1 each)")
}

// addWhatIf adds the flags that change a plan.
func (g *rosterGearFlags) addWhatIf(cmd *cobra.Command) {
	fs := cmd.Flags()
	fs.StringArrayVar(&g.locks, "lock", nil, "a student must have a horn, as `STUDENT=HORN`, or keeps theirs, as STUDENT; repeat it for others")
	fs.StringArrayVar(&g.without, "without", nil, "leave out the horn `LABEL`; repeat it for others")
	fs.StringArrayVar(&g.added, "add", nil, "put in the horn `LABEL`, which is not lent out; repeat it for others")
}

// question gathers what match needs to plan.
func (o *rosterAsk) question(ctx context.Context, s catalog.Store) (match.RosterQuestion, *classList, error) {
	q := match.RosterQuestion{ChangeCents: o.changeCents, Fairest: o.fairest, Adapter: o.judge.adapter, Progress: o.factory.Progress()}
	class, err := o.classList(ctx, s)
	if err != nil {
		return q, nil, err
	}
	q.Students = class.students
	if err := o.gear.horns(ctx, s, &q, class); err != nil {
		return q, nil, err
	}
	if err := o.gear.mouthpieces(ctx, s, &q, class); err != nil {
		return q, nil, err
	}
	q.WhatIf, err = o.gear.whatIf(ctx, s, class)
	return q, class, err
}

// horns lists the horns that are lent out and fit to be, and those that students
// must have.
func (g *rosterGearFlags) horns(ctx context.Context, s catalog.Store, q *match.RosterQuestion, class *classList) error {
	horns, err := s.Horns(ctx, false)
	if err != nil {
		return err
	}
	var broken, away []string
	for _, h := range horns {
		has := class.elsewhere(func(l catalog.LoanSummary) bool { return l.Horn == h.ID })
		switch {
		case len(has) > 0 && h.Loaner:
			away = append(away, fmt.Sprintf("%s (%s)", h.Label, has[0]))
		case len(has) > 0:
		case slices.ContainsFunc(h.Tags, func(t string) bool { return strings.EqualFold(t, g.repair) }):
			broken = append(broken, h.Label)
		case h.Loaner || slices.ContainsFunc(q.Students, func(s match.Student) bool { return s.Only == h.ID }):
			q.Horns = append(q.Horns, h)
		}
	}
	if len(broken) > 0 {
		class.remarks = append(class.remarks, fmt.Sprintf("Not lent out, by the tag %s: %s.", g.repair, strings.Join(broken, ", ")))
	}
	if len(away) > 0 {
		class.remarks = append(class.remarks, fmt.Sprintf("Not there, lent to others: %s.", strings.Join(away, ", ")))
	}
	if len(q.Horns) == 0 {
		return catalog.Errorf(catalog.NotFound, "say which are lent out, as in: centwise horn edit LABEL --loaner yes", "no horn of the catalog is lent out")
	}
	return nil
}

// elsewhere names the players outside the class who have what a loan is of.
func (c *classList) elsewhere(of func(catalog.LoanSummary) bool) []string {
	var who []string
	for _, l := range c.out {
		if of(l) && !slices.ContainsFunc(c.students, func(s match.Student) bool { return s.Player.ID == l.Player }) {
			who = append(who, l.PlayerLabel)
		}
	}
	return who
}

// mouthpieces lists the spare ones: none that is a student's own.
// What a student has on loan is among them, and what others have is not.
func (g *rosterGearFlags) mouthpieces(ctx context.Context, s catalog.Store, q *match.RosterQuestion, class *classList) error {
	copies, err := copyCounts(ctx, s, g.copies)
	if err != nil {
		return err
	}
	list, err := s.Mouthpieces(ctx, false)
	if err != nil {
		return err
	}
	for _, m := range list {
		n, counted := copies[m.ID]
		stocked := g.spares != "" && slices.ContainsFunc(m.Stock, func(l string) bool { return strings.EqualFold(l, g.spares) })
		if !counted {
			n = 1
		}
		lent := slices.ContainsFunc(q.Students, func(s match.Student) bool {
			return s.Own == nil && s.NowMouthpiece != nil && s.NowMouthpiece.ID == m.ID
		})
		n -= len(class.elsewhere(func(l catalog.LoanSummary) bool { return l.Mouthpiece == m.ID }))
		owned := slices.ContainsFunc(q.Students, func(s match.Student) bool { return s.Own != nil && s.Own.ID == m.ID })
		if (stocked || counted || lent) && !owned && n > 0 {
			q.Spares = append(q.Spares, match.Spare{Mouthpiece: m, Copies: n})
		}
	}
	if g.spares != "" && len(q.Spares) == 0 {
		return catalog.Errorf(catalog.NotFound, "put mouthpieces on it, as in: centwise mouthpiece edit LABEL --stock "+catalog.ShellWord(g.spares), "no mouthpiece is in stock on the list %q", g.spares)
	}
	return nil
}

// copyCounts reads how many there are of mouthpieces, as LABEL=N each.
func copyCounts(ctx context.Context, s catalog.Store, texts []string) (map[catalog.ID]int, error) {
	out := map[catalog.ID]int{}
	for _, text := range texts {
		at := strings.LastIndex(text, "=")
		if at < 0 {
			return nil, usagef(`--copies "Plover 16.2=3"`, "--copies %q: write the label, = and a number", text)
		}
		n, err := strconv.Atoi(strings.TrimSpace(text[at+1:]))
		if err != nil || n < 0 {
			return nil, usagef(`--copies "Plover 16.2=3"`, "--copies %q: %q is not a whole number of nought or more", text, text[at+1:])
		}
		m, err := s.Mouthpiece(ctx, text[:at])
		if err != nil {
			return nil, err
		}
		out[m.ID] = n
	}
	return out, nil
}

// whatIf reads the flags that change a plan; nil for none.
func (g *rosterGearFlags) whatIf(ctx context.Context, s catalog.Store, class *classList) (*match.WhatIf, error) {
	if len(g.locks)+len(g.without)+len(g.added) == 0 {
		return nil, nil
	}
	w := &match.WhatIf{Locks: map[string]catalog.ID{}}
	for _, text := range g.locks {
		if err := g.lock(ctx, s, w, class, text); err != nil {
			return nil, err
		}
	}
	for _, label := range g.without {
		h, err := s.Horn(ctx, label)
		if err != nil {
			return nil, err
		}
		w.Without = append(w.Without, h.ID)
	}
	for _, label := range g.added {
		h, err := s.Horn(ctx, label)
		if err != nil {
			return nil, err
		}
		w.Add = append(w.Add, h)
	}
	return w, nil
}

// lock reads STUDENT=HORN, or STUDENT for the horn they play now.
func (g *rosterGearFlags) lock(ctx context.Context, s catalog.Store, w *match.WhatIf, class *classList, text string) error {
	handle, label, named := strings.Cut(text, "=")
	var have []string
	for _, student := range class.students {
		have = append(have, student.Player.Label)
		if catalog.Fold(student.Player.Label) != catalog.Fold(handle) {
			continue
		}
		if !named {
			if student.NowHorn == nil {
				return usagef("--lock "+catalog.ShellWord(handle)+"=HORN", "--lock %s: they play no horn now that they could keep", text)
			}
			w.Locks[student.Player.Label] = student.NowHorn.ID
			return nil
		}
		h, err := s.Horn(ctx, label)
		if err != nil {
			return err
		}
		w.Locks[student.Player.Label] = h.ID
		w.Add = append(w.Add, h) // also if it is not lent out
		return nil
	}
	return catalog.Missing("student", handle, have)
}
