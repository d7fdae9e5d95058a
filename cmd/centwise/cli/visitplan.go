package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/importers/sheet"
	"centwise/match"
	"centwise/match/visit"
)

type visitPlanOptions struct {
	factory                         *Factory
	horn, player, now, name         string
	stock, list                     string
	rim, cup                        string
	anySize, control, adapter       bool
	tries, minutes, notes           int
	stopCents, stopChance           float64
	key                             string // file for the sealed key: labels are blind
	force                           bool
	ignoreExtra, dryRun, jsonOutput bool
	contributor                     string
	seed                            uint64
}

func newVisitPlanCmd(f *Factory, runF func(*visitPlanOptions) error) *cobra.Command {
	o := &visitPlanOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "plan",
		Short: "Plan which mouthpieces to try, in which order, on which notes",
		Long: long(`Plan a visit for a player with a horn: from what a shop has in stock, the few mouthpieces that are worth trying, in
the order in which each adds most to the best of those before it, with the mouthpiece played now as the one to beat. If
nothing in stock is likely enough to be better, it says to keep what you have.`,
			`--stock FILE is a gear list of the shop (CSV or .xlsx: kind, label, maker, model, shank, rim_mm, cup_cm3 ...; see
'centwise import --help'). Mouthpieces the catalog knows are matched by their label alone; others are added to it as new gear and
judged by others of their maker and model, else by their sizes. --list LIST takes what the catalog has in stock on that
list; without either, everything. What lies outside the player's comfort, or outside --rim-mm and --cup-cm3, is left out.`,
			`The sheet fits a phone. It holds the notes to play, few and each twice: those whose readings tell most about the error,
with what to listen for, what the tuner should show once the reference note is tuned, and from where on one note by
itself would put a candidate ahead. --blind FILE gives the candidates letters and writes the key into FILE, for a
helper who hands them over; --control puts the own mouthpiece among them once more.`,
			`--json prints {"name", "horn", "player", "now", "now_error", "keep", "advice", "blind", "tries": [{"number", "code",
"mouthpiece", "control", "error": {"cents", "low", "high"}, "chance_better", "gain_cents", "basis", "sessions", "linked"}],
"notes": [{"note", "fingering", "partial", "sounds", "listen", "now_cents", "windows": [{"code", "expected", "low", "high",
"difference", "decides"}]}], "times", "reference", "explained", "minutes", "rest", "hygiene", "stop_cents", "stop_chance",
"tries_asked", "considered", "left_out"}. Of a blind visit the labels are left out.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitBusy, exitCancelled)),
		Example: `  centwise visit plan --player reed-otter --horn Alder --stock shop.csv --tries 6
  centwise visit plan --player reed-otter --horn Alder --list cupboard --minutes 30 --blind key.txt
  centwise visit plan --player reed-otter --horn Alder --now "Plover 16.2" --control --dry-run --json`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error { return orRun(runF, visitPlanRun)(cmd.Context(), o) },
	}
	fs := cmd.Flags()
	fs.StringVar(&o.player, "player", "", "`HANDLE` of the player")
	fs.StringVar(&o.horn, "horn", "", "`LABEL` of the horn")
	fs.StringVar(&o.now, "now", "", "`LABEL` of the mouthpiece played now (default that of the player's last session with the horn)")
	fs.StringVar(&o.name, "name", "", "`NAME` of the visit (default the date and the horn)")
	fs.StringVar(&o.stock, "stock", "", "gear list `FILE` of what the shop has; - is standard input")
	fs.StringVar(&o.list, "list", "", "what the catalog has in stock on `LIST`")
	fs.StringVar(&o.rim, "rim-mm", "", "only mouthpieces with a rim of `LOW-HIGH` mm, as in 16-16.6")
	fs.StringVar(&o.cup, "cup-cm3", "", "only mouthpieces with a cup of `LOW-HIGH` cm3, as in 1-1.3")
	fs.BoolVar(&o.anySize, "any-size", false, "also what lies outside the player's comfort")
	fs.IntVar(&o.tries, "tries", 6, "`N` mouthpieces that there is strength for")
	fs.IntVar(&o.minutes, "minutes", 60, "`N` minutes that there is time for")
	fs.IntVar(&o.notes, "notes", visit.DecidingNotes, "play `N` notes of each")
	fs.Float64Var(&o.stopCents, "stop-cents", visit.UsualRule.Cents, "stop when nothing is likely to be better by `CENTS`")
	fs.Float64Var(&o.stopChance, "stop-chance", 100*visit.UsualRule.Chance, "likely is a chance above `PERCENT`")
	fs.BoolVar(&o.control, "control", false, "put the own mouthpiece among them once more")
	fs.StringVar(&o.key, "blind", "", "letters instead of labels; the key goes into `FILE`")
	fs.BoolVar(&o.force, "force", false, "replace the key file if it is there already")
	fs.BoolVar(&o.adapter, "adapter", false, "let shank and receiver differ")
	fs.BoolVar(&o.ignoreExtra, "ignore-extra", false, "pass over columns of the stock list that are not known")
	fs.Uint64Var(&o.seed, "seed", 0, "`N` that decides the letters and the possible worlds (default from the catalog)")
	fs.BoolVar(&o.dryRun, "dry-run", false, "keep nothing: neither the visit nor new gear")
	fs.BoolVar(&o.jsonOutput, "json", false, "print JSON")
	contributorFlag(cmd, f, &o.contributor)
	return cmd
}

func visitPlanRun(ctx context.Context, o *visitPlanOptions) error {
	if o.player == "" || o.horn == "" {
		return usagef("centwise visit plan --player reed-otter --horn Alder", "a visit needs --player and --horn")
	}
	if o.stock != "" && o.list != "" {
		return usagef("give one of them", "--stock and --list cannot be used together")
	}
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	q, err := o.question(ctx, store)
	if err != nil {
		return err
	}
	if o.dryRun && o.stock != "" {
		if missing := slices.IndexFunc(q.Stock, func(m catalog.Mouthpiece) bool { return m.ID == "" }); missing >= 0 {
			return usagef("leave --dry-run out, or import the list first", "the catalog does not know %q yet, and --dry-run adds nothing to it", q.Stock[missing].Label)
		}
	}
	model, err := o.factory.Fit(ctx, store, false, o.factory.Progress())
	if err != nil {
		return err
	}
	if q.Seed = o.seed; q.Seed == 0 {
		q.Seed = model.Seed
	}
	kept, plan, err := match.PlanVisit(ctx, model, q)
	if err != nil {
		return err
	}
	if err := o.keep(ctx, store, kept, plan); err != nil {
		return err
	}
	return o.print(plan)
}

// question gathers what a plan needs.
func (o *visitPlanOptions) question(ctx context.Context, store catalog.Store) (match.VisitQuestion, error) {
	q := match.VisitQuestion{
		Contributor: o.contributor, Name: o.name, Tries: o.tries, Minutes: o.minutes, Notes: o.notes, Control: o.control, Blind: o.key != "",
		Rule: visit.Rule{Cents: o.stopCents, Chance: o.stopChance / 100},
	}
	var err error
	if q.Horn, err = store.Horn(ctx, o.horn); err != nil {
		return q, err
	}
	if q.Player, err = store.Player(ctx, o.player); err != nil {
		return q, err
	}
	if q.Now, err = o.present(ctx, store, q); err != nil {
		return q, err
	}
	if q.Filter.RimMM, err = parseLimits("rim-mm", o.rim, "mm", "16-16.6"); err != nil {
		return q, err
	}
	if q.Filter.CupCM3, err = parseLimits("cup-cm3", o.cup, "cm3", "1-1.3"); err != nil {
		return q, err
	}
	q.Filter.Comfort, q.Filter.Adapter, q.Filter.Stock = !o.anySize, o.adapter, o.list
	if q.Name == "" {
		if q.Name, err = o.freeName(ctx, store, q.Horn.Label); err != nil {
			return q, err
		}
	}
	if err := o.mayBegin(ctx, store, q); err != nil {
		return q, err
	}
	q.Stock, err = o.inStock(ctx, store)
	return q, err
}

// mayBegin refuses what would be refused later, before a stock list adds gear.
func (o *visitPlanOptions) mayBegin(ctx context.Context, store catalog.Store, q match.VisitQuestion) error {
	if err := q.Check(); err != nil {
		return err
	}
	if o.dryRun {
		return nil
	}
	if err := checkPlace(o.key, o.force, "--blind key.txt"); err != nil {
		return err
	}
	switch other, err := store.Visit(ctx, q.Name); {
	case err == nil:
		return catalog.Errorf(catalog.Conflict, "choose another name, or go on with: centwise visit record "+catalog.ShellWord(other.Name), "there is a visit called %q already", other.Name)
	case catalog.KindOf(err) != catalog.NotFound:
		return err
	}
	return nil
}

// present is the mouthpiece that is played now.
func (o *visitPlanOptions) present(ctx context.Context, store catalog.Store, q match.VisitQuestion) (catalog.Mouthpiece, error) {
	if o.now != "" {
		return store.Mouthpiece(ctx, o.now)
	}
	list, err := store.Sessions(ctx, catalog.SessionFilter{Horn: q.Horn.ID, Player: q.Player.ID})
	if err != nil {
		return catalog.Mouthpiece{}, err
	}
	if len(list) == 0 {
		return catalog.Mouthpiece{}, usagef(`--now "Plover 16.2"; better, measure a session with it first`,
			"%s has no session with %s, so say by --now which mouthpiece is played now", q.Player.Label, q.Horn.Label)
	}
	return store.Mouthpiece(ctx, string(list[len(list)-1].Mouthpiece))
}

// freeName makes a name that no visit has.
func (o *visitPlanOptions) freeName(ctx context.Context, store catalog.Store, horn string) (string, error) {
	list, err := store.Visits(ctx)
	if err != nil {
		return "", err
	}
	base := o.factory.Now().Format("2006-01-02") + " " + horn
	name := base
	for n := 2; slices.ContainsFunc(list, func(v catalog.VisitSummary) bool { return catalog.Fold(v.Name) == catalog.Fold(name) }); n++ {
		name = fmt.Sprintf("%s (%d)", base, n)
	}
	return name, nil
}

// inStock lists what may be tried; what the catalog does not know of a stock list
// is added to it, or with --dry-run has no id.
func (o *visitPlanOptions) inStock(ctx context.Context, store catalog.Store) ([]catalog.Mouthpiece, error) {
	if o.stock == "" {
		return store.Mouthpieces(ctx, false)
	}
	files, closeFiles, err := openFiles[sheet.File](o.factory.Streams.In, []string{o.stock})
	if err != nil {
		return nil, err
	}
	defer closeFiles()
	report, err := sheet.Import(ctx, store, files, sheet.Options{IgnoreExtra: o.ignoreExtra, KnownAsIs: true, Contributor: o.contributor, Progress: o.factory.Progress(), DryRun: o.dryRun})
	if err != nil {
		return nil, err
	}
	if len(report.Listed) == 0 {
		return nil, catalog.Errorf(catalog.Invalid, "list the mouthpieces as rows with kind mouthpiece and a label", "the stock list %s has no mouthpiece in it", o.stock)
	}
	if n := len(report.Mouthpieces); n > 0 && !o.dryRun {
		o.factory.Streams.Note("New to the catalog, judged by others of their maker and model or by their sizes: %s.", show.Labels(report.Mouthpieces))
	}
	var out []catalog.Mouthpiece
	for _, label := range report.Listed {
		m, err := store.Mouthpiece(ctx, label)
		if o.dryRun && catalog.KindOf(err) == catalog.NotFound {
			m, err = catalog.Mouthpiece{Label: label}, nil
		}
		if err != nil {
			return nil, err
		}
		out = append(out, m)
	}
	return out, nil
}

// keep writes the visit into the catalog, and the key of a blind one beside.
func (o *visitPlanOptions) keep(ctx context.Context, store catalog.Store, v catalog.Visit, plan *match.VisitSheet) error {
	if o.dryRun {
		return nil
	}
	if o.key == "" {
		return store.OpenVisit(ctx, v)
	}
	var failed error
	err := writeFile(o.key, o.force, func(w io.Writer) error {
		if failed = store.OpenVisit(ctx, v); failed != nil {
			return failed
		}
		key, err := match.VisitKey(ctx, store, v)
		if err != nil {
			return err
		}
		return show.VisitKey(w, plan, key)
	})
	if failed != nil {
		return failed
	}
	if err != nil {
		keeping, end := outliving(ctx)
		defer end()
		return errors.Join(err, store.DiscardVisit(keeping, v.ID))
	}
	o.factory.Streams.Note("The key is in %s: give it to who hands you the mouthpieces, and don't look.", o.key)
	return nil
}

func (o *visitPlanOptions) print(plan *match.VisitSheet) error {
	s := o.factory.Streams
	if err := printVisitSheet(s, plan, o.jsonOutput); err != nil || o.jsonOutput || o.dryRun {
		return err
	}
	s.Note("Between the tries:")
	s.Command("centwise visit record " + catalog.ShellWord(plan.Name) + o.factory.Here())
	return nil
}

// printVisitSheet prints a sheet, of a blind visit without its labels.
func printVisitSheet(s *Streams, plan *match.VisitSheet, asJSON bool) error {
	plan = plan.Sealed()
	if asJSON {
		return show.JSON(s.Out, plan)
	}
	return show.VisitSheet(s.Out, s.Style, plan)
}

type visitShowOptions struct {
	factory *Factory
	names   []string
	json    bool
}

func newVisitShowCmd(f *Factory, runF func(*visitShowOptions) error) *cobra.Command {
	o := &visitShowOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "show [VISIT]",
		Short: "Print the sheet of a visit again",
		Long: long(`Print the sheet of a visit again, the latest open one unless it is named. The numbers are those of the catalog as it
stands now; the tries and the notes are those that were planned. --json prints what 'centwise visit plan --json' does.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog)),
		Example: `  centwise visit show
  centwise visit show "2026-11-25 Alder" --json`,
		Args: args(0, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.names = got
			return orRun(runF, visitShowRun)(cmd.Context(), o)
		},
	}
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON")
	return cmd
}

func visitShowRun(ctx context.Context, o *visitShowOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	v, err := openVisit(ctx, store, o.names)
	if err != nil {
		return err
	}
	model, err := o.factory.Fit(ctx, store, false, o.factory.Progress())
	if err != nil {
		return err
	}
	plan, err := match.SheetOfVisit(model, v.Visit, v.horn, v.now, v.player, v.candidates)
	if err != nil {
		return err
	}
	return printVisitSheet(o.factory.Streams, plan, o.json)
}
