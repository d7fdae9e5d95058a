package cli

import (
	"context"
	"time"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
)

func newSessionCmd(f *Factory) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "session",
		Short: "List, show and retract measured sessions; unfinished ones",
		Long: long(`A session is one player with one setup at one sitting: readings in cents, note by note. Sessions come in with
'centwise measure' or 'centwise import' and never change. A wrong one is retracted, and a correct one put in its place;
both stay in history.`),
		Example: `  centwise session list --horn Alder
  centwise session show bay-014`,
	}
	asGroup(cmd)
	cmd.AddCommand(newSessionListCmd(f, nil), newSessionShowCmd(f, nil), newSessionRetractCmd(f, nil), newSessionDraftsCmd(f, nil))
	return cmd
}

type sessionListOptions struct {
	factory                  *Factory
	horn, mouthpiece, player string
	contributor              string
	since                    string
	retracted                bool
	limit                    int
	output                   outputFlags
}

func newSessionListCmd(f *Factory, runF func(*sessionListOptions) error) *cobra.Command {
	o := &sessionListOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the sessions",
		Long: long(`List the sessions in the order in which they were recorded. Retracted ones are left out unless --retracted is
given. --json prints {"sessions": [...]}. For the readings themselves: 'centwise export sessions'.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog)),
		Example: `  centwise session list
  centwise session list --player reed-otter --since 2026-01-01 --csv`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return orRun(runF, sessionListRun)(cmd.Context(), o)
		},
	}
	fs := cmd.Flags()
	fs.StringVar(&o.horn, "horn", "", "only with the horn `LABEL`")
	fs.StringVar(&o.mouthpiece, "mouthpiece", "", "only with the mouthpiece `LABEL`")
	fs.StringVar(&o.player, "player", "", "only by the player `HANDLE`")
	fs.StringVar(&o.contributor, "contributor", "", "only measured by `HANDLE`")
	fs.StringVar(&o.since, "since", "", "only played on this `DATE` or later, as in 2026-01-31")
	fs.BoolVar(&o.retracted, "retracted", false, "list retracted ones too")
	fs.IntVar(&o.limit, "limit", 0, "list at most `N`; 0 for all")
	o.output.add(cmd)
	return cmd
}

func sessionListRun(ctx context.Context, o *sessionListOptions) error {
	filter := catalog.SessionFilter{Contributor: o.contributor, Retracted: o.retracted, Limit: o.limit}
	if o.limit < 0 {
		return usagef("--limit 20", "--limit %d is below nought", o.limit)
	}
	if o.since != "" {
		since, err := time.ParseInLocation("2006-01-02", o.since, time.Local)
		if err != nil {
			return usagef("--since 2026-01-31", "--since %q is not a date", o.since)
		}
		filter.Since = since
	}
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	if err := o.resolve(ctx, store, &filter); err != nil {
		return err
	}
	sessions, err := store.Sessions(ctx, filter)
	if err != nil {
		return err
	}
	if len(sessions) == 0 && !o.output.json && !o.output.csv {
		o.factory.Streams.Note("no sessions to list; measure one with 'centwise measure', or import some with 'centwise import FILE'")
	}
	return o.output.table(o.factory.Streams, sessionTable(sessions), func() any {
		list := []show.Fields{}
		for _, s := range sessions {
			list = append(list, sessionFields(s))
		}
		return show.Fields{{Name: "sessions", Value: list}}
	})
}

// resolve turns the labels of the filter into ids.
func (o *sessionListOptions) resolve(ctx context.Context, s catalog.Store, to *catalog.SessionFilter) error {
	if o.horn != "" {
		h, err := s.Horn(ctx, o.horn)
		if err != nil {
			return err
		}
		to.Horn = h.ID
	}
	if o.mouthpiece != "" {
		m, err := s.Mouthpiece(ctx, o.mouthpiece)
		if err != nil {
			return err
		}
		to.Mouthpiece = m.ID
	}
	p, err := findPlayer(ctx, s, o.player)
	if p != nil {
		to.Player = p.ID
	}
	return err
}

func sessionTable(sessions []catalog.SessionSummary) *show.Table {
	t := &show.Table{Columns: []show.Column{
		{Title: "session", Name: "session"}, {Title: "date", Name: "date"},
		{Title: "player", Name: "player"}, {Title: "horn", Name: "horn"}, {Title: "mouthpiece", Name: "mouthpiece"},
		{Title: "readings", Name: "readings", Right: true, Drop: 1},
		{Title: "method", Name: "method", Drop: 3}, {Title: "contributor", Name: "contributor", Drop: 2},
		{Name: "recorded"}, {Title: " ", Name: "retracted"},
	}}
	for _, s := range sessions {
		retracted := show.Cell{}
		if s.Retraction != nil {
			retracted = show.Either("retracted", s.Retraction.At.Format(time.RFC3339))
		}
		t.Add(show.Text(s.Name), day(s.At), show.Text(s.PlayerLabel), show.Text(s.HornLabel), show.Text(s.MouthpieceLabel),
			show.Count(s.ReadingCount), show.Words(string(s.Method)), show.Text(s.Contributor),
			show.Words(s.Recorded.Format(time.RFC3339)), retracted)
	}
	return t
}

// day is a time as a date on a terminal and in full elsewhere.
func day(t time.Time) show.Cell {
	if t.IsZero() {
		return show.Cell{}
	}
	return show.Either(t.Format("2006-01-02"), t.Format(time.RFC3339))
}

// sessionFields is a session as JSON, without its readings.
func sessionFields(s catalog.SessionSummary) show.Fields {
	return show.Fields{
		{Name: "id", Value: s.ID}, {Name: "session", Value: s.Name},
		{Name: "player", Value: s.PlayerLabel}, {Name: "horn", Value: s.HornLabel}, {Name: "mouthpiece", Value: s.MouthpieceLabel},
		{Name: "contributor", Value: s.Contributor}, {Name: "date", Value: timeOrNull(s.At)}, {Name: "recorded", Value: s.Recorded},
		{Name: "a4_hz", Value: s.Pitch()}, {Name: "temperature_c", Value: s.TemperatureC}, {Name: "slide_mm", Value: s.SlideMM}, {Name: "gap_mm", Value: s.GapMM},
		{Name: "dynamic", Value: s.Dynamic}, {Name: "method", Value: s.Method}, {Name: "remark", Value: s.Remark}, {Name: "source", Value: s.Source},
		{Name: "adapter", Value: s.Adapter}, {Name: "readings", Value: s.ReadingCount}, {Name: "retraction", Value: retractionFields(s.Retraction)},
	}
}

func timeOrNull(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t
}

func retractionFields(r *catalog.Retraction) any {
	if r == nil {
		return nil
	}
	return show.Fields{
		{Name: "at", Value: r.At}, {Name: "contributor", Value: r.Contributor},
		{Name: "reason", Value: r.Reason}, {Name: "replaced_by", Value: r.ReplacedBy},
	}
}
