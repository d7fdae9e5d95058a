package cli

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
	"centwise/match/fit"
)

type rosterWorthOptions struct {
	rosterAsk
	top    int
	output outputFlags
}

// worthShown is how many designs are shown to people unless they say.
const worthShown = 8

// worthDraws tell designs apart well enough, and take a third of the time that
// the draws of a small catalog's own fit take.
const worthDraws = 64

func newRosterWorthCmd(f *Factory, runF func(*rosterWorthOptions) error) *cobra.Command {
	o := &rosterWorthOptions{rosterAsk: rosterAsk{factory: f}}
	cmd := &cobra.Command{
		Use:   "worth [CLASS]",
		Short: "Is one more horn or mouthpiece worth buying, and which design",
		Long: long(`Add one more horn, or one more mouthpiece, of each design in the catalog to what there is to give out, plan anew, and
rank the designs by what the whole class gains. A new specimen is judged by what is known of its design, with what specimens
of a design usually differ by, so nobody need have measured it; the catalog is fitted anew for that. The least total counts.`,
			classHelp[0], classHelp[1],
			`--json prints {"designs": [{"kind", "design", "like", "total_cents", "gain": {"cents", "low", "high",
"chance_better"}, "served", "student", "different"}], "students"}: by how many cents the total of the class falls, changes
counted; what is left to the lip in all, by joint draws; how many more are served; who would have it.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitCancelled)),
		Example: `  centwise roster worth class.csv
  centwise roster worth --tag beginners --spares cupboard --json`,
		Args: args(0, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			if len(got) > 0 {
				o.class = got[0]
			}
			if !cmd.Flags().Changed("top") && !o.output.json && !o.output.csv {
				o.top = worthShown
			}
			return orRun(runF, rosterWorthRun)(cmd.Context(), o)
		},
	}
	o.rosterAsk.add(cmd)
	cmd.Flags().IntVar(&o.top, "top", 0, fmt.Sprintf("show the first `N` only; 0 for all (default %d for people, all for programs)", worthShown))
	o.output.add(cmd)
	return cmd
}

func rosterWorthRun(ctx context.Context, o *rosterWorthOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	if o.top < 0 {
		return usagef("--top 10", "--top %d is below nought", o.top)
	}
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	q, class, err := o.question(ctx, store)
	if err != nil {
		return err
	}
	horns, mouthpieces, err := buyable(ctx, store, q)
	if err != nil {
		return err
	}
	progress := o.factory.Progress()
	data, err := fit.Load(ctx, match.Extended{Store: store, MoreHorns: horns, MoreMouthpieces: mouthpieces}, progress)
	if err != nil {
		return err
	}
	model, err := fit.Run(ctx, data, fit.Options{Progress: progress, Draws: worthDraws})
	if err != nil {
		return err
	}
	list, err := match.WorthOfOneMore(ctx, model, q, horns, mouthpieces)
	if err != nil {
		return err
	}
	if o.top > 0 {
		list = list[:min(o.top, len(list))]
	}
	return o.print(list, len(q.Students), class.remarks)
}

// buyable is a new specimen of every design that some student could have.
func buyable(ctx context.Context, store catalog.Store, q match.RosterQuestion) ([]catalog.Horn, []catalog.Mouthpiece, error) {
	horns, err := store.Horns(ctx, false)
	if err != nil {
		return nil, nil, err
	}
	mouthpieces, err := store.Mouthpieces(ctx, false)
	if err != nil {
		return nil, nil, err
	}
	var wanted []catalog.Horn
	shanks := map[catalog.Shank]bool{}
	for _, h := range horns {
		for _, s := range q.Students {
			if (s.Key == "" || s.Key == h.Key) && (s.Instrument == "" || s.Instrument == h.Instrument) {
				wanted = append(wanted, h)
				shanks[h.Receiver] = true
				break
			}
		}
	}
	var fitting []catalog.Mouthpiece
	for _, m := range mouthpieces {
		if shanks[m.Shank] || q.Adapter {
			fitting = append(fitting, m)
		}
	}
	links, err := store.Links(ctx)
	if err != nil {
		return nil, nil, err
	}
	newHorns, newMouthpieces := match.OneMoreOfEach(wanted, fitting, catalog.NewDesigns(links))
	if len(newHorns)+len(newMouthpieces) == 0 {
		return nil, nil, catalog.Errorf(catalog.NotFound, "write down maker and model, as in: centwise horn edit LABEL --maker Tidewright --model Skerry", "no design is known that a student of the class could have")
	}
	return newHorns, newMouthpieces, nil
}

func (o *rosterWorthOptions) print(list []match.Worth, students int, remarks []string) error {
	s := o.factory.Streams
	err := o.output.table(s, show.WorthTable(list), func() any {
		return show.Fields{{Name: "designs", Value: list}, {Name: "students", Value: students}}
	})
	if err != nil || o.output.json || o.output.csv {
		return err
	}
	s.Notes(show.WorthSentences(list, students))
	s.Notes(remarks)
	if len(list) > 0 {
		s.Note("Before you buy: try one, and measure a session with it ('centwise measure').")
	}
	s.Note("%s", cautionRest)
	return nil
}
