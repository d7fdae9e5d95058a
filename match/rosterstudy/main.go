// Command rosterstudy judges rosters on simulated classes whose truth is known,
// for contributors:
//
//	go run ./match/rosterstudy -catalogs 10
//
// In each catalog, classes of students with mouthpieces of their own play horns
// that chance gave them; some classes were measured at home in one session each,
// some never. Each is given horns by several policies, and the table says what
// that gains in truth: the share of what perfect knowledge would gain, what the
// plan promised, how many are worse off, how many moved. Errors are in cents: by
// default over the 27 usual notes that need no throw, without throws; with
// -throws over all 31, with usual throws. Standard errors are clustered by
// catalog. All horns of a catalog have as many sessions, and so have all
// mouthpieces and players; harsher are -uneven catalogs, where half of them have
// one, and a few very many.
package main

import (
	"context"
	"flag"
	"fmt"
	"io"

	"centwise/match/fit/simulate"
)

// options are the command line.
type options struct {
	kind     simulate.Kind
	size     simulate.Size
	catalogs int
	first    uint64 // seed
	sessions int    // of a catalog; 0 = what its size has
	uneven   bool
	rounds   int // of readings at home
	draws    int // of the fit; 0 = as many as it makes by itself
	classes  int // measured ones in each catalog, and as many that never were
	students int
	horns    int
	throws   bool
}

func main() { simulate.Study("rosterstudy", parse, run) }

func parse(args []string, talk io.Writer) (options, error) {
	flags := flag.NewFlagSet("rosterstudy", flag.ContinueOnError)
	flags.SetOutput(talk)
	kind := flags.String("kind", string(simulate.Plain), "kind of catalog: plain or harder")
	size := flags.String("size", string(simulate.Small), "size of catalog: small or medium")
	var o options
	flags.IntVar(&o.catalogs, "catalogs", 10, "how many catalogs")
	flags.Uint64Var(&o.first, "seed", 1, "seed of the first catalog; the others follow")
	flags.IntVar(&o.sessions, "sessions", 0, "sessions of a catalog; 0 is what its size has: 250 or 1,800")
	flags.BoolVar(&o.uneven, "uneven", false, "half of the horns, mouthpieces and players have one session, a few very many")
	flags.IntVar(&o.rounds, "rounds", simulate.HomeRounds, "how often each note is read at home")
	flags.IntVar(&o.draws, "draws", 0, "draws of the fit; 0 is what the fit makes by itself")
	flags.IntVar(&o.classes, "classes", 2, "measured classes in each catalog, and as many that never were")
	flags.IntVar(&o.students, "students", 20, "students of a class")
	flags.IntVar(&o.horns, "horns", 24, "horns of a class")
	flags.BoolVar(&o.throws, "throws", false, "judge all usual notes on horns with throws")
	if err := flags.Parse(args); err != nil {
		return o, err
	}
	switch o.kind, o.size = simulate.Kind(*kind), simulate.Size(*size); {
	case flags.NArg() > 0:
		return o, fmt.Errorf("%q is not a flag: the study takes flags only", flags.Arg(0))
	case o.kind != simulate.Plain && o.kind != simulate.Harder:
		return o, fmt.Errorf("-kind %q is not known: use plain or harder", *kind)
	case o.size != simulate.Small && o.size != simulate.Medium:
		return o, fmt.Errorf("-size %q is not known: use small or medium", *size)
	case o.sessions < 0 || o.rounds < 1 || o.draws < 0:
		return o, fmt.Errorf("-rounds must be 1 or more, -sessions and -draws nought or more")
	case o.catalogs < 1 || o.classes < 1 || o.students < 1 || o.horns < o.students:
		return o, fmt.Errorf("give at least one catalog, class and student, and as many horns as students")
	}
	return o, nil
}

func run(ctx context.Context, o options, out, talk io.Writer) error {
	t := newTable(o)
	for k := range o.catalogs {
		seed := o.first + uint64(k)
		fmt.Fprintf(talk, "catalog %d of %d, seed %d ...\n", k+1, o.catalogs, seed)
		if err := t.catalog(ctx, seed); err != nil {
			return fmt.Errorf("catalog with seed %d: %w", seed, err)
		}
	}
	return t.write(out)
}
