package main

import (
	"context"
	"fmt"
	"io"
	"math"

	"centwise/match/fit"
	"centwise/match/fit/simulate"
)

// Rows of the table, before the policies.
const nowRow = "as now"

// table gathers outcomes of classes, measured ones and others apart.
type table struct {
	o        options
	outcomes map[bool]map[string][]outcome // by whether measured, by policy
}

func newTable(o options) *table {
	return &table{o, map[bool]map[string][]outcome{true: {}, false: {}}}
}

// catalog adds the classes of one catalog, which is fitted once.
func (t *table) catalog(ctx context.Context, seed uint64) error {
	w := simulate.GenerateWith(simulate.Options{Kind: t.o.kind, Size: t.o.size, Seed: seed, Sessions: t.o.sessions, Even: !t.o.uneven})
	var classes []simulate.Class
	for k := range 2 * t.o.classes {
		sessions := 1 - k%2
		classes = append(classes, w.AddClass(simulate.ClassOptions{Students: t.o.students, Horns: t.o.horns, Sessions: sessions, Rounds: t.o.rounds, Number: uint64(k)}))
	}
	m, err := fit.Current(ctx, w.Store(), fit.Options{Draws: t.o.draws})
	if err != nil {
		return err
	}
	for k, c := range classes {
		room, err := newClassroom(w, c, t.o.throws)
		if err != nil {
			return err
		}
		if err := t.class(ctx, m, room, k%2 == 0); err != nil {
			return err
		}
	}
	return nil
}

func (t *table) class(ctx context.Context, m *fit.Model, room *classroom, measured bool) error {
	rows := t.outcomes[measured]
	rows[nowRow] = append(rows[nowRow], room.judge(room.now, math.NaN()))
	for _, p := range policies {
		of, promised, err := room.give(ctx, m, p)
		if err != nil {
			return fmt.Errorf("%s: %w", p.name, err)
		}
		rows[p.name] = append(rows[p.name], room.judge(of, promised))
	}
	return nil
}

// write prints the table.
func (t *table) write(out io.Writer) error {
	catalogs := "all items measured as often"
	if t.o.uneven {
		catalogs = "half of the items measured once"
	}
	for _, measured := range []bool{true, false} {
		title := "students measured at home in one session each"
		if !measured {
			title = "students never measured"
		}
		rows := t.outcomes[measured]
		fmt.Fprintf(out, "%d classes of %d students and %d horns, catalogs %s %s, %s: %s\n\n", len(rows[nowRow]), t.o.students, t.o.horns, t.o.kind, t.o.size, catalogs, title)
		fmt.Fprintf(out, "| %-18s | mean error | worst | gain | share | promised | moved | worse off by .5 |\n|%s|\n", "policy", "---|---|---|---|---|---|---|---")
		names := []string{nowRow}
		for _, p := range policies {
			names = append(names, p.name)
		}
		for _, name := range names {
			if err := t.row(out, name, rows[name], rows["perfect knowledge"]); err != nil {
				return err
			}
		}
		fmt.Fprintln(out)
	}
	return nil
}

// row prints what a policy comes to, beside what perfect knowledge would.
func (t *table) row(out io.Writer, name string, list, perfect []outcome) error {
	of := func(list []outcome, get func(outcome) float64) []float64 {
		var x []float64
		for _, o := range list {
			x = append(x, get(o))
		}
		return x
	}
	gain := func(o outcome) float64 { return o.gain }
	promised := "-"
	if p, _ := t.clustered(of(list, func(o outcome) float64 { return o.promised })); !math.IsNaN(p) {
		promised = fmt.Sprintf("%.2f", p)
	}
	error, _ := t.clustered(of(list, func(o outcome) float64 { return o.mean }))
	worst, _ := t.clustered(of(list, func(o outcome) float64 { return o.worst }))
	gained, gainedSE := t.clustered(of(list, gain))
	share, shareSE := t.share(of(list, gain), of(perfect, gain))
	moved, _ := t.clustered(of(list, func(o outcome) float64 { return o.moved }))
	worse, worseSE := t.clustered(of(list, func(o outcome) float64 { return o.worseOff }))
	_, err := fmt.Fprintf(out, "| %-18s | %.2f | %.2f | %.2f +- %.2f | %.0f +- %.0f %% | %s | %.1f | %.2f +- %.2f |\n", name,
		error, worst, gained, gainedSE, 100*share, 100*shareSE, promised, moved, worse, worseSE)
	return err
}

// clustered is the mean over classes and its standard error, as classes of one
// catalog hang together. Classes come catalog by catalog.
func (t *table) clustered(x []float64) (m, se float64) {
	for _, v := range x {
		m += v / float64(len(x))
	}
	sum := 0.0
	for at := 0; at < len(x); at += t.o.classes {
		off := 0.0
		for _, v := range x[at : at+t.o.classes] {
			off += v - m
		}
		sum += off * off
	}
	catalogs := float64(len(x) / t.o.classes)
	if catalogs < 2 {
		return m, math.NaN()
	}
	return m, math.Sqrt(sum*catalogs/(catalogs-1)) / float64(len(x))
}

// share is the sum of x as a share of that of y, with its standard error (of a
// ratio, to first order).
func (t *table) share(x, y []float64) (share, se float64) {
	mx, _ := t.clustered(x)
	my, _ := t.clustered(y)
	left := make([]float64, len(x))
	for i := range x {
		left[i] = (x[i] - mx/my*y[i]) / my
	}
	_, se = t.clustered(left)
	return mx / my, se
}
