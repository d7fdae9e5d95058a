package cli

import (
	"context"
	"io"
	"slices"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
)

type reportOptions struct {
	factory *Factory
	// rank holds what a report shares with a ranking: gear, judgement, filters.
	rank  rankOptions
	visit string // name; empty: no visit
	out   string
	force bool
}

// reportFinalists is how many pairings a report lays side by side note by note:
// more columns can't be read on a phone.
const reportFinalists = 3

func newReportCmd(f *Factory, runF func(*reportOptions) error) *cobra.Command {
	o := &reportOptions{factory: f, rank: rankOptions{factory: f, sort: "error"}}
	cmd := &cobra.Command{
		Use:   "report",
		Short: "Make a page about a setup, a horn, a mouthpiece or a visit, to read or to print",
		Long: long(`Make a page (HTML) that needs nothing but itself: no network, no script, no font. It can be read on a phone, in
light or dark, and printed on A4 or Letter, in black and white too. Every number has its interval, and the foot of the page
says how it was found and what it rests on.`,
			`With --horn and --mouthpiece the page is about that setup: a verdict in plain words, what is left to the lip note by
note, how it plays by itself with what sessions with this very setup measured, and every number in a table. With --horn
alone it compares the mouthpieces for that horn, lays the first three side by side, and shows what the horn itself brings
along; with --mouthpiece alone it does the same the other way round. With --visit it is the sheet to take along to a visit
that 'centwise visit plan' planned: what to try in which order, what to listen for, and places for what is read; of a blind
visit nothing that gives the mouthpieces away.`,
			`--output names the file; without it the page goes to standard output, which must not be a terminal.`,
			judgeHelp[0], judgeHelp[1], judgeHelp[2],
			`Filters leave out what you can't use, as in 'centwise rank'; --against compares with what is played now and puts
the answer whether changing is worth it on top. Neither goes with the report on one setup.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitCancelled)),
		Example: `  centwise report --horn Alder --mouthpiece "Plover 16.2" --output alder-plover.html
  centwise report --horn Alder --stock cupboard --against "Plover 16.2" --output alder.html
  centwise report --mouthpiece "Plover 16.2" --player reed-otter > plover.html
  centwise report --visit "2026-11-25 Alder" --output visit.html`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := o.take(cmd); err != nil {
				return err
			}
			return orRun(runF, reportRun)(cmd.Context(), o)
		},
	}
	fs := cmd.Flags()
	fs.StringVar(&o.rank.horn, "horn", "", "the horn `LABEL` that the page is about")
	fs.StringVar(&o.rank.mouthpiece, "mouthpiece", "", "the mouthpiece `LABEL` that the page is about")
	fs.StringVar(&o.visit, "visit", "", "the sheet of the visit `NAME`")
	fs.StringVarP(&o.out, "output", "o", "", "write the page into `FILE` (default standard output)")
	fs.BoolVar(&o.force, "force", false, "with --output: replace the file if it is there already")
	fs.IntVar(&o.rank.top, "top", shortlist, "compare the first `N` only; 0 for all")
	fs.StringVar(&o.rank.trade.against, "against", "", "compare with the `SETUP` played now, and say whether changing is worth it")
	o.rank.judge.add(cmd)
	o.rank.judge.part.add(cmd)
	o.rank.filter.add(cmd)
	return cmd
}

// comparisonFlags mean nothing where there is nothing to compare.
var comparisonFlags = []string{"top", "against", "key", "instrument", "loaner", "shank", "rim-mm", "cup-cm3", "stock", "owner", "tag", "comfort", "measured", "linked", "retired"}

// judgingFlags mean nothing where a visit was planned with its own.
var judgingFlags = []string{"horn", "mouthpiece", "player", "range", "register", "weights", "part", "part-name", "part-key", "just", "target", "tolerance-cents", "no-throws", "adapter"}

// take refuses combinations that mean nothing.
func (o *reportOptions) take(cmd *cobra.Command) error {
	const try = `centwise report --horn Alder --mouthpiece "Plover 16.2" --output report.html`
	switch {
	case o.rank.horn == "" && o.rank.mouthpiece == "" && o.visit == "":
		return usagef(try, "say what the report is about: --horn, --mouthpiece, both for a setup, or --visit")
	case o.force && o.out == "":
		return usagef(try+" --force", "--force needs --output")
	case o.out == "" && o.factory.Streams.Style.Terminal:
		return usagef(try, "a page can't be read on a terminal: name a file with --output")
	}
	switch {
	case o.visit != "":
		return refuse(cmd, append(slices.Clone(comparisonFlags), judgingFlags...), "the sheet of a visit")
	case o.aboutSetup():
		return refuse(cmd, comparisonFlags, "the report on one setup")
	}
	return o.rank.checkTop()
}

// refuse says of flags that were given that they mean nothing for a page.
func refuse(cmd *cobra.Command, names []string, page string) error {
	for _, name := range names {
		if cmd.Flags().Changed(name) {
			return usagef("leave --"+name+" out", "--%s does not go with %s", name, page)
		}
	}
	return nil
}

func (o *reportOptions) aboutSetup() bool { return o.rank.horn != "" && o.rank.mouthpiece != "" }

func reportRun(ctx context.Context, o *reportOptions) error {
	if err := checkPlace(o.out, o.force, "--output report.html"); err != nil {
		return err
	}
	r, err := o.report(ctx)
	if err != nil {
		return err
	}
	if o.out == "" {
		return r.WriteHTML(o.factory.Streams.Out)
	}
	if err := writeFile(o.out, o.force, func(w io.Writer) error { return r.WriteHTML(w) }); err != nil {
		return err
	}
	o.factory.Streams.Note("wrote %s: open it in a browser, print it from there", o.out)
	return nil
}

// report gathers what the page shows.
func (o *reportOptions) report(ctx context.Context) (*show.Report, error) {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return nil, err
	}
	defer store.Close()
	if o.visit != "" {
		return o.visitSheet(ctx, store)
	}
	q, err := o.rank.question(ctx, store)
	if err != nil {
		return nil, err
	}
	w := &reportWriter{ctx: ctx, store: store, question: q, adapter: o.rank.judge.adapter, Report: o.page()}
	w.ToleranceCents = q.Criteria.ToleranceCents
	if !o.aboutSetup() {
		if err := o.rank.list(ctx, store, &w.question); err != nil {
			return nil, err
		}
	}
	model, err := o.factory.Fit(ctx, store, false, o.factory.Progress())
	if err != nil {
		return nil, err
	}
	return w.write(model)
}

// page is what all reports have.
func (o *reportOptions) page() show.Report {
	return show.Report{
		Made: o.factory.Now(), Version: buildVersion().version,
		Cautions: []string{cautionShared, cautionRest, cautionAltering},
	}
}

// visitSheet is the page to take along to a visit that is still open.
func (o *reportOptions) visitSheet(ctx context.Context, store catalog.Store) (*show.Report, error) {
	v, err := openVisit(ctx, store, []string{o.visit})
	if err != nil {
		return nil, err
	}
	model, err := o.factory.Fit(ctx, store, false, o.factory.Progress())
	if err != nil {
		return nil, err
	}
	plan, err := match.SheetOfVisit(model, v.Visit, v.horn, v.now, v.player, v.candidates)
	if err != nil {
		return nil, err
	}
	w := &reportWriter{ctx: ctx, store: store, Report: o.page()}
	w.Visit, w.VisitEnter = plan.Sealed(), "centwise visit record "+catalog.ShellWord(plan.Name)+o.factory.Here()
	return &w.Report, w.origin(model)
}
