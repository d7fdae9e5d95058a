package cli

import (
	"context"
	"time"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
	"centwise/match/protocol"
)

type sessionDraftsOptions struct {
	factory *Factory
	output  outputFlags
}

func newSessionDraftsCmd(f *Factory, runF func(*sessionDraftsOptions) error) *cobra.Command {
	o := &sessionDraftsOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "drafts",
		Short: "List unfinished sessions, or discard one",
		Long: long(`List the sessions that 'centwise measure' has begun and not finished. They count for nothing until they are:
'centwise measure --resume ID' goes on with one.`,
			`--json prints {"drafts": [{"id", "session", "horn", "mouthpiece", "player", "contributor", "started", "last_line" or
null, "order", "rounds", "notes" a round, "readings" so far, "lines"}]}.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog)),
		Example: `  centwise session drafts
  centwise session drafts --json`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return orRun(runF, sessionDraftsRun)(cmd.Context(), o)
		},
	}
	cmd.Args = func(cmd *cobra.Command, got []string) error {
		if len(got) == 0 {
			return nil
		}
		return unknownCommand(cmd, got[0])
	}
	cmd.SuggestionsMinimumDistance = 2
	o.output.add(cmd)
	cmd.AddCommand(newSessionDiscardCmd(f, nil))
	return cmd
}

func sessionDraftsRun(ctx context.Context, o *sessionDraftsOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	list, err := store.Drafts(ctx)
	if err != nil {
		return err
	}
	readings := make([]int, len(list))
	for i, d := range list {
		if readings[i], err = readingsOf(ctx, store, d.ID); err != nil {
			return err
		}
	}
	s := o.factory.Streams
	if len(list) == 0 && !o.output.json && !o.output.csv {
		s.Note("nothing is unfinished; begin a session with 'centwise measure'")
	}
	err = o.output.table(s, draftTable(list, readings), func() any {
		out := []show.Fields{}
		for i, d := range list {
			out = append(out, draftFields(d, readings[i]))
		}
		return show.Fields{{Name: "drafts", Value: out}}
	})
	if err == nil && len(list) > 0 && s.Style.Terminal && !o.output.json && !o.output.csv {
		s.Note("Go on with one, the latest if you name none; or throw it away:")
		s.Command("centwise measure --resume " + string(list[len(list)-1].ID) + o.factory.Here())
		s.Command("centwise session drafts discard " + string(list[len(list)-1].ID) + o.factory.Here())
	}
	return err
}

// readingsOf counts what a draft would be recorded with.
func readingsOf(ctx context.Context, store catalog.Store, id catalog.ID) (int, error) {
	d, err := store.Draft(ctx, string(id))
	if catalog.KindOf(err) == catalog.NotFound && err != nil {
		return 0, nil // finished meanwhile
	}
	if err != nil {
		return 0, err
	}
	s, err := protocol.Resume(d)
	if err != nil {
		return 0, err
	}
	return len(s.Readings()), nil
}

func draftTable(list []catalog.DraftSummary, readings []int) *show.Table {
	t := &show.Table{Columns: []show.Column{
		{Title: "session", Name: "session"}, {Title: "horn", Name: "horn"}, {Title: "mouthpiece", Name: "mouthpiece"}, {Title: "player", Name: "player", Drop: 1},
		{Title: "readings", Name: "readings", Right: true}, {Title: "of", Name: "wanted", Right: true}, {Title: "last line", Name: "last_line"},
		{Name: "started"}, {Name: "order"}, {Title: "id", Name: "id", Drop: 2},
	}}
	for i, d := range list {
		last := d.LastLine
		if last.IsZero() {
			last = d.Started
		}
		t.Add(show.Text(d.Session.Name), show.Text(d.HornLabel), show.Text(d.MouthpieceLabel), show.Text(d.PlayerLabel), show.Count(readings[i]), show.Count(wanted(d.Draft)),
			show.Either(last.Local().Format("2 Jan 15:04"), last.Format(time.RFC3339)), show.Words(d.Started.Format(time.RFC3339)), show.Count(int(d.Seed)), show.Words(string(d.ID)))
	}
	return t
}

// wanted is how many notes a draft is to read, all rounds together.
func wanted(d catalog.Draft) (n int) {
	for _, round := range d.Rounds {
		n += len(round)
	}
	return n
}

func draftFields(d catalog.DraftSummary, readings int) show.Fields {
	return show.Fields{
		{Name: "id", Value: d.ID}, {Name: "session", Value: d.Session.Name}, {Name: "horn", Value: d.HornLabel}, {Name: "mouthpiece", Value: d.MouthpieceLabel},
		{Name: "player", Value: d.PlayerLabel}, {Name: "contributor", Value: d.Session.Contributor}, {Name: "started", Value: d.Started}, {Name: "last_line", Value: timeOrNull(d.LastLine)},
		{Name: "order", Value: d.Seed}, {Name: "rounds", Value: len(d.Rounds)}, {Name: "notes", Value: len(d.Rounds[0])}, {Name: "readings", Value: readings}, {Name: "lines", Value: d.LineCount},
	}
}

type sessionDiscardOptions struct {
	factory *Factory
	name    string
}

func newSessionDiscardCmd(f *Factory, runF func(*sessionDiscardOptions) error) *cobra.Command {
	o := &sessionDiscardOptions{factory: f}
	return &cobra.Command{
		Use:   "discard DRAFT",
		Short: "Throw an unfinished session away",
		Long: long(`Throw an unfinished session away, by its id or name. There is no way back: what was typed is gone. To record what there
is, resume it and type done.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitBusy)),
		Example: `  centwise session drafts discard 01KB8Z3J6V0M5T9Q4X2R7C1NWD
  centwise session drafts discard "2026-11-25 Alder"`,
		Args: args(1, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.name = got[0]
			return orRun(runF, sessionDiscardRun)(cmd.Context(), o)
		},
	}
}

func sessionDiscardRun(ctx context.Context, o *sessionDiscardOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	d, err := store.Draft(ctx, o.name)
	if err != nil {
		return err
	}
	if err := store.DiscardDraft(ctx, d.ID); err != nil {
		return err
	}
	o.factory.Streams.Note("discarded the unfinished session %s with %s", d.Session.Name, match.Count(len(d.Lines), "line"))
	return nil
}
