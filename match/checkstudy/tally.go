package main

import (
	"context"
	"fmt"
	"io"
	"slices"

	"centwise/catalog"
	"centwise/match"
	"centwise/match/fit"
	"centwise/match/fit/simulate"
)

// count is what became of sessions of one kind.
type count struct {
	sessions int
	named    int // as wrong, with the right kind
	misnamed int // as wrong, with another kind
	odd      int // as looking odd, or as if the slide had been moved
}

// tally counts sessions by what was done to them.
type tally map[string]*count

// fromStart names the sessions that were wrong from the start.
const fromStart = "wrong from the start"

// add fits a world, checks it and counts what is found.
func (t tally) add(ctx context.Context, w *simulate.World, spoiled map[int]treatment) error {
	found, err := check(ctx, w)
	if err != nil {
		return fmt.Errorf("catalog with seed %d: %w", w.Seed, err)
	}
	for i, s := range w.Sessions {
		name, kind := "whole and right", ""
		if x, ok := spoiled[i]; ok {
			name, kind = x.name, x.kind
		} else if s.Wrong != "" {
			name, kind = fromStart, s.Wrong
		}
		t.at(name).enter(kind, found[s.Name])
	}
	return nil
}

func (t tally) at(name string) *count {
	if t[name] == nil {
		t[name] = &count{}
	}
	return t[name]
}

// enter counts a session by the kind of finding that would be right ("" = none) and
// the kinds that were made.
func (c *count) enter(kind string, found []string) {
	c.sessions++
	for _, f := range found {
		switch {
		case f == kind:
			c.named++
		case f == match.FindSignFlipped || f == match.FindWrongKey || f == match.FindCopied:
			c.misnamed++
		case f == match.FindSlideMoved || f == match.FindFarSession:
			c.odd++
		}
	}
}

// check gives the kinds of findings by session.
func check(ctx context.Context, w *simulate.World) (map[string][]string, error) {
	data, err := fit.Load(ctx, w.Store(), catalog.NoCounter{})
	if err != nil {
		return nil, err
	}
	model, err := fit.Run(ctx, data, fit.Options{})
	if err != nil {
		return nil, err
	}
	findings, err := match.Check(ctx, model, match.Measurements{Sessions: w.Measurements(), Horns: w.CatalogHorns()})
	if err != nil {
		return nil, err
	}
	out := map[string][]string{}
	for _, f := range findings {
		if f.Session != "" && !slices.Contains(out[f.Session], f.Kind) {
			out[f.Session] = append(out[f.Session], f.Kind)
		}
	}
	return out, nil
}

// write prints the tables.
func write(out io.Writer, o options, whole tally, cut map[int]tally) error {
	wrong, fine := whole.at(fromStart), whole.at("whole and right")
	fmt.Fprintf(out, "Catalogs as they are: %d. Of %d wrong sessions %d are found, of %d right ones %d are said to be wrong and %d to look odd.\n\n",
		o.catalogs, wrong.sessions, wrong.named, fine.sessions, fine.misnamed, fine.odd)
	fmt.Fprint(out, "| notes | right ones said to be wrong |")
	for _, t := range treatments {
		fmt.Fprintf(out, " %s |", t.name)
	}
	fmt.Fprint(out, "\n|---|---|")
	for range treatments {
		fmt.Fprint(out, "---|")
	}
	for _, n := range o.notes {
		c := cut[n].at(right.name)
		fmt.Fprintf(out, "\n| %d | %.4f of %d |", n, share(c.misnamed, c), c.sessions)
		for _, t := range treatments {
			c := cut[n].at(t.name)
			fmt.Fprintf(out, " %.3f of %d |", share(c.named, c), c.sessions)
		}
	}
	_, err := fmt.Fprintln(out)
	return err
}

func share(n int, of *count) float64 { return float64(n) / float64(max(1, of.sessions)) }
