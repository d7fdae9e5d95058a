// Command checkstudy judges how well wrong sessions are found, on simulated
// catalogs whose truth is known, for contributors:
//
//	go run ./match/checkstudy -size medium -catalogs 10 -seed 101
//
// The first table takes catalogs as they are simulated, with one session in a
// hundred wrong: how many of those are found, with their kind. For the second, some
// sessions of each catalog are cut to a few notes, and half of these entered
// wrongly, before the fit learns from all of them: the table says, by number of
// notes, how many of each kind are found and how many right ones are said to be
// wrong.
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"strconv"
	"strings"

	"centwise/match/fit/simulate"
)

// options are the command line.
type options struct {
	size     simulate.Size
	catalogs int
	first    uint64 // seed
	notes    []int
	share    float64 // of the sessions that are cut
}

// fewestNotes that can be told anything of.
const fewestNotes = 6

func main() { simulate.Study("checkstudy", parse, run) }

func parse(args []string, talk io.Writer) (options, error) {
	flags := flag.NewFlagSet("checkstudy", flag.ContinueOnError)
	flags.SetOutput(talk)
	size := flags.String("size", string(simulate.Small), "size of catalog: small or medium (8,000 or 80,000 readings)")
	notes := flags.String("notes", "8,10,12", "notes that sessions are cut to, with commas between")
	var o options
	flags.IntVar(&o.catalogs, "catalogs", 10, "how many catalogs")
	flags.Uint64Var(&o.first, "seed", 1, "seed of the first catalog; the others follow")
	flags.Float64Var(&o.share, "share", 0.2, "share of the sessions that are cut")
	if err := flags.Parse(args); err != nil {
		return o, err
	}
	for _, text := range strings.Split(*notes, ",") {
		n, err := strconv.Atoi(strings.TrimSpace(text))
		if err != nil || n < fewestNotes {
			return o, fmt.Errorf("-notes %q: give numbers from %d with commas between", *notes, fewestNotes)
		}
		o.notes = append(o.notes, n)
	}
	switch o.size = simulate.Size(*size); {
	case flags.NArg() > 0:
		return o, fmt.Errorf("%q is not a flag: the study takes flags only", flags.Arg(0))
	case o.size != simulate.Small && o.size != simulate.Medium:
		return o, fmt.Errorf("-size %q is not known: use small or medium", *size)
	case o.catalogs < 1:
		return o, fmt.Errorf("-catalogs %d: give one or more", o.catalogs)
	case o.share <= 0 || o.share > 0.5:
		return o, fmt.Errorf("-share %v: give a number up to 0.5", o.share)
	}
	return o, nil
}

func run(ctx context.Context, o options, out, talk io.Writer) error {
	whole, cut := tally{}, map[int]tally{}
	for k := range o.catalogs {
		seed := o.first + uint64(k)
		fmt.Fprintf(talk, "catalog %d of %d, seed %d ...\n", k+1, o.catalogs, seed)
		if err := whole.add(ctx, simulate.Generate(simulate.Harder, o.size, seed), nil); err != nil {
			return err
		}
		for _, n := range o.notes {
			if cut[n] == nil {
				cut[n] = tally{}
			}
			w := simulate.Generate(simulate.Harder, o.size, seed)
			if err := cut[n].add(ctx, w, spoil(w, n, o.share)); err != nil {
				return err
			}
		}
	}
	return write(out, o, whole, cut)
}
