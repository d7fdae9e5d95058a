// Command poolload puts a pool server on this machine under load, for
// contributors:
//
//	go run ./cmd/poolload -sessions 10000 -clients 16 -seconds 10
//
// It builds the program, serves a simulated catalog, and lets many clients ask at
// once, one kind of request after the other. It prints how many were answered a
// second, and how long answers took from the request to their last byte. Clients
// share the machine with the server, so that a server alone does better.
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"time"

	"centwise/match/fit/simulate"
)

// options are the command line.
type options struct {
	sessions, clients int
	each              time.Duration // of every kind of request
	program           string
}

// mostClients is what a server lets in from one address.
const mostClients = 60

func main() { simulate.Study("poolload", parse, run) }

func parse(args []string, talk io.Writer) (options, error) {
	flags := flag.NewFlagSet("poolload", flag.ContinueOnError)
	flags.SetOutput(talk)
	var o options
	flags.IntVar(&o.sessions, "sessions", 10_000, "sessions of the catalog")
	flags.IntVar(&o.clients, "clients", 16, "clients that ask at once")
	seconds := flags.Float64("seconds", 10, "how long each kind of request is made")
	flags.StringVar(&o.program, "program", "", "the centwise to run (default one built from this tree)")
	if err := flags.Parse(args); err != nil {
		return o, err
	}
	o.each = time.Duration(*seconds * float64(time.Second))
	switch {
	case flags.NArg() > 0:
		return o, fmt.Errorf("%q is not a flag: poolload takes flags only", flags.Arg(0))
	case o.sessions < 100:
		return o, fmt.Errorf("-sessions %d: give 100 or more", o.sessions)
	case o.clients < 1 || o.clients > mostClients:
		return o, fmt.Errorf("-clients %d: give 1 to %d", o.clients, mostClients)
	case *seconds <= 0 || *seconds > 600:
		return o, fmt.Errorf("-seconds %v: give a number up to 600", *seconds)
	}
	return o, nil
}

func run(ctx context.Context, o options, out, talk io.Writer) error {
	folder, err := os.MkdirTemp("", "poolload")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	if o.program == "" {
		if o.program, err = simulate.BuildCentwise(ctx, folder, talk); err != nil {
			return err
		}
	}
	fmt.Fprintf(talk, "making a pool of %d sessions ...\n", o.sessions)
	p, err := newPool(ctx, o, folder)
	if err != nil {
		return err
	}
	defer p.stop()
	t := &table{sessions: o.sessions, readings: p.readings, clients: o.clients}
	for _, load := range p.loads() {
		fmt.Fprintf(talk, "%s ...\n", load.name)
		r := load.run(ctx, o)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		t.rows = append(t.rows, r)
	}
	t.memory = p.memory()
	return t.write(out)
}
