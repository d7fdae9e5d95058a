package cli

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/form"
)

type rosterCommitOptions struct {
	factory                   *Factory
	file                      string
	student, horn, mouthpiece string // one loan, where there is no file
	copies                    []string
	since, until              string
	remark, contributor       string
	dryRun                    bool
	output                    outputFlags
}

func newRosterCommitCmd(f *Factory, runF func(*rosterCommitOptions) error) *cobra.Command {
	o := &rosterCommitOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "commit [PLAN]",
		Short: "Write down who has what from now on",
		Long: long(`Write the loans of a plan into the catalog: a sheet with the columns student, horn, mouthpiece and own_mouthpiece,
as 'centwise roster plan --csv' prints it and you may have changed it. Who has the same already keeps it; what a student of the
plan had before comes back with the same stroke, so that horns can change hands. All is written, or nothing: a horn that
somebody else has is refused with who that is.`,
			`Without a PLAN, --student with --horn or --mouthpiece lends one thing beside what the student has; on a terminal the
command asks.`,
			`--json prints {"lent": [{"student", "horn" or "mouthpiece", "copy", "since", "until"}], "returned": [the same],
"kept": how many stay where they are, "written"}.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitBusy, exitCancelled)),
		Example: `  centwise roster commit plan.csv --until 2027-07-10
  centwise roster commit --student reed-otter --horn Hazel --mouthpiece "Plover 16.2"
  centwise roster commit plan.csv --dry-run`,
		Args: args(0, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			if len(got) > 0 {
				o.file = got[0]
			}
			return orRun(runF, rosterCommitRun)(cmd.Context(), o)
		},
	}
	fs := cmd.Flags()
	fs.StringVar(&o.student, "student", "", "lend to the player `HANDLE`")
	fs.StringVar(&o.horn, "horn", "", "lend the horn `LABEL`")
	fs.StringVar(&o.mouthpiece, "mouthpiece", "", "lend the mouthpiece `LABEL`")
	fs.StringArrayVar(&o.copies, "copies", nil, "how many there are of a mouthpiece, as `LABEL=N`; repeat it for others (default 1 each)")
	fs.StringVar(&o.since, "since", "", "`DATE` of handing out (default now)")
	fs.StringVar(&o.until, "until", "", "`DATE` when everything is due back")
	fs.StringVar(&o.remark, "remark", "", "a `TEXT` to keep with the loans")
	fs.BoolVar(&o.dryRun, "dry-run", false, "say what would be done, and do nothing")
	o.output.add(cmd)
	contributorFlag(cmd, f, &o.contributor)
	return cmd
}

func rosterCommitRun(ctx context.Context, o *rosterCommitOptions) error {
	one := o.student != "" || o.horn != "" || o.mouthpiece != ""
	switch {
	case o.file != "" && one:
		return usagef("leave the flags out", "a plan and --student, --horn or --mouthpiece cannot be used together")
	case o.file == "" && !one && !o.factory.MayAsk():
		return usagef("centwise roster commit plan.csv", "name a plan, or a student and what to lend: --student, --horn")
	}
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	if o.file == "" && !one {
		if err := o.ask(ctx, store); err != nil {
			return err
		}
	}
	h, err := o.handing(ctx, store)
	if err != nil {
		return err
	}
	if !o.dryRun && len(h.changes.Loans)+len(h.changes.Returns) > 0 {
		if err := store.Apply(ctx, h.changes); err != nil {
			return err
		}
	}
	return o.print(h)
}

// handing works out what is lent and what comes back.
func (o *rosterCommitOptions) handing(ctx context.Context, store catalog.Store) (*handing, error) {
	since, until, err := o.days()
	if err != nil {
		return nil, err
	}
	copies, err := copyCounts(ctx, store, o.copies)
	if err != nil {
		return nil, err
	}
	out, err := store.Loans(ctx, catalog.LoanFilter{Out: true})
	if err != nil {
		return nil, err
	}
	w := &lender{ctx: ctx, store: store, out: out, copies: copies, h: &handing{},
		loan: catalog.Loan{Since: since, Until: until, Contributor: o.contributor, Remark: o.remark}}
	if o.file == "" {
		if o.student == "" || o.horn == "" && o.mouthpiece == "" {
			return nil, usagef("--student reed-otter --horn Hazel", "say who gets what: --student with --horn, --mouthpiece or both")
		}
		return w.h, w.one(o.student, o.horn, o.mouthpiece)
	}
	return w.h, w.plan(o.file)
}

func (o *rosterCommitOptions) days() (since, until time.Time, err error) {
	since = o.factory.Now()
	if o.since != "" {
		if since, err = parseDay(o.since); err != nil {
			return since, until, usagef("--since 2026-09-01", "--since %q: %v", o.since, err)
		}
	}
	if o.until != "" {
		if until, err = parseDay(o.until); err != nil {
			return since, until, usagef("--until 2027-07-10", "--until %q: %v", o.until, err)
		}
	}
	return since, until, nil
}

// ask asks who gets what and fills the options.
func (o *rosterCommitOptions) ask(ctx context.Context, store catalog.Store) error {
	players, err := store.Players(ctx, false)
	if err != nil {
		return err
	}
	horns, err := store.Horns(ctx, false)
	if err != nil {
		return err
	}
	mouthpieces, err := store.Mouthpieces(ctx, false)
	if err != nil {
		return err
	}
	o.since, o.until = o.factory.Now().Format(time.DateOnly), ""
	f := form.Form{Title: "Lend to a student", Pages: []form.Page{{Title: "Who gets what", Questions: []form.Question{
		{Name: "student", Help: "the player's handle", Answer: &o.student, Known: labelsOf(players, func(p catalog.Player) string { return p.Label }), Check: foundBy(ctx, store.Player)},
		{Name: "horn", Help: "leave it empty for none", Answer: &o.horn, Optional: true, Known: labelsOf(horns, func(h catalog.Horn) string { return h.Label }), Check: foundBy(ctx, store.Horn)},
		{Name: "mouthpiece", Help: "leave it empty for none", Answer: &o.mouthpiece, Optional: true, Known: labelsOf(mouthpieces, func(m catalog.Mouthpiece) string { return m.Label }), Check: foundBy(ctx, store.Mouthpiece)},
		{Name: "since", Help: "year, month and day", Answer: &o.since, Check: checkDay},
		{Name: "until", Help: "when it is due back; leave it empty for open", Answer: &o.until, Optional: true, Check: checkDay},
		{Name: "remark", Help: "what goes with it, its state", Answer: &o.remark, Optional: true},
	}}}, Review: &form.Review{Do: "lend it", Check: func() error {
		if o.horn == "" && o.mouthpiece == "" {
			return fmt.Errorf("name a horn or a mouthpiece")
		}
		h, err := o.handing(ctx, store)
		if err != nil {
			return err
		}
		return h.refusal(ctx, store)
	}, Summary: func() (lines, doubts []string) {
		for _, what := range []string{o.horn, o.mouthpiece} {
			if what != "" {
				lines = append(lines, what+" to "+o.student)
			}
		}
		return lines, nil
	}}}
	if err := o.factory.Asker().Ask(ctx, f); err != nil {
		return notAsked(err, "roster commit")
	}
	return nil
}

// labelsOf lists labels, for a question that knows them.
func labelsOf[T any](list []T, label func(T) string) []string {
	var out []string
	for _, x := range list {
		out = append(out, label(x))
	}
	return out
}

// foundBy checks that the catalog has what an answer names.
func foundBy[T any](ctx context.Context, find func(context.Context, string) (T, error)) func(string) error {
	return func(answer string) error {
		_, err := find(ctx, answer)
		return err
	}
}

func checkDay(answer string) error {
	_, err := parseDay(answer)
	return err
}
