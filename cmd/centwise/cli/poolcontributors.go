package cli

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
)

type poolContributorsOptions struct {
	factory *Factory
	output  outputFlags
}

func newPoolContributorsCmd(f *Factory, runF func(*poolContributorsOptions) error) *cobra.Command {
	o := &poolContributorsOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "contributors",
		Short: "Say how each contributor measures",
		Long: long(`List everybody who measured, by method: how high their sessions lie beside those of others, and how far their
readings scatter, each with its 80 % interval. The offset is that of the tuner, and of habits such as where the slide
stands; it costs nothing, since the level of every session is free. The spread decides what a reading weighs in the fit,
where one of the common spread weighs 1; nobody is left out.`,
			`An offset needs three contributors with five sessions each by the same method, to know what is usual. Offsets are
contrasts: if all tuners are sharp, none seems to be.`,
			`--json prints {"contributors": [{"contributor", "method", "sessions", "readings", "offset_cents": {"value", "low",
"high"} or null, "spread_cents": {"value", "low", "high"}, "weight"}]}.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog)),
		Example: `  centwise pool contributors
  centwise pool contributors --json`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return orRun(runF, poolContributorsRun)(cmd.Context(), o)
		},
	}
	o.output.add(cmd)
	return cmd
}

// contributorColumns are those of the table.
func contributorColumns() []show.Column {
	return []show.Column{
		{Title: "contributor", Name: "contributor", Whole: true}, {Title: "method", Name: "method", Drop: 2}, {Title: "sessions", Name: "sessions", Right: true, Drop: 1},
		{Title: "readings", Name: "readings", Right: true, Drop: 3},
		{Title: "offset", Name: "offset_cents", Right: true}, {Title: "80 % interval", Right: true}, {Name: "offset_low", Right: true}, {Name: "offset_high", Right: true},
		{Title: "spread", Name: "spread_cents", Right: true}, {Title: "80 % interval", Right: true}, {Name: "spread_low", Right: true}, {Name: "spread_high", Right: true},
		{Title: "weight", Name: "weight", Right: true},
	}
}

func poolContributorsRun(ctx context.Context, o *poolContributorsOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	views, err := o.views(ctx, store)
	if err != nil {
		return err
	}
	t := &show.Table{Columns: contributorColumns()}
	for _, v := range views {
		cells := []show.Cell{show.Text(v.Contributor), show.Words(string(v.Method)), show.Count(v.Sessions), show.Count(v.Readings)}
		if v.Offset != nil {
			cells = append(cells, show.Cents(v.Offset.Value, 1), show.Words(show.Signed(v.Offset.Low, 1)+".."+show.Signed(v.Offset.High, 1)), show.Number(v.Offset.Low, 1), show.Number(v.Offset.High, 1))
		} else {
			cells = append(cells, show.Words(""), show.Words(""), show.Words(""), show.Words(""))
		}
		t.Add(append(cells, show.Number(v.Spread.Value, 1), show.Words(fmt.Sprintf("%.1f..%.1f", v.Spread.Low, v.Spread.High)),
			show.Number(v.Spread.Low, 1), show.Number(v.Spread.High, 1), show.Number(v.Weight, 2))...)
	}
	if len(views) == 0 {
		o.factory.Streams.Note("nobody has measured yet")
	}
	return o.output.table(o.factory.Streams, t, func() any { return show.Fields{{Name: "contributors", Value: views}} })
}

// views asks the fit; a catalog without sessions has none.
func (o *poolContributorsOptions) views(ctx context.Context, store catalog.Store) ([]match.ContributorView, error) {
	info, err := store.Info(ctx)
	if err != nil || info.Sessions == 0 {
		return []match.ContributorView{}, err
	}
	model, err := o.factory.Fit(ctx, store, false, o.factory.Progress())
	if err != nil {
		return nil, err
	}
	horns, err := store.Horns(ctx, true)
	if err != nil {
		return nil, err
	}
	return match.Contributors(ctx, model, match.Measurements{Sessions: store.Measurements(ctx, 0), Horns: horns, Progress: o.factory.Progress()})
}
