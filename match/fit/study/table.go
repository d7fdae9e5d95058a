package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"text/tabwriter"

	"centwise/match/fit/simulate"
)

// table gathers the results on the catalogs of one kind and size.
type table struct {
	kind    simulate.Kind
	size    simulate.Size
	heads   []string
	methods []string // in the order they first came
	rows    map[string][]row
}

type row struct {
	seed uint64
	result
}

func newTable(kind simulate.Kind, size simulate.Size) *table {
	return &table{kind: kind, size: size, rows: map[string][]row{}}
}

// catalog notes what a catalog holds.
func (t *table) catalog(w *simulate.World) {
	t.heads = append(t.heads, fmt.Sprintf("seed %d: %d readings, %d sessions, %d horns, %d mouthpieces, %d players",
		w.Seed, w.Readings(), len(w.Sessions), len(w.Horns), len(w.Mouthpieces), len(w.Players)))
}

func (t *table) add(method string, seed uint64, r result) {
	if _, ok := t.rows[method]; !ok {
		t.methods = append(t.methods, method)
	}
	t.rows[method] = append(t.rows[method], row{seed, r})
}

// write prints one line a method and seed, with the means over the seeds; then
// the same by stratum.
func (t *table) write(out io.Writer) error {
	fmt.Fprintf(out, "\n%s, %s\n", t.kind, t.size)
	for _, h := range t.heads {
		fmt.Fprintf(out, "  %s\n", h)
	}
	bound := t.boundBySeed()
	tab := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(tab, "method\tseed\trms\t/bound\t50 %\t90 %\tregret\trandom\tseconds\tMiB\t")
	t.each(func(method, seed string, r, bound result) { fmt.Fprintln(tab, line(method, seed, r, bound)) }, bound)
	if err := tab.Flush(); err != nil {
		return err
	}
	strata := t.strata()
	fmt.Fprintf(out, "\nby stratum: rms, of the bound, 50 %% and 90 %% intervals\n")
	tab = tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprint(tab, "method\tseed\t")
	for _, s := range strata {
		fmt.Fprintf(tab, "%s\t\t\t\t", s)
	}
	fmt.Fprintln(tab)
	t.each(func(method, seed string, r, bound result) {
		fmt.Fprintln(tab, strataLine(method, seed, r, bound, strata))
	}, bound)
	return tab.Flush()
}

// each calls do with every result and, after several seeds of a method, with
// their mean; bound is the bound's result to compare with, empty if there is none.
func (t *table) each(do func(method, seed string, r, bound result), bound map[uint64]result) {
	for _, m := range t.methods {
		for _, r := range t.rows[m] {
			do(m, strconv.FormatUint(r.seed, 10), r.result, bound[r.seed])
		}
		if len(t.rows[m]) > 1 {
			do(m, "all", t.mean(m), t.mean("bound"))
		}
	}
}

// strata are those that any result has, in order.
func (t *table) strata() (out []simulate.Stratum) {
	for _, s := range simulate.Strata {
		for _, rows := range t.rows {
			if _, ok := rows[0].strata[s]; ok {
				out = append(out, s)
				break
			}
		}
	}
	return out
}

func (t *table) boundBySeed() map[uint64]result {
	out := map[uint64]result{}
	for _, r := range t.rows["bound"] {
		out[r.seed] = r.result
	}
	return out
}

// mean pools the errors of all seeds and averages the rest.
func (t *table) mean(method string) result {
	out := result{strata: map[simulate.Stratum]tally{}}
	rows := t.rows[method]
	for _, r := range rows {
		n := float64(len(rows))
		out.all.merge(r.all)
		for s, x := range r.strata {
			sum := out.strata[s]
			sum.merge(x)
			out.strata[s] = sum
		}
		out.regret += r.regret / n
		out.chance += r.chance / n
		out.seconds += r.seconds / n
		out.bytes = max(out.bytes, r.bytes)
	}
	return out
}

func line(method, seed string, r, bound result) string {
	fifty, ninety := r.all.coverage()
	return fmt.Sprintf("%s\t%s\t%.3f\t%s\t%s\t%s\t%.2f\t%.2f\t%.2f\t%.0f\t", method, seed, r.all.rms(), decimals(r.all.rms()/bound.all.rms(), 3),
		decimals(fifty, 1), decimals(ninety, 1), r.regret, r.chance, r.seconds, float64(r.bytes)/(1<<20))
}

func strataLine(method, seed string, r, bound result, strata []simulate.Stratum) string {
	text := fmt.Sprintf("%s\t%s\t", method, seed)
	for _, s := range strata {
		x := r.strata[s]
		fifty, ninety := x.coverage()
		text += fmt.Sprintf("%s\t%s\t%s\t%s\t", decimals(x.rms(), 2), decimals(x.rms()/bound.strata[s].rms(), 2), decimals(fifty, 0), decimals(ninety, 0))
	}
	return text
}

// decimals writes a number, or a dash where there is none.
func decimals(x float64, places int) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "-"
	}
	return strconv.FormatFloat(x, 'f', places, 64)
}

// writePairs writes the held-out pairs as predict takes them.
func writePairs(out io.Writer, w *simulate.World) error {
	c := csv.NewWriter(out)
	c.Write([]string{"horn", "mouthpiece"})
	for _, s := range simulate.Strata {
		for _, p := range w.HeldOut[s] {
			c.Write([]string{w.Horns[p.Horn].Label, w.Mouthpieces[p.Mouthpiece].Label})
		}
	}
	c.Flush()
	return c.Error()
}

// writeTruth writes the relative profile behind each held-out pair.
func writeTruth(out io.Writer, w *simulate.World) error {
	c := csv.NewWriter(out)
	c.Write([]string{"stratum", "horn", "mouthpiece", "fingering", "partial", "cents"})
	for _, s := range simulate.Strata {
		for _, p := range w.HeldOut[s] {
			for j, x := range simulate.Centred(w.Truth(p.Horn, p.Mouthpiece)) {
				slot := simulate.Slots[j]
				c.Write([]string{string(s), w.Horns[p.Horn].Label, w.Mouthpieces[p.Mouthpiece].Label,
					slot.Valves.String(), strconv.Itoa(slot.Partial), strconv.FormatFloat(x, 'f', 3, 64)})
			}
		}
	}
	c.Flush()
	return c.Error()
}
