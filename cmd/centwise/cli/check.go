package cli

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
)

type catalogCheckOptions struct {
	factory *Factory
	output  outputFlags
	restore bool
}

func newCatalogCheckCmd(f *Factory, runF func(*catalogCheckOptions) error) *cobra.Command {
	o := &catalogCheckOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Look for damage and for measurements that contradict the rest",
		Long: long(`Look for damage of the catalog, and for measurements that contradict everything else in it: signs the wrong way
round, notes of another key, sessions with the digits of another, a tuning slide that was moved meanwhile, readings and
sessions far off, gear entered twice, contributors whose tuner is off. Nothing is changed; each finding names the command
that repairs it. What "looks odd" may well be right.`,
			`Horns and mouthpieces that look like one thing, and designs that look like one spelled twice, are proposed with what
speaks for and against it: maker and model but for slips, order and "Mk 2" for "Mark II", serial numbers, labels, owners,
dimensions, and whether what was measured agrees. Different keys, kinds, shanks or serial numbers rule it out.
'centwise pool link' makes them one; look at both before.`,
			`--restore-test makes a backup in a temporary folder as well, opens it, compares it with the catalog record by
record, and removes it: it needs room for a copy.`,
			`--json prints {"findings": [{"kind", "session", "subject", "detail", "certainty" (0..1), "repair"}]}.`,
			"EXIT STATUS\n    0  nothing is damaged, whatever was found among the measurements\n    1  the catalog is damaged, or the check failed\n   10  there is no catalog there"),
		Example: `  centwise catalog check
  centwise catalog check --restore-test
  centwise catalog check --json`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return orRun(runF, catalogCheckRun)(cmd.Context(), o)
		},
	}
	o.output.add(cmd)
	cmd.Flags().BoolVar(&o.restore, "restore-test", false, "prove that a backup opens and holds what the catalog holds")
	return cmd
}

func catalogCheckRun(ctx context.Context, o *catalogCheckOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	damage, err := store.Integrity(ctx)
	if err != nil {
		return err
	}
	findings := append([]catalog.Finding{}, damage...)
	if len(damage) == 0 {
		suspects, err := o.suspects(ctx, store)
		if err != nil {
			return err
		}
		findings = append(findings, suspects...)
	}
	for i := range findings {
		if strings.HasPrefix(findings[i].Repair, "centwise ") {
			findings[i].Repair += o.factory.Here()
		}
	}
	if err := printFindings(o, findings); err != nil {
		return err
	}
	if len(damage) > 0 {
		return catalog.Errorf(catalog.Internal, "go back to a backup; 'centwise export sessions' saves what can still be read",
			"the catalog is damaged (%s)", match.Count(len(damage), "finding"))
	}
	if o.restore {
		return restoreTest(ctx, o.factory, store)
	}
	return nil
}

// suspects looks for measurements that contradict the rest.
func (o *catalogCheckOptions) suspects(ctx context.Context, store catalog.Store) ([]catalog.Finding, error) {
	info, err := store.Info(ctx)
	if err != nil {
		return nil, err
	}
	horns, err := store.Horns(ctx, true)
	if err != nil {
		return nil, err
	}
	mouthpieces, err := store.Mouthpieces(ctx, true)
	if err != nil {
		return nil, err
	}
	links, err := store.Links(ctx)
	if err != nil {
		return nil, err
	}
	in := match.Measurements{Horns: horns, Mouthpieces: mouthpieces, Links: links, Progress: o.factory.Progress()}
	if info.Sessions == 0 {
		return match.EnteredTwice(ctx, nil, in)
	}
	model, err := o.factory.Fit(ctx, store, false, o.factory.Progress())
	if err != nil {
		return nil, err
	}
	in.Sessions = store.Measurements(ctx, 0)
	return match.Check(ctx, model, in)
}

func printFindings(o *catalogCheckOptions, findings []catalog.Finding) error {
	s := o.factory.Streams
	if s.Style.Terminal && !o.output.json && !o.output.csv {
		for _, f := range findings {
			if err := show.Finding(s.Out, s.Style, f); err != nil {
				return err
			}
		}
	} else if err := o.output.table(s, findingTable(findings), func() any {
		return show.Fields{{Name: "findings", Value: findings}}
	}); err != nil {
		return err
	}
	if len(findings) == 0 {
		s.Note("nothing found")
	} else {
		s.Note("%s; look at each before you act on it", match.Count(len(findings), "finding"))
	}
	return nil
}

func findingTable(findings []catalog.Finding) *show.Table {
	t := &show.Table{Columns: []show.Column{
		{Title: "kind", Name: "kind"}, {Title: "session", Name: "session"}, {Title: "subject", Name: "subject"},
		{Title: "certainty", Name: "certainty", Right: true}, {Title: "detail", Name: "detail"}, {Title: "repair", Name: "repair"},
	}}
	for _, f := range findings {
		t.Add(show.Words(f.Kind), show.Text(f.Session), show.Text(f.Subject), show.Number(f.Certainty, 2), show.Text(f.Detail), show.Text(f.Repair))
	}
	return t
}
