package cli

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"centwise/cmd/centwise/show"
	"centwise/match"
)

type predictOptions struct {
	factory    *Factory
	horn       string
	mouthpiece string
	judge      judgeFlags
	concert    bool
	pairs      string
	skip       bool
	chart      bool
	evidence   bool
	pictures   pictureFlags
	output     outputFlags
}

func newPredictCmd(f *Factory, runF func(*predictOptions) error) *cobra.Command {
	o := &predictOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "predict HORN MOUTHPIECE",
		Short: "Predict a setup note by note, and say why",
		Long: long(`Predict how far each note of a horn with a mouthpiece will be off, whether
anybody has played that setup or not: a line a note with what the horn and the mouthpiece contribute, the sum and its
80 % interval, what the tuning slide and the throws take care of, and what is left to the lip. Then, in words, which
notes the mouthpiece cures or spoils compared with a typical one, which other fingering helps a note that is left more than
the tolerance, and what the prediction rests on.`,
			`Harmonic support says how well a note's own overtones find resonances of the setup, 1 at most: from the predicted
notes, and from measured resonances too where the setup has sessions of method impedance. An index for comparing, not cents.`,
			judgeHelp[0], judgeHelp[1], judgeHelp[2],
			`--chart draws the shares of horn, mouthpiece and player, and their sum with its interval, as bars side by side. --svg
and --png draw the same into a file, with what is left to the lip.`,
			`--evidence lists the sessions behind the prediction instead: who measured them when, what each shares with the setup
(horn, mouthpiece, player, or another specimen of a design), and how far the answer would move without it: the profile, the
note that moves most, and the expected error. Each is left out alone and all else stays; in a large catalog the sessions
that share something are looked at.`,
			`--pairs FILE predicts many setups for another program: FILE ("-" for standard input) has the columns horn,
mouthpiece and, if wanted, player. The output has the columns horn, mouthpiece, fingering, partial, cents, sd, linked, a
line a slot: partials 2, 3, 4, 5, 6 and 8 of the seven usual combinations, 7, 9 and 10 of the open horn, and any other that
was measured. cents and sd are of the relative profile, its mean over the 31 usual notes removed, interaction included.
Without a player: a typical player.`,
			`--json prints one object: "horn", "mouthpiece", "player", "error_cents" with its 80 % interval "low" to "high",
"chance_tolerable", "typical_sd", "support", "worst", "sharpest" and "flattest" {"note", "cents"}, "beyond_5_10_15" (how
many notes), "tolerance_cents", "slide_cents", "slide_mm", "slide_at_stop", "temperament", "weights"
(what notes are weighed by), "linked", "adapter", "basis", "evidence" (numbers of sessions), "notes": [{"note", "concert",
"valves", "partial", "horn", "mouthpiece", "player", "pair", "cents", "sd", "low", "high", "target", "slide", "throw",
"left" with its 80 % interval "left_low" to "left_high", "support",
"support_measured", ...}], "cures" and "spoils": [{"note", "typical", "this", "gain", ...}],
"alternates": [{"note", "instead_of", "usual_left", "valves", "partial", "throw", "left", "sd", "gain" with "low" to "high"}] (other
fingerings that should be better where a note is left more than the tolerance), "no_alternate" (the notes for which none
should), and all that in "words"; "impedance" {"support", "sessions"} where
the setup has impedance sessions. With
--evidence there is "influence" too: {"sessions": [{"session", "date", "contributor", "method", "horn", "mouthpiece", "player",
"readings", "shares": [names], "profile_moves", "most" {"note", "cents"}, "error_moves", "error_without", "sd_without"}],
"others" (how many share nothing), "others_move" (how far any of them moves the profile at most; null where they were
not looked at), "not_weighed" (how many were not)}. --evidence --csv has the same columns. With
--pairs it is {"predictions": [...]} with the columns above as members.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitSkipped, exitNoCatalog, exitCancelled)),
		Example: `  centwise predict Alder "Plover 16.2"
  centwise predict Alder "Plover 16.2" --player reed-otter --range G3-A5 --concert
  centwise predict Alder "Plover 16.2" --chart
  centwise predict Alder "Plover 16.2" --evidence
  centwise predict Alder "Plover 16.2" --svg profile.svg --png profile.png
  centwise predict --pairs pairs.csv --csv`,
		Args: args(0, 2),
		RunE: func(cmd *cobra.Command, got []string) error {
			if err := o.take(cmd, got); err != nil {
				return err
			}
			return orRun(runF, predictRun)(cmd.Context(), o)
		},
	}
	o.judge.add(cmd)
	o.judge.part.add(cmd)
	cmd.Flags().BoolVar(&o.concert, "concert", false, "show the sounding notes too")
	cmd.Flags().StringVar(&o.pairs, "pairs", "", "predict the setups listed in `FILE`")
	cmd.Flags().BoolVar(&o.skip, "skip-unknown", false, "with --pairs: leave out lines whose gear or player is not in the catalog")
	cmd.Flags().BoolVar(&o.chart, "chart", false, "draw the shares and their sum as bars side by side")
	cmd.Flags().BoolVar(&o.evidence, "evidence", false, "list the sessions behind the prediction and what it owes to each")
	o.pictures.add(cmd, "the profile")
	o.output.add(cmd)
	exclusive(cmd, "chart", "json")
	exclusive(cmd, "chart", "csv")
	exclusive(cmd, "chart", "evidence")
	return cmd
}

// take reads the arguments and refuses combinations that mean nothing.
func (o *predictOptions) take(cmd *cobra.Command, got []string) error {
	if o.pairs == "" {
		if o.skip {
			return usagef("centwise predict --pairs pairs.csv --csv --skip-unknown", "--skip-unknown needs --pairs")
		}
		if len(got) < 2 {
			return usagef(`centwise predict Alder "Plover 16.2"`, "name a horn and a mouthpiece, or a file with --pairs")
		}
		o.horn, o.mouthpiece = got[0], got[1]
		return nil
	}
	if len(got) > 0 {
		return usagef("centwise predict --pairs pairs.csv --csv", "with --pairs the setups come from the file, not from arguments")
	}
	for _, name := range []string{"player", "range", "register", "weights", "part", "part-name", "part-key", "just", "target", "tolerance-cents", "no-throws", "adapter", "concert", "chart", "evidence", "svg", "png", "force"} {
		if cmd.Flags().Changed(name) {
			return usagef("centwise predict --pairs pairs.csv --csv", "--%s does not go with --pairs: it predicts whole profiles and judges none", name)
		}
	}
	return nil
}

func predictRun(ctx context.Context, o *predictOptions) error {
	if o.pairs != "" {
		return predictPairsRun(ctx, o)
	}
	if err := o.pictures.check(); err != nil {
		return err
	}
	x, err := o.answer(ctx)
	if err != nil {
		return err
	}
	if err := o.pictures.write(o.factory.Streams, func() show.Picture { return show.ProfilePicture(x, o.concert) }); err != nil {
		return err
	}
	return printExplanation(o, x)
}

// answer predicts the setup that the options name.
func (o *predictOptions) answer(ctx context.Context) (*match.Explanation, error) {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return nil, err
	}
	defer store.Close()
	var of match.Of
	if of.Horn, err = store.Horn(ctx, o.horn); err != nil {
		return nil, err
	}
	if of.Mouthpiece, err = store.Mouthpiece(ctx, o.mouthpiece); err != nil {
		return nil, err
	}
	if of.Player, err = findPlayer(ctx, store, o.judge.player); err != nil {
		return nil, err
	}
	resonances, err := match.LoadResonances(ctx, store, of.Horn.ID, of.Mouthpiece.ID)
	if err != nil {
		return nil, err
	}
	of.Resonances = resonances[match.PairOf{Horn: of.Horn.ID, Mouthpiece: of.Mouthpiece.ID}]
	criteria, err := o.judge.criteria(of.Player)
	if err != nil {
		return nil, err
	}
	o.factory.Streams.Notes(o.judge.part.remarks)
	engine, err := o.factory.Engine(ctx, store, o.factory.Progress())
	if err != nil {
		return nil, err
	}
	x, err := match.Explain(engine, of, criteria, o.judge.adapter)
	if err != nil || !o.evidence {
		return x, err
	}
	e, ok := engine.(match.Influencer)
	if !ok {
		return nil, fmt.Errorf("this engine can't say what its predictions owe to sessions")
	}
	x.Influence, err = match.FindInfluence(ctx, e, store, of, criteria, o.judge.adapter, o.factory.Progress())
	return x, err
}

func printExplanation(o *predictOptions, x *match.Explanation) error {
	s := o.factory.Streams
	switch {
	case o.output.json:
		return show.JSON(s.Out, x)
	case o.output.csv && o.evidence:
		return show.InfluenceTable(x.Influence).WriteCSV(s.Out)
	case o.output.csv:
		return show.NoteTable(x, o.concert).WriteCSV(s.Out)
	case o.chart:
		if err := show.ProfileChart(s.Out, s.Style, x, o.concert); err != nil {
			return err
		}
	case o.evidence && s.Style.Terminal:
		return show.Influence(s.Out, s.Style, x, x.Influence)
	case o.evidence:
		if err := show.InfluenceTable(x.Influence).Write(s.Out, s.Style); err != nil {
			return err
		}
		s.Notes(show.InfluenceSentences(x.Influence))
		return nil
	case s.Style.Terminal:
		if err := show.Explanation(s.Out, s.Style, x, o.concert); err != nil {
			return err
		}
	default:
		if err := show.NoteTable(x, o.concert).Write(s.Out, s.Style); err != nil {
			return err
		}
		s.Notes(show.ExplanationSentences(x))
	}
	s.Note(cautionShared + " " + cautionRest)
	return nil
}
