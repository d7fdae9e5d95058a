package cli

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/form"
)

type rosterReturnOptions struct {
	factory             *Factory
	labels              []string
	from                string
	date                string
	remark, contributor string
}

func newRosterReturnCmd(f *Factory, runF func(*rosterReturnOptions) error) *cobra.Command {
	o := &rosterReturnOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "return [LABEL...]",
		Short: "Take back what was lent",
		Long: long(`Write down that horns or mouthpieces came back. --from takes back from one student: all they have, or the things that
are named. Where several copies of a mouthpiece are out, --from says whose. On a terminal, without anything named, the command
asks.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitBusy, exitCancelled)),
		Example: `  centwise roster return Hazel
  centwise roster return --from reed-otter --remark "third slide sticks"
  centwise roster return Hazel Elm --date 2026-11-25`,
		Args: args(0, -1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.labels = got
			return orRun(runF, rosterReturnRun)(cmd.Context(), o)
		},
	}
	fs := cmd.Flags()
	fs.StringVar(&o.from, "from", "", "from the player `HANDLE`")
	fs.StringVar(&o.date, "date", "", "`DATE` it came back (default now)")
	fs.StringVar(&o.remark, "remark", "", "the state it came back in, as `TEXT`")
	contributorFlag(cmd, f, &o.contributor)
	return cmd
}

func rosterReturnRun(ctx context.Context, o *rosterReturnOptions) error {
	nothing := len(o.labels) == 0 && o.from == ""
	if nothing && !o.factory.MayAsk() {
		return usagef("centwise roster return Hazel", "name what came back, or whom from: --from")
	}
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	out, err := store.Loans(ctx, catalog.LoanFilter{Out: true})
	if err != nil {
		return err
	}
	if nothing {
		if err := o.ask(ctx, out); err != nil {
			return err
		}
	}
	back, err := o.choose(ctx, store, out)
	if err != nil {
		return err
	}
	at := o.factory.Now()
	if o.date != "" {
		if at, err = parseDay(o.date); err != nil {
			return usagef("--date 2026-11-25", "--date %q: %v", o.date, err)
		}
	}
	var c catalog.Changes
	var names []string
	for _, l := range back {
		c.Returns = append(c.Returns, catalog.ReturnOf{Loan: l.ID, Return: catalog.Return{At: at, Contributor: o.contributor, Remark: o.remark}})
		names = append(names, thingOf(l)+" from "+l.PlayerLabel)
	}
	if err := store.Apply(ctx, c); err != nil {
		return err
	}
	s := o.factory.Streams
	s.Note("returned: %s", strings.Join(names, ", "))
	for _, l := range back {
		if l.Mouthpiece != "" {
			s.Note(cautionShared)
			break
		}
	}
	return nil
}

// choose finds the loans that end.
func (o *rosterReturnOptions) choose(ctx context.Context, store catalog.Store, out []catalog.LoanSummary) ([]catalog.LoanSummary, error) {
	if o.from != "" {
		p, err := store.Player(ctx, o.from)
		if err != nil {
			return nil, err
		}
		var theirs []catalog.LoanSummary
		for _, l := range out {
			if l.Player == p.ID {
				theirs = append(theirs, l)
			}
		}
		if len(theirs) == 0 {
			return nil, catalog.Errorf(catalog.NotFound, "list what is out with: centwise roster loans", "%s has nothing that was lent", p.Label)
		}
		out = theirs
	}
	if len(o.labels) == 0 {
		return out, nil
	}
	var back []catalog.LoanSummary
	for _, label := range o.labels {
		l, err := o.chooseOne(ctx, store, out, label)
		if err != nil {
			return nil, err
		}
		back = append(back, l)
	}
	return back, nil
}

// chooseOne finds the loan of a thing.
func (o *rosterReturnOptions) chooseOne(ctx context.Context, store catalog.Store, out []catalog.LoanSummary, label string) (none catalog.LoanSummary, err error) {
	horn, mouthpiece, err := findThing(ctx, store, label)
	if err != nil {
		return none, err
	}
	var found []catalog.LoanSummary
	var who []string
	for _, l := range out {
		if l.Horn == horn && l.Mouthpiece == mouthpiece {
			found, who = append(found, l), append(who, l.PlayerLabel)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		whose := ""
		if o.from != "" {
			whose = " by " + o.from
		}
		return none, catalog.Errorf(catalog.NotFound, "list what is out with: centwise roster loans", "%s is not out%s", label, whose)
	}
	return none, usagef("--from "+catalog.ShellWord(who[0]), "%d copies of %s are out, with %s: say from whom", len(found), label, strings.Join(who, ", "))
}

// ask asks what came back and fills the options.
func (o *rosterReturnOptions) ask(ctx context.Context, out []catalog.LoanSummary) error {
	if len(out) == 0 {
		return catalog.Errorf(catalog.NotFound, "lend something with: centwise roster commit", "nothing is out")
	}
	var choices []form.Choice
	for i, l := range out {
		choices = append(choices, form.Choice{Value: fmt.Sprint(i), Label: thingOf(l) + ", " + l.PlayerLabel})
	}
	chosen := "0"
	o.date = o.factory.Now().Format(time.DateOnly)
	f := form.Form{Title: "Take back", Pages: []form.Page{{Title: "What came back", Questions: []form.Question{
		{Name: "thing", Help: "what came back, and from whom", Answer: &chosen, Choices: choices},
		{Name: "date", Help: "year, month and day", Answer: &o.date, Check: checkDay},
		{Name: "remark", Help: "the state it came back in", Answer: &o.remark, Optional: true},
	}}}, Review: &form.Review{Do: "take it back", Summary: func() (lines, doubts []string) {
		for _, c := range choices {
			if c.Value == chosen {
				lines = append(lines, c.Label)
			}
		}
		return lines, nil
	}}}
	if err := o.factory.Asker().Ask(ctx, f); err != nil {
		return notAsked(err, "roster return")
	}
	for i, l := range out {
		if fmt.Sprint(i) == chosen {
			o.labels, o.from = []string{l.HornLabel + l.MouthpieceLabel}, l.PlayerLabel
		}
	}
	return nil
}
