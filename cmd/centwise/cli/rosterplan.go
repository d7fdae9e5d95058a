package cli

import (
	"context"
	"fmt"
	"io"
	"math"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
)

// rosterAsk is what every question about a class is made of.
type rosterAsk struct {
	factory     *Factory
	class       string // file of the class list; empty = the players of the catalog
	ignoreExtra bool
	tag         string // of players, where there is no class list
	needs       needFlags
	gear        rosterGearFlags
	judge       judgeFlags
	changeCents float64
	fairest     bool
}

func (o *rosterAsk) add(cmd *cobra.Command) {
	fs := cmd.Flags()
	fs.BoolVar(&o.ignoreExtra, "ignore-extra", false, "pass over columns of the class list that are not known")
	fs.StringVar(&o.tag, "tag", "", "only players with this `TAG`, where there is no class list")
	o.needs.add(cmd)
	o.gear.add(cmd)
	o.judge.addCriteria(cmd)
	fs.Float64Var(&o.changeCents, "change-cents", match.DefaultChangeCents, "what a change of horn or mouthpiece must gain, in `CENTS`")
}

// check finds flags that contradict each other.
func (o *rosterAsk) check() error {
	switch {
	case o.class != "" && o.tag != "":
		return usagef("leave --tag out", "--tag chooses players of the catalog, and the class list names them already")
	case !(o.changeCents >= 0) || math.IsInf(o.changeCents, 1):
		return usagef("--change-cents 0.5; a student who is to change nothing keeps it with --lock", "--change-cents %v is no number of cents from nought on", o.changeCents)
	}
	return nil
}

type rosterPlanOptions struct {
	rosterAsk
	names  bool
	save   string // file for the plan
	slips  string // file for the loan slips
	force  bool
	output outputFlags
}

// check refuses, before any work, what can't be planned or written.
func (o *rosterPlanOptions) check() error {
	if err := o.rosterAsk.check(); err != nil {
		return err
	}
	if o.save != "" && o.save == o.slips {
		return usagef("--save plan.csv --slips slips.html", "--save and --slips name the same file %s", o.save)
	}
	if err := checkPlace(o.save, o.force, "--save plan.csv"); err != nil {
		return err
	}
	return checkPlace(o.slips, o.force, "--slips slips.html")
}

