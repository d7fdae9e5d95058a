package cli

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
)

func newVisitCmd(f *Factory) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "visit",
		Short: "Plan an hour among mouthpieces, and pick one",
		Long: long(`A visit is an hour in a shop or at a cupboard, when lips tire and impressions mislead. 'visit plan' says which few
mouthpieces are worth trying on a horn, in which order and on which few notes, or that there is nothing to gain. 'visit
record' takes the readings between the tries and says what to try next, or that it is time to stop. 'visit result' says
what to keep, and how sure that is. The list of the catalog does most of it; the pick by everything that is known,
instead of by the luckiest reading, does most of the rest.`),
		Example: `  centwise visit plan --player reed-otter --horn Alder --stock shop.csv
  centwise visit record
  centwise visit result`,
	}
	asGroup(cmd)
	cmd.AddCommand(newVisitPlanCmd(f, nil), newVisitShowCmd(f, nil), newVisitRecordCmd(f, nil), newVisitResultCmd(f, nil),
		newVisitListCmd(f, nil), newVisitDiscardCmd(f, nil), newVisitCardCmd(f, nil))
	return cmd
}

// keptVisit is a visit of the catalog with its gear.
type keptVisit struct {
	catalog.VisitSummary
	horn       catalog.Horn
	now        catalog.Mouthpiece
	player     catalog.Player
	candidates []catalog.Mouthpiece
}

// openVisit finds a visit that is not recorded yet; without a name it is the
// latest such.
func openVisit(ctx context.Context, store catalog.Store, names []string) (*keptVisit, error) {
	name := ""
	if len(names) > 0 {
		name = names[0]
	} else {
		list, err := store.Visits(ctx)
		if err != nil {
			return nil, err
		}
		for _, v := range list {
			if v.Recorded.IsZero() {
				name = string(v.ID)
			}
		}
		if name == "" {
			return nil, catalog.Errorf(catalog.NotFound, "plan one: centwise visit plan --player reed-otter --horn Alder", "there is no open visit")
		}
	}
	v := &keptVisit{}
	var err error
	if v.VisitSummary, err = store.Visit(ctx, name); err != nil {
		return nil, err
	}
	if err := v.stillOpen(); err != nil {
		return nil, err
	}
	if v.horn, err = store.Horn(ctx, string(v.Horn)); err != nil {
		return nil, err
	}
	if v.now, err = store.Mouthpiece(ctx, string(v.Mouthpiece)); err != nil {
		return nil, err
	}
	if v.player, err = store.Player(ctx, string(v.Player)); err != nil {
		return nil, err
	}
	for _, c := range v.Candidates {
		m, err := store.Mouthpiece(ctx, string(c.Mouthpiece))
		if err != nil {
			return nil, err
		}
		v.candidates = append(v.candidates, m)
	}
	return v, nil
}

// progress says how the visit stands.
func (v *keptVisit) progress(e match.Foresight, open bool) (*match.VisitProgress, error) {
	return match.FollowVisit(e, v.Visit, v.horn, v.now, v.player, v.candidates, open)
}

// stillOpen refuses what would count readings twice.
func (v *keptVisit) stillOpen() error {
	if v.Recorded.IsZero() {
		return nil
	}
	return catalog.Errorf(catalog.Conflict, fmt.Sprintf("ask the catalog: centwise rank --horn %s --player %s", catalog.ShellWord(v.HornLabel), catalog.ShellWord(v.PlayerLabel)),
		"the readings of visit %q are sessions of the catalog since %s, and count there", v.Name, v.Recorded.Local().Format("2006-01-02"))
}

type visitListOptions struct {
	factory *Factory
	output  outputFlags
}

func newVisitListCmd(f *Factory, runF func(*visitListOptions) error) *cobra.Command {
	o := &visitListOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the visits",
		Long: long(`List the visits that were planned. --json prints {"visits": [{"visit", "id", "horn", "mouthpiece" (played now), "player",
"planned_at", "candidates", "lines", "recorded" or null}]}.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog)),
		Example: `  centwise visit list
  centwise visit list --json`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error { return orRun(runF, visitListRun)(cmd.Context(), o) },
	}
	o.output.add(cmd)
	return cmd
}

func visitListRun(ctx context.Context, o *visitListOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	list, err := store.Visits(ctx)
	if err != nil {
		return err
	}
	if len(list) == 0 && !o.output.json && !o.output.csv {
		o.factory.Streams.Note("no visit is planned; plan one with 'centwise visit plan'")
	}
	return o.output.table(o.factory.Streams, show.VisitList(list), func() any {
		out := []show.Fields{}
		for _, v := range list {
			var recorded any
			if !v.Recorded.IsZero() {
				recorded = v.Recorded.Format(time.RFC3339)
			}
			out = append(out, show.Fields{
				{Name: "visit", Value: v.Name}, {Name: "id", Value: v.ID}, {Name: "horn", Value: v.HornLabel}, {Name: "mouthpiece", Value: v.MouthpieceLabel},
				{Name: "player", Value: v.PlayerLabel}, {Name: "planned_at", Value: v.Started.Format(time.RFC3339)},
				{Name: "candidates", Value: len(v.Candidates)}, {Name: "lines", Value: v.LineCount}, {Name: "recorded", Value: recorded},
			})
		}
		return show.Fields{{Name: "visits", Value: out}}
	})
}

type visitDiscardOptions struct {
	factory *Factory
	name    string
}

func newVisitDiscardCmd(f *Factory, runF func(*visitDiscardOptions) error) *cobra.Command {
	o := &visitDiscardOptions{factory: f}
	return &cobra.Command{
		Use:   "discard VISIT",
		Short: "Throw a visit away",
		Long: long(`Throw a visit away with what was read in it. Sessions that were recorded from it stay.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog)),
		Example: `  centwise visit discard "2026-11-25 Alder"
  centwise visit discard harbour-shop`,
		Args: args(1, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.name = got[0]
			return orRun(runF, visitDiscardRun)(cmd.Context(), o)
		},
	}
}

func visitDiscardRun(ctx context.Context, o *visitDiscardOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	v, err := store.Visit(ctx, o.name)
	if err != nil {
		return err
	}
	if err := store.DiscardVisit(ctx, v.ID); err != nil {
		return err
	}
	o.factory.Streams.Note("Discarded visit %s with %s.", v.Name, match.Count(v.LineCount, "line"))
	return nil
}

type visitCardOptions struct {
	factory *Factory
	output  outputFlags
}

func newVisitCardCmd(f *Factory, runF func(*visitCardOptions) error) *cobra.Command {
	o := &visitCardOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "card",
		Short: "Print the few notes to play of a mouthpiece when there is no plan",
		Long: long(`Print a card of eight notes that tell most about a mouthpiece when there is no plan: they held three quarters of what
31 notes tell in simulated visits. It needs no catalog. --json prints {"notes": [{"note", "fingering", "partial"}],
"sentences"}.`,
			exitStatus(exitOK, exitFailed, exitUsage)),
		Example: `  centwise visit card
  centwise visit card > card.txt`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error { return orRun(runF, visitCardRun)(cmd.Context(), o) },
	}
	o.output.add(cmd)
	return cmd
}

func visitCardRun(_ context.Context, o *visitCardOptions) error {
	s := o.factory.Streams
	if o.output.json || o.output.csv {
		return o.output.table(s, show.CardTable(match.FixedCard()), func() any { return match.FixedCard() })
	}
	return show.VisitCard(s.Out, s.Style, match.FixedCard())
}
