// Command study judges the fit on simulated catalogs whose truth is known, for
// contributors:
//
//	go run ./match/fit/study -kind plain -sizes small,medium -seeds 1,2,3
//
// It prints, for our engine, the plain sum, the mean alone, the bound (the true
// covariances known) and - where Rscript with lme4 is found - crossed effects
// note by note: the rms error in cents over the 31 usual notes of held-out pairs
// after the best constant offset, how often the 50 and 90 % intervals hold the
// truth, what the top pick of 20 candidates per horn loses to the best of them,
// time and memory.
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"centwise/catalog"
	"centwise/match/fit"
	"centwise/match/fit/simulate"
)

// options are the command line.
type options struct {
	kind    simulate.Kind
	sizes   []simulate.Size
	seeds   []uint64
	methods []string
	look    int
	csvDir  string
}

// largestForLme4 is the size up to which lme4 runs unless asked for by name: on
// the large one it takes some ten minutes.
const largestForLme4 = simulate.Medium

func main() { simulate.Study("study", parse, run) }

func parse(args []string, talk io.Writer) (options, error) {
	flags := flag.NewFlagSet("study", flag.ContinueOnError)
	flags.SetOutput(talk)
	kind := flags.String("kind", string(simulate.Plain), "kind of catalog: plain or harder")
	sizes := flags.String("sizes", "small,medium", "sizes, comma-separated: small, medium, large")
	seeds := flags.String("seeds", "1,2,3", "seeds, comma-separated")
	methods := flags.String("methods", "", "methods, comma-separated: mean, sum, lme4, engine, bound (default all; lme4 up to medium)")
	look := flags.Int("look", 0, "mouthpieces a player tries before keeping one; 0 is the kind's default, 1 pairs at random")
	dir := flags.String("csv", "", "write the catalogs as CSV into this directory and stop")
	if err := flags.Parse(args); err != nil {
		return options{}, err
	}
	if flags.NArg() > 0 {
		return options{}, fmt.Errorf("%q is not a flag: the study takes flags only", flags.Arg(0))
	}
	o := options{kind: simulate.Kind(*kind), look: *look, csvDir: *dir}
	if !slices.Contains([]simulate.Kind{simulate.Plain, simulate.Harder}, o.kind) {
		return o, fmt.Errorf("-kind %q is not known: use plain or harder", *kind)
	}
	for _, s := range strings.Split(*sizes, ",") {
		size := simulate.Size(strings.TrimSpace(s))
		if !slices.Contains([]simulate.Size{simulate.Small, simulate.Medium, simulate.Large}, size) {
			return o, fmt.Errorf("-sizes: %q is not a size: use small, medium, large", s)
		}
		o.sizes = append(o.sizes, size)
	}
	for _, s := range strings.Split(*seeds, ",") {
		seed, err := strconv.ParseUint(strings.TrimSpace(s), 10, 64)
		if err != nil {
			return o, fmt.Errorf("-seeds: %q is not a whole number of 0 or more", s)
		}
		o.seeds = append(o.seeds, seed)
	}
	if *methods != "" {
		for _, m := range strings.Split(*methods, ",") {
			m = strings.TrimSpace(m)
			if !slices.Contains(methodNames, m) {
				return o, fmt.Errorf("-methods: %q is not a method: use %s", m, strings.Join(methodNames, ", "))
			}
			o.methods = append(o.methods, m)
		}
	}
	return o, nil
}

// methodNames are what -methods takes, in the order of the table.
var methodNames = []string{"mean", "sum", "lme4", "engine", "bound"}

// choose makes the methods to run on catalogs of a size.
func (o options) choose(ctx context.Context, size simulate.Size, talk io.Writer) []Method {
	var out []Method
	for _, name := range methodNames {
		asked := slices.Contains(o.methods, name)
		if len(o.methods) > 0 && !asked {
			continue
		}
		switch name {
		case "mean":
			out = append(out, &meanOnly{})
		case "sum":
			out = append(out, &plainSum{})
		case "lme4":
			if size == simulate.Large && !asked {
				fmt.Fprintf(talk, "lme4 is left out beyond size %s: ask for it by -methods\n", largestForLme4)
			} else if findLme4(ctx) {
				out = append(out, &lme4{})
			} else {
				fmt.Fprintln(talk, "lme4 is left out: no Rscript with the package lme4 was found")
			}
		case "engine":
			out = append(out, &engine{fit: func(ctx context.Context, s catalog.Store) (predictor, error) {
				return fit.Current(ctx, s, fit.Options{})
			}})
		case "bound":
			out = append(out, &bound{draws: boundDraws[size], seed: 1})
		}
	}
	return out
}

// boundDraws is how many posterior draws the bound's intervals rest on.
var boundDraws = map[simulate.Size]int{simulate.Small: 64, simulate.Medium: 32, simulate.Large: 12}

func run(ctx context.Context, o options, out, talk io.Writer) error {
	if o.csvDir != "" {
		return writeCatalogs(o, talk)
	}
	for _, size := range o.sizes {
		t := newTable(o.kind, size)
		for _, seed := range o.seeds {
			w := simulate.GenerateWith(simulate.Options{Kind: o.kind, Size: size, Seed: seed, Look: o.look})
			t.catalog(w)
			for _, m := range o.choose(ctx, size, talk) {
				fmt.Fprintf(talk, "%v: %s ...\n", w, m.Name())
				r, err := judge(ctx, m, w)
				if err != nil {
					return fmt.Errorf("%v, %s: %w", w, m.Name(), err)
				}
				t.add(m.Name(), seed, r)
			}
		}
		if err := t.write(out); err != nil {
			return err
		}
	}
	return nil
}

// judge fits, predicts and scores; time and memory are those of fitting and of
// predicting all pairs once.
func judge(ctx context.Context, m Method, w *simulate.World) (result, error) {
	stop := watchMemory()
	begin := time.Now()
	if err := m.Fit(ctx, w); err != nil {
		stop()
		return result{}, err
	}
	fitted := time.Since(begin)
	r, err := score(ctx, m, w)
	r.seconds, r.bytes = fitted.Seconds(), stop()
	if l, ok := m.(*lme4); ok {
		r.bytes = l.peak
	}
	return r, err
}

// writeCatalogs writes the catalogs for use with the command line.
func writeCatalogs(o options, talk io.Writer) error {
	if err := os.MkdirAll(o.csvDir, 0o755); err != nil {
		return err
	}
	for _, size := range o.sizes {
		for _, seed := range o.seeds {
			w := simulate.GenerateWith(simulate.Options{Kind: o.kind, Size: size, Seed: seed, Look: o.look})
			base := filepath.Join(o.csvDir, fmt.Sprintf("%s-%s-%d", o.kind, size, seed))
			for _, part := range []struct {
				name  string
				write func(io.Writer) error
			}{
				{"-gear.csv", func(out io.Writer) error { return simulate.WriteGearCSV(out, w) }},
				{"-sessions.csv", func(out io.Writer) error { return simulate.WriteSessionsCSV(out, w) }},
				{"-pairs.csv", func(out io.Writer) error { return writePairs(out, w) }},
				{"-truth.csv", func(out io.Writer) error { return writeTruth(out, w) }},
			} {
				if err := writeFile(base+part.name, part.write); err != nil {
					return err
				}
			}
			fmt.Fprintf(talk, "%v: %d sessions, %d readings in %s-*.csv\n", w, len(w.Sessions), w.Readings(), base)
		}
	}
	return nil
}