func newRosterPlanCmd(f *Factory, runF func(*rosterPlanOptions) error) *cobra.Command {
	o := &rosterPlanOptions{rosterAsk: rosterAsk{factory: f}}
	cmd := &cobra.Command{
		Use:   "plan [CLASS]",
		Short: "Give each student of a class the horn that suits",
		Long: long(`Give each student of a class one of the horns that are lent out, and a mouthpiece where they need one, so that the
total of what is left to the lip is least: each student's expected error over the notes they play, uncertainty included.
Shank and receiver fit, and the horn is in the key that the student needs. --fairest makes the worst student's error as small
as can be, then the next worst's, and so on; that costs the mean more than it gives the worst.`,
			classHelp[0], classHelp[1],
			fmt.Sprintf(`A student who plays something now changes only if the whole class gains at least --change-cents (%g) by each horn or
mouthpiece that is changed. --lock keeps a horn with a student, --without takes a horn away, --add puts one in that is not
lent out: all say what they cost the class.`, match.DefaultChangeCents),
			`Where mouthpieces are given out too, three things must go together. A search that is given up after a while finds
the best plan, or a bound: how much better the best can be at most.`,
			judgeHelp[1], judgeHelp[2],
			`--json prints {"pairings": [{"student", "horn", "mouthpiece", "own_mouthpiece", "error_cents", "low", "high", "worst",
"now_horn", "now_error_cents", "gain": {"cents", "low", "high", "chance_better"}, "moved", "runner_up": {"horn",
"cost_cents"}, ...}], "unserved": [{"student", "reason", "students", "horns", "mouthpieces"}], "horns_left",
"mean_error_cents", "worst_error_cents", "worst_student", "fairest", "change_cents", "gain", "moved", "proof": {"exact", "lost_cents_at_most",
"worst_bound_cents" (with --fairest)}, "what_if", "notes", "names"}; --csv prints the pairings. Students are named by their
handles; --names adds the names of the class list, in JSON as "names" by handle.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitSkipped, exitNoCatalog, exitCancelled)),
		Example: `  centwise roster plan class.csv
  centwise roster plan class.csv --spares cupboard --fairest
  centwise roster plan --tag beginners --spares cupboard --copies "Plover 16.2=3"
  centwise roster plan class.csv --lock reed-otter=Hazel --without Elm
  centwise roster plan class.csv --csv > plan.csv`,
		Args: args(0, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			if len(got) > 0 {
				o.class = got[0]
			}
			return orRun(runF, rosterPlanRun)(cmd.Context(), o)
		},
	}
	o.rosterAsk.add(cmd)
	o.gear.addWhatIf(cmd)
	fs := cmd.Flags()
	fs.BoolVar(&o.fairest, "fairest", false, "the worst student's error first, then the next worst's")
	fs.BoolVar(&o.names, "names", false, "add the names of the class list")
	fs.StringVar(&o.save, "save", "", "keep the plan as a sheet in `FILE`, for 'roster commit'")
	fs.StringVar(&o.slips, "slips", "", "write loan slips to print, as HTML, into `FILE`")
	fs.BoolVar(&o.force, "force", false, "replace files that are there already")
	o.output.add(cmd)
	return cmd
}

func rosterPlanRun(ctx context.Context, o *rosterPlanOptions) error {
	if err := o.check(); err != nil {
		return err
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
	engine, err := o.factory.Engine(ctx, store, o.factory.Progress())
	if err != nil {
		return err
	}
	r, err := match.PlanRoster(ctx, engine, q)
	if err != nil {
		return err
	}
	r.Notes = append(r.Notes, class.remarks...)
	if err := o.writeFiles(engine, r, q, class); err != nil {
		return err
	}
	if err := printRoster(o, r, class); err != nil {
		return err
	}
	if len(r.Unserved) > 0 {
		return &skippedError{fmt.Sprintf("%s of %d can't be served", match.Count(len(r.Unserved), "student"), len(q.Students)),
			"see the reasons above; --add HORN adds one, --spares LIST adds mouthpieces"}
	}
	return nil
}

// writeFiles writes what is to be kept of a plan.
func (o *rosterPlanOptions) writeFiles(e match.Engine, r *match.Roster, q match.RosterQuestion, class *classList) error {
	names := class.names
	if !o.names {
		names = nil
	}
	if o.save != "" {
		if err := writeFile(o.save, o.force, func(w io.Writer) error { return show.RosterTable(r, names).WriteCSV(w) }); err != nil {
			return err
		}
		o.factory.Streams.Note("wrote %s", o.save)
	}
	if o.slips == "" {
		return nil
	}
	slips, err := slipsOf(e, r, q, class, names)
	if err != nil {
		return err
	}
	if err := writeFile(o.slips, o.force, slips.WriteHTML); err != nil {
		return err
	}
	o.factory.Streams.Note("wrote %s", o.slips)
	return nil
}

func printRoster(o *rosterPlanOptions, r *match.Roster, class *classList) error {
	s := o.factory.Streams
	names := class.names
	if !o.names {
		names = nil
	}
	switch {
	case o.output.json:
		return show.JSON(s.Out, show.NamedRoster(r, names))
	case o.output.csv:
		return show.RosterTable(r, names).WriteCSV(s.Out)
	case s.Style.Terminal:
		if err := show.Roster(s.Out, s.Style, r, names); err != nil {
			return err
		}
	default:
		if err := show.RosterTable(r, names).Write(s.Out, s.Style); err != nil {
			return err
		}
		s.Notes(show.RosterSentences(r))
	}
	if len(r.Lines) > 0 {
		first := r.Lines[0]
		s.Note("See note by note what the first is to expect:")
		s.Command(fmt.Sprintf("centwise predict %s %s --player %s%s", catalog.ShellWord(first.Horn), catalog.ShellWord(first.Mouthpiece), catalog.ShellWord(first.Student), o.factory.Here()))
		if o.save == "" {
			s.Note("Next: keep the plan with --save plan.csv, change it if you like, and write it down with 'centwise roster commit plan.csv'.")
		} else {
			s.Note("Next: change it if you like, and write down who has what:")
			s.Command("centwise roster commit " + catalog.ShellWord(o.save) + o.factory.Here())
		}
	}
	s.Note(cautionShared + " " + cautionRest)
	return nil
}
