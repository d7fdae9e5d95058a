package cli

import (
	"context"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
)

type adjustOptions struct {
	factory    *Factory
	horn       string
	mouthpiece string
	session    string
	judge      judgeFlags
	shifts     bool
	output     outputFlags
}

func newAdjustCmd(f *Factory, runF func(*adjustOptions) error) *cobra.Command {
	o := &adjustOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "adjust HORN MOUTHPIECE",
		Short: "Tell what adjusting a setup would do to every note",
		Long: long(`Tell what adjusting a horn with a mouthpiece would do: slides, gap, cup, throat, backbore, leadpipe, a warmer
room. Each adjustment shifts some notes up and others down; shown is the error that is left to the lip afterwards, with the
tuning slide and the throws at their best again, and which notes it improves and spoils. Then the best combination of what can
be undone: valve slides left out and the gap, within their limits.`,
			`The profile is the prediction for the setup, with all readings of it, or with --session what one session read. The shifts are calculated on the air column of the
horn's described bore (see 'centwise horn edit --bore-geometry'), its gap included, or else of an invented instrument of the horn's kind and key
with the horn's bore diameter; both with the mouthpiece's dimensions where the catalog has them, and solved anew for every
adjustment. The last lines say which it was. Those of the invented instrument hold for other horns to 1 to 18 % of their size; both hold for other mouthpieces to 16 % (cup), 29 %
(backbore) and 42 % (throat): throat and backbore are marked uncertain unless the mouthpiece's dimensions are known, and a
backbore, whose shape is not kept in numbers, always.`,
			`Valve slides can stay out as far as the horn's throw reaches, 8 mm where none is known, the second 4 mm; what stays out
is gone from the throw. The gap can change by 2 mm either way, by sleeves or shims.`,
			judgeHelp[0], judgeHelp[1], judgeHelp[2],
			cautionIrreversible,
			`--shifts prints the shift table: cents by note and adjustment. --json prints one object: "horn", "mouthpiece", "player", "session",
"error_cents", "low", "high", "typical_sd", "chance_tolerable", "support", "worst", "sharpest", "flattest" and "beyond_5_10_15"
(the verdict on it as it is, as 'centwise predict' has it), "measurable_cents" (the least change that one session before
and one after show), "basis", "evidence", "weights", "bore" ("described" or "invented"), "model" (in words), "notes": [{"note", "valves", "partial", "cents", "left"}], "changes":
[{"what", "step", "unit", "reversible", "uncertain", "doubt" (share by which shifts are usually wrong), "cents": [shift, one a note],
"left": [one a note], "error_cents", "gain_cents", "measurable", "improved": [notes], "spoilt": [notes]}], "best": null or {"settings":
[{"what", "mm", "min_mm", "max_mm"}], "cents", "left", "error_cents", ...}, and "words". --csv prints the shift table, a line a note and
adjustment.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitCancelled)),
		Example: `  centwise adjust Alder "Plover 16.2"
  centwise adjust Alder "Plover 16.2" --shifts --range F#3-C5
  centwise adjust Alder "Plover 16.2" --player reed-otter --no-throws --json
  centwise adjust Alder "Plover 16.2" --session bay-070`,
		Args: args(2, 2),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.horn, o.mouthpiece = got[0], got[1]
			return orRun(runF, adjustRun)(cmd.Context(), o)
		},
	}
	o.judge.add(cmd)
	o.judge.part.add(cmd)
	cmd.Flags().StringVar(&o.session, "session", "", "start from the readings of the session `NAME` alone, not from the prediction")
	cmd.Flags().BoolVar(&o.shifts, "shifts", false, "print the shift table, cents by note and adjustment")
	o.output.add(cmd)
	exclusive(cmd, "shifts", "json")
	return cmd
}

func adjustRun(ctx context.Context, o *adjustOptions) error {
	a, err := o.answer(ctx)
	if err != nil {
		return err
	}
	s := o.factory.Streams
	switch {
	case o.output.json:
		err = show.JSON(s.Out, a)
	case o.output.csv:
		err = show.ShiftTable(a).WriteCSV(s.Out)
	case o.shifts && s.Style.Terminal:
		err = show.ShiftMatrix(a).Write(s.Out, s.Style)
	case o.shifts:
		err = show.ShiftTable(a).Write(s.Out, s.Style)
	default:
		err = show.AdjustTable(a).Write(s.Out, s.Style)
	}
	if err != nil {
		return err
	}
	s.Notes(a.Words)
	s.Note("%s", cautionIrreversible)
	return nil
}

// answer works out what the options ask for.
func (o *adjustOptions) answer(ctx context.Context) (*match.Adjusted, error) {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return nil, err
	}
	defer store.Close()
	of, err := bothOf(ctx, store, o.horn, o.mouthpiece)
	if err != nil {
		return nil, err
	}
	if of.Player, err = findPlayer(ctx, store, o.judge.player); err != nil {
		return nil, err
	}
	criteria, err := o.judge.criteria(of.Player)
	if err != nil {
		return nil, err
	}
	o.factory.Streams.Notes(o.judge.part.remarks)
	engine, err := o.factory.Engine(ctx, store, o.factory.Progress())
	if err != nil {
		return nil, err
	}
	session, err := o.measured(ctx, store)
	if err != nil {
		return nil, err
	}
	return match.Adjust(engine, *of, session, criteria, o.judge.adapter)
}

// measured is the session that --session names, nil for none.
func (o *adjustOptions) measured(ctx context.Context, s catalog.Store) (*catalog.Session, error) {
	if o.session == "" {
		return nil, nil
	}
	session, err := s.Session(ctx, o.session)
	if err == nil && session.Retraction != nil {
		err = catalog.Errorf(catalog.Invalid, "centwise session list", "session %q is retracted", o.session)
	}
	return &session, err
}
