package cli

import (
	"context"
	"fmt"
	"strconv"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/cmd/centwise/show"
	"centwise/match"
)

type sessionShowOptions struct {
	factory *Factory
	name    string
	output  outputFlags
}

func newSessionShowCmd(f *Factory, runF func(*sessionShowOptions) error) *cobra.Command {
	o := &sessionShowOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "show SESSION",
		Short: "Show a session with its readings",
		Long: long(`Show a session by name or id: who, what, when and every reading as it was entered, with a bar for each. --json
adds "slots": [{"note", "fingering", "partial", "cents", "repeat", "odd"}]. Odd readings lie outside -150..150 cents;
they are kept for review and not used.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog)),
		Example: `  centwise session show bay-014
  centwise session show bay-014 --json`,
		Args: args(1, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.name = got[0]
			return orRun(runF, sessionShowRun)(cmd.Context(), o)
		},
	}
	o.output.add(cmd)
	return cmd
}

func sessionShowRun(ctx context.Context, o *sessionShowOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	session, err := store.Session(ctx, o.name)
	if err != nil {
		return err
	}
	sum, err := labelled(ctx, store, session)
	if err != nil {
		return err
	}
	s := o.factory.Streams
	switch {
	case o.output.json:
		return show.JSON(s.Out, append(sessionFields(sum), show.Field{Name: "slots", Value: readingFields(session.Readings)}))
	case o.output.csv || !s.Style.Terminal:
		return o.output.table(s, readingTable(session.Readings), nil)
	}
	if err := show.Record(s.Out, s.Style, sessionPairs(sum)); err != nil {
		return err
	}
	fmt.Fprintln(s.Out)
	return readingTable(session.Readings).Write(s.Out, s.Style)
}

// labelled adds to a session the labels of what it was played with.
func labelled(ctx context.Context, s catalog.Store, session catalog.Session) (catalog.SessionSummary, error) {
	sum := catalog.SessionSummary{Session: session, ReadingCount: len(session.Readings)}
	h, err := s.Horn(ctx, string(session.Horn))
	if err != nil {
		return sum, err
	}
	m, err := s.Mouthpiece(ctx, string(session.Mouthpiece))
	if err != nil {
		return sum, err
	}
	sum.HornLabel, sum.MouthpieceLabel = h.Label, m.Label
	if session.Player == "" { // measured on a bench
		return sum, nil
	}
	p, err := s.Player(ctx, string(session.Player))
	sum.PlayerLabel = p.Label
	return sum, err
}

func readingFields(readings []catalog.Reading) []show.Fields {
	out := []show.Fields{}
	for _, r := range readings {
		out = append(out, show.Fields{
			{Name: "note", Value: r.Slot.Note().String()}, {Name: "fingering", Value: r.Slot.Valves.String()}, {Name: "partial", Value: r.Slot.Partial},
			{Name: "cents", Value: r.Cents}, {Name: "repeat", Value: r.Repeat}, {Name: "odd", Value: r.Odd},
		})
	}
	return out
}

func readingTable(readings []catalog.Reading) *show.Table {
	t := &show.Table{Columns: []show.Column{
		{Title: "note", Name: "note"}, {Title: "valves", Name: "fingering"}, {Title: "partial", Name: "partial", Right: true},
		{Title: "repeat", Name: "repeat", Right: true, Drop: 1}, {Title: "cents", Name: "cents", Right: true},
		{Title: " ", Name: "odd"}, {Title: "flat | sharp", Draw: true, Drop: 2},
	}}
	var all []float64
	for _, r := range readings {
		all = append(all, r.Cents)
	}
	scale := show.Scale(all)
	for _, r := range readings {
		odd := show.Either("", "false")
		if r.Odd {
			odd = show.Either("odd", "true")
		}
		t.Add(show.Words(r.Slot.Note().String()), show.Words(r.Slot.Valves.String()), show.Count(r.Slot.Partial),
			show.Count(r.Repeat), show.Cents(r.Cents, 1), odd,
			show.Drawn(func(s show.Style, width int) string { return show.Bar(s, width, r.Cents, r.Cents, r.Cents, scale) }))
	}
	return t
}

func sessionPairs(s catalog.SessionSummary) []show.Pair {
	measure := func(v *float64) show.Cell {
		if v == nil {
			return show.Cell{}
		}
		return show.Words(strconv.FormatFloat(*v, 'f', -1, 64))
	}
	out := []show.Pair{
		{Name: "session", Value: show.Text(s.Name)},
		{Name: "player", Value: show.Text(s.PlayerLabel)},
		{Name: "horn", Value: show.Text(s.HornLabel)},
		{Name: "mouthpiece", Value: show.Text(s.MouthpieceLabel)},
		{Name: "date", Value: day(s.At)},
		{Name: "method", Value: show.Words(string(s.Method))},
		{Name: "contributor", Value: show.Text(s.Contributor)},
		{Name: "A4", Value: show.Number(s.Pitch(), 1), Unit: "Hz"},
		{Name: "temperature", Value: measure(s.TemperatureC), Unit: "C"},
		{Name: "tuning slide", Value: measure(s.SlideMM), Unit: "mm out"},
		{Name: "gap", Value: measure(s.GapMM), Unit: "mm"},
		{Name: "dynamic", Value: show.Text(s.Dynamic)},
		{Name: "remark", Value: show.Text(s.Remark)},
		{Name: "source", Value: show.Text(s.Source)},
		{Name: "recorded", Value: show.Words(s.Recorded.Local().Format("2006-01-02 15:04"))},
		{Name: "range", Value: show.Words(noteSpan(s.Readings))},
		{Name: "id", Value: show.Words(string(s.ID))},
	}
	if r := s.Retraction; r != nil {
		out = append(out, show.Pair{Name: "retracted", Value: show.Text(r.At.Local().Format("2006-01-02 15:04") + ": " + r.Reason)})
		if r.ReplacedBy != "" {
			out = append(out, show.Pair{Name: "replaced by", Value: show.Words(string(r.ReplacedBy))})
		}
	}
	return out
}

// noteSpan says which notes were read.
func noteSpan(readings []catalog.Reading) string {
	if len(readings) == 0 {
		return ""
	}
	low, high := pitch.Note(127), pitch.Note(0)
	for _, r := range readings {
		low, high = min(low, r.Slot.Note()), max(high, r.Slot.Note())
	}
	return fmt.Sprintf("%s to %s, %s", low, high, match.Count(len(readings), "reading"))
}

type sessionRetractOptions struct {
	factory     *Factory
	name        string
	reason      string
	replacedBy  string
	contributor string
}

func newSessionRetractCmd(f *Factory, runF func(*sessionRetractOptions) error) *cobra.Command {
	o := &sessionRetractOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "retract SESSION",
		Short: "Take a wrong session out of every calculation",
		Long: long(`Take a session out of every calculation. It stays in history with the reason. To correct a session, import the
correct one under another name and name it with --replaced-by; or retract it first and import under the same name.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitBusy)),
		Example: `  centwise session retract bay-014 --reason "signs the wrong way round"
  centwise session retract bay-014 --reason "wrong mouthpiece entered" --replaced-by bay-015`,
		Args: args(1, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.name = got[0]
			if o.reason == "" {
				return usagef(fmt.Sprintf("centwise session retract %s --reason %q", catalog.ShellWord(o.name), "read from the wrong tuner"),
					"say why with --reason: others will wonder")
			}
			return orRun(runF, sessionRetractRun)(cmd.Context(), o)
		},
	}
	cmd.Flags().StringVar(&o.reason, "reason", "", "why, in `WORDS` (required)")
	cmd.Flags().StringVar(&o.replacedBy, "replaced-by", "", "the `SESSION` that is correct")
	contributorFlag(cmd, f, &o.contributor)
	return cmd
}

func sessionRetractRun(ctx context.Context, o *sessionRetractOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	wrong, err := store.Session(ctx, o.name)
	if err != nil {
		return err
	}
	if wrong.Retraction != nil {
		o.factory.Streams.Note("session %s is retracted already", wrong.Name)
		return nil
	}
	r := catalog.Retraction{At: o.factory.Now().UTC(), Contributor: o.contributor, Reason: o.reason}
	if o.replacedBy != "" {
		right, err := store.Session(ctx, o.replacedBy)
		if err != nil {
			return err
		}
		if right.ID == wrong.ID {
			return usagef("name the correct session", "a session can't replace itself")
		}
		r.ReplacedBy = right.ID
	}
	change := catalog.Changes{Retractions: []catalog.RetractionOf{{Session: wrong.ID, Retraction: r}}}
	if err := store.Apply(ctx, change); err != nil {
		return err
	}
	o.factory.Streams.Note("retracted session %s", wrong.Name)
	return nil
}
