package cli

import (
	"context"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
)

type visitResultOptions struct {
	factory *Factory
	names   []string
	sealed  bool
	record  bool
	output  outputFlags
}

func newVisitResultCmd(f *Factory, runF func(*visitResultOptions) error) *cobra.Command {
	o := &visitResultOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "result [VISIT]",
		Short: "Say what to keep after a visit, and how sure that is",
		Long: long(`Say what to keep after a visit, the latest open one unless it is named: how everything stood before and stands now, the
letters opened, and a verdict in plain words with its doubt. The pick is what is expected to leave least to the lip, by
everything that is known; never the best reading as such, and where that is another one it says why.`,
			`--record makes each try a session of the catalog, named after the visit and the letter, so that later rankings know it;
the visit is closed then. --sealed keeps the letters of a blind visit closed.`,
			`--json prints what 'centwise visit record --json' does, and "recorded": the names of the sessions. --csv prints the
standings.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitBusy)),
		Example: `  centwise visit result
  centwise visit result "2026-11-25 Alder" --record
  centwise visit result --sealed --json`,
		Args: args(0, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.names = got
			return orRun(runF, visitResultRun)(cmd.Context(), o)
		},
	}
	fs := cmd.Flags()
	fs.BoolVar(&o.sealed, "sealed", false, "keep the letters of a blind visit closed")
	fs.BoolVar(&o.record, "record", false, "make each try a session of the catalog")
	o.output.add(cmd)
	return cmd
}

func visitResultRun(ctx context.Context, o *visitResultOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	v, err := openVisit(ctx, store, o.names)
	if err != nil {
		return err
	}
	model, err := o.factory.Fit(ctx, store, false, o.factory.Progress())
	if err != nil {
		return err
	}
	p, err := v.progress(model, !o.sealed)
	if err != nil {
		return err
	}
	var recorded []string
	if o.record {
		if recorded, err = recordVisit(ctx, store, v); err != nil {
			return err
		}
	}
	return o.print(p, recorded)
}

// recordVisit makes the tries sessions and closes the visit, in one.
func recordVisit(ctx context.Context, store catalog.Store, v *keptVisit) ([]string, error) {
	changes := catalog.Changes{Visits: []catalog.VisitEnd{{ID: v.ID, Lines: len(v.Lines)}}}
	var names []string
	for _, c := range v.Candidates {
		s := v.Session(c, "a try of visit "+v.Name)
		if len(s.Readings) > 0 {
			changes.Sessions = append(changes.Sessions, s)
			names = append(names, s.Name)
		}
	}
	if len(names) == 0 {
		return nil, catalog.Errorf(catalog.Invalid, "read a try first: centwise visit record "+catalog.ShellWord(v.Name), "visit %q has no readings to record", v.Name)
	}
	return names, store.Apply(ctx, changes)
}

func (o *visitResultOptions) print(p *match.VisitProgress, recorded []string) error {
	s := o.factory.Streams
	switch {
	case o.output.json:
		if recorded == nil {
			recorded = []string{}
		}
		return show.JSON(s.Out, struct {
			*match.VisitProgress
			Recorded []string `json:"recorded"`
		}{p, recorded})
	case o.output.csv:
		return show.VisitStandings(p).WriteCSV(s.Out)
	}
	if err := show.VisitResult(s.Out, s.Style, p); err != nil {
		return err
	}
	if recorded != nil {
		s.Note("Recorded as %s: %s.", match.Count(len(recorded), "session"), show.Labels(recorded))
	} else if p.Tried > 0 {
		s.Note("To let later rankings know what was read, make the tries sessions of the catalog:")
		s.Command("centwise visit result " + catalog.ShellWord(p.Name) + " --record" + o.factory.Here())
	}
	s.Note(cautionShared + " " + cautionRest)
	return nil
}
