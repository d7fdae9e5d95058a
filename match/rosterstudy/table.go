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
	w := simulate.GenerateWith(simulate.Options{Kind: t.o.kind, Size: t.o.size, Seed: seed})
	var classes []simulate.Class
	for k := range 2 * t.o.classes {
		sessions := 1 - k%2
		classes = append(classes, w.AddClass(simulate.ClassOptions{Students: t.o.students, Horns: t.o.horns, Sessions: sessions, Number: uint64(k)}))
	}
	m, err := fit.Current(ctx, w.Store(), fit.Options{})
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
	for _, measured := range []bool{true, false} {
		title := "students measured at home in one session each"
		if !measured {
			title = "students never measured"
		}
		rows := t.outcomes[measured]
		fmt.Fprintf(out, "%d classes of %d students and %d horns, catalogs %s %s: %s\n\n", len(rows[nowRow]), t.o.students, t.o.horns, t.o.kind, t.o.size, title)
		fmt.Fprintf(out, "| %-18s | mean error | worst | gain +- s.e. | share | promised | moved | worse off by .5 |\n|%s|\n", "policy", "---|---|---|---|---|---|---|---")
		possible := mean(rows["perfect knowledge"], func(o outcome) float64 { return o.gain })
		names := []string{nowRow}
		for _, p := range policies {
			names = append(names, p.name)
		}
		for _, name := range names {
			list := rows[name]
			gain := mean(list, func(o outcome) float64 { return o.gain })
			promised := "-"
			if p := mean(list, func(o outcome) float64 { return o.promised }); !math.IsNaN(p) {
				promised = fmt.Sprintf("%.2f", p)
			}
			_, err := fmt.Fprintf(out, "| %-18s | %.2f | %.2f | %.2f +- %.2f | %.0f %% | %s | %.1f | %.1f |\n", name,
				mean(list, func(o outcome) float64 { return o.mean }), mean(list, func(o outcome) float64 { return o.worst }),
				gain, standardError(list), 100*gain/possible, promised,
				mean(list, func(o outcome) float64 { return o.moved }), mean(list, func(o outcome) float64 { return o.worseOff }))
			if err != nil {
				return err
			}
		}
		fmt.Fprintln(out)
	}
	return nil
}

func mean(list []outcome, of func(outcome) float64) float64 {
	sum := 0.0
	for _, o := range list {
		sum += of(o)
	}
	return sum / float64(len(list))
}

// standardError is that of the mean gain, classes taken for independent.
func standardError(list []outcome) float64 {
	if len(list) < 2 {
		return math.NaN()
	}
	m := mean(list, func(o outcome) float64 { return o.gain })
	square := mean(list, func(o outcome) float64 { return (o.gain - m) * (o.gain - m) })
	return math.Sqrt(square / float64(len(list)-1))
}
