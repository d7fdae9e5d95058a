package cli

import (
	"context"
	"os"
	"time"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
	"centwise/match/fit"
)

type fitOptions struct {
	factory *Factory
	again   bool
	json    bool
	// residuals is the folder for drawings of what the fit leaves; empty: none.
	residuals string
}

func newFitCmd(f *Factory, runF func(*fitOptions) error) *cobra.Command {
	o := &fitOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "fit",
		Short: "Work out what horns, mouthpieces, players and days contribute",
		Long: long(`Work out from all sessions together what horns, mouthpieces, players and days contribute, keep the result in the
catalog, and say what was learned: how much each of them usually changes a note, how far single readings scatter, and how
the calculation went. 'centwise rank' and 'centwise predict' do this by themselves when sessions or gear have changed;
fit does it beforehand. What is up to date is not made again unless you say --again. Nothing else in the catalog changes.`,
			`--json prints one object. "fitted" (now, or the stored one was up to date), "at", "digest" of the data, "seed";
"sessions", how many of them were "refreshed" (taken into the fit before them, whose sizes they left alone), "readings",
"parts" of the catalog that no session joins, listed in "apart": [{"sessions", "horns", "mouthpieces"}]; "levels": [{"name", "items", "measured", "cents"}],
where cents is the typical size over the usual notes; "pair_cents", "day_cents"; the standard deviations of a session's
"offset_cents" and "slide_cents" and their "correlation"; "noise_cents" of a reading, "sources": [{"contributor", "method",
"noise_cents"}], "gross_share" of the readings, "gross_factor" times as wide; "unknowns", "steps" of learning and the
"change" in the last of them, "iterations" of the last solution, its "residual", whether it "converged", "draws", whether
they are "exact", and "duration_s".`,
			`--residuals DIR makes a whole fit and looks at what it leaves of every reading: is what it assumes true here? It
draws into the folder DIR, as SVG, the law of the residuals (law.svg), their spread and mean note by note (slots.svg), by
contributor and method (sources.svg), against the fitted value (fitted.svg), how neighbouring notes go together
(neighbours.svg), the course of time (time.svg) and repeats (repeats.svg), and prints a line for every check: what was
found, what is expected if the assumption holds, and by how much the two differ by chance. Drawings of an earlier run
are replaced; what there are too few readings for is left out. --json adds "residuals": {"checks": [{"check", "question",
"found", "expected", "chance", "unit", "holds", "where", "plot"}]}; "plot" is the file, or null.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitBusy, exitCancelled)),
		Example: `  centwise fit
  centwise fit --again --json
  centwise fit --residuals plots`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return orRun(runF, fitRun)(cmd.Context(), o)
		},
	}
	cmd.Flags().BoolVar(&o.again, "again", false, "make it again although it is up to date")
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON")
	cmd.Flags().StringVar(&o.residuals, "residuals", "", "make it again and draw what it leaves of the readings into the folder `DIR`")
	return cmd
}

func fitRun(ctx context.Context, o *fitOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	before, err := store.Info(ctx)
	if err != nil {
		return err
	}
	m, report, err := o.fit(ctx, store)
	if err != nil {
		return err
	}
	after, err := store.Info(ctx)
	if err != nil {
		return err
	}
	now := m.At.Sub(before.FitAt) > time.Millisecond // the catalog keeps milliseconds
	r := show.NewFit(m, now, o.factory.Streams.Style)
	if report != nil {
		err = printResiduals(o, r, report)
	} else {
		err = printFit(o, r)
	}
	if err != nil {
		return err
	}
	if after.FitDigest != m.Digest {
		return catalog.Errorf(catalog.Unavailable, "check that you may write the file and its folder, and repeat the command when nobody else writes",
			"the fit was made but could not be kept: the catalog %s can only be read, or others are writing into it", after.Path)
	}
	return nil
}

// fit gives the fit, and a report on what it leaves if that is wanted.
func (o *fitOptions) fit(ctx context.Context, store catalog.Store) (*fit.Model, *match.ResidualReport, error) {
	if o.residuals == "" {
		m, err := o.factory.Fit(ctx, store, o.again, o.factory.Progress())
		return m, nil, err
	}
	made, err := folderFor(o.residuals) // before the work
	if err != nil {
		return nil, nil, err
	}
	m, report, err := fitWithResiduals(ctx, store, o.factory.Progress())
	if err != nil && made {
		os.Remove(o.residuals) // only if nothing is in it
	}
	return m, report, err
}

func printFit(o *fitOptions, r show.Fit) error {
	s := o.factory.Streams
	if o.json {
		return show.JSON(s.Out, r.Fields())
	}
	if err := r.Table().Write(s.Out, s.Style); err != nil {
		return err
	}
	if s.Style.Terminal {
		return show.Sentences(s.Out, s.Style, r.Sentences())
	}
	s.Notes(r.Sentences())
	return nil
}
