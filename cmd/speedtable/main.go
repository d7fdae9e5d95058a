// Command speedtable times whole commands of centwise on simulated catalogs of
// several sizes, for contributors:
//
//	go run ./cmd/speedtable -sessions 100,1000,10000,100000 -runs 10
//
// It builds the program, makes a catalog of each size, and prints how long each
// command took from its start to its end: the least, the median and the greatest
// of the runs in milliseconds, and the most memory that one of them held. What
// changes a catalog runs once. Nothing else should run meanwhile; the load that
// did is printed below the table.
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"centwise/match/fit/simulate"
)

// options are the command line.
type options struct {
	sessions []int
	runs     int
	seed     uint64
	program  string
}

func main() { simulate.Study("speedtable", parse, run) }

func parse(args []string, talk io.Writer) (options, error) {
	flags := flag.NewFlagSet("speedtable", flag.ContinueOnError)
	flags.SetOutput(talk)
	sessions := flags.String("sessions", "100,1000,10000,100000", "sessions of the catalogs, with commas between")
	var o options
	flags.IntVar(&o.runs, "runs", 10, "how often each command that changes nothing runs")
	flags.Uint64Var(&o.seed, "seed", 1, "seed of the catalogs")
	flags.StringVar(&o.program, "program", "", "the centwise to time (default one built from this tree)")
	if err := flags.Parse(args); err != nil {
		return o, err
	}
	for _, text := range strings.Split(*sessions, ",") {
		n, err := strconv.Atoi(strings.TrimSpace(text))
		if err != nil || n < 10 {
			return o, fmt.Errorf("-sessions %q: give numbers from 10 with commas between", *sessions)
		}
		o.sessions = append(o.sessions, n)
	}
	switch {
	case flags.NArg() > 0:
		return o, fmt.Errorf("%q is not a flag: speedtable takes flags only", flags.Arg(0))
	case o.runs < 1:
		return o, fmt.Errorf("-runs %d: give one or more", o.runs)
	}
	return o, nil
}

func run(ctx context.Context, o options, out, talk io.Writer) error {
	folder, err := os.MkdirTemp("", "speedtable")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	if o.program == "" {
		if o.program, err = simulate.BuildCentwise(ctx, folder, talk); err != nil {
			return err
		}
	}
	t := &table{}
	for _, n := range o.sessions {
		fmt.Fprintf(talk, "%d sessions ...\n", n)
		b, err := newBench(o, filepath.Join(folder, strconv.Itoa(n)), n)
		if err != nil {
			return err
		}
		column, err := b.all(ctx)
		if err != nil {
			return fmt.Errorf("%d sessions: %w", n, err)
		}
		t.columns = append(t.columns, column)
		if err := os.RemoveAll(b.folder); err != nil {
			return err
		}
	}
	return t.write(out)
}
