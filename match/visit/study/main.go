// Command study judges the plans of visits on simulated catalogs whose truth is
// known, for contributors:
//
//	go run ./match/visit/study -catalogs 50
//
// A visit: a horn of the catalog, a player who has measured the own setup at home,
// 40 mouthpieces that nobody has paired with the horn, six tries. The study prints
// what the pick of each way to spend the visit loses to the best of the 41
// setups, in cents (regret), its difference from the top of the list in paired
// visits, what share of the possible saving is reached, and how often the pick is
// worse than the setup played now; then what the deciding notes hold, and how
// near the best set of notes the chosen one comes. Standard errors are clustered
// by catalog.
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"slices"

	"centwise/match/fit/simulate"
)

// options are the command line.
type options struct {
	catalogs int
	seed     uint64
	draws    int
	sets     int
	compare  bool
}

func main() { simulate.Study("study", parse, run) }

func parse(args []string, talk io.Writer) (options, error) {
	var o options
	flags := flag.NewFlagSet("study", flag.ContinueOnError)
	flags.SetOutput(talk)
	flags.IntVar(&o.catalogs, "catalogs", 50, fmt.Sprintf("simulated catalogs, %d visits each", visitsPerCatalog))
	flags.Uint64Var(&o.seed, "seed", 1, "seed of the first catalog; the others count on from it")
	flags.IntVar(&o.draws, "draws", 0, "draws of the fit; 0 is what the fit makes by itself")
	flags.IntVar(&o.sets, "sets", 2, "catalogs on whose visits all sets of four notes are looked at")
	flags.BoolVar(&o.compare, "compare", false, "only the top of the list and the adapted plan, which need many visits to tell apart")
	if err := flags.Parse(args); err != nil {
		return o, err
	}
	if flags.NArg() > 0 {
		return o, fmt.Errorf("%q is not a flag: the study takes flags only", flags.Arg(0))
	}
	if o.catalogs < 1 || o.draws < 0 || o.sets < 0 {
		return o, fmt.Errorf("-catalogs must be 1 or more, -draws and -sets nought or more")
	}
	return o, nil
}

// chosen are the policies to run.
func (o options) chosen() []policy {
	if !o.compare {
		return policies
	}
	return slices.DeleteFunc(slices.Clone(policies), func(p policy) bool { return !p.compared })
}

func run(ctx context.Context, o options, out, talk io.Writer) error {
	t := newTally(o.chosen())
	for c := range o.catalogs {
		if ctx.Err() != nil && c > 0 {
			fmt.Fprintln(talk, "stopped: the table is of the catalogs so far")
			break
		}
		fmt.Fprintf(talk, "catalog %d of %d ...\n", c+1, o.catalogs)
		list, err := scenes(context.WithoutCancel(ctx), o.seed+uint64(c), o.draws) // a catalog that is begun is finished
		if err != nil {
			return err
		}
		for _, s := range list {
			t.visit(c, s)
			t.notes(s, c < o.sets)
		}
	}
	return t.write(out)
}
