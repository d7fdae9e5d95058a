package cli

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/cmd/centwise/show"
	"centwise/match"
	"centwise/match/fit"
)

type rankOptions struct {
	factory    *Factory
	horn       string
	mouthpiece string
	each       match.Owner // a list for each of these
	judge      judgeFlags
	filter     filterFlags
	trade      tradeFlags
	sort       string
	top        int
	matrix     bool
	pictures   pictureFlags
	output     outputFlags

	toleranceCents float64 // found by answer: what counts as in tune
}

// shortlist is how many pairings are shown to people unless they say.
const shortlist = 10

func newRankCmd(f *Factory, runF func(*rankOptions) error) *cobra.Command {
	o := &rankOptions{factory: f}
	var eachHorn, eachMouthpiece bool
	cmd := &cobra.Command{
		Use:   "rank",
		Short: "Rank pairings by how well in tune they should be",
		Long: long(`Rank the mouthpieces for a horn (--horn), the horns for a mouthpiece (--mouthpiece), or all pairs, by the error
that is left to the lip after the best tuning slide and throws. Nobody need have played a pairing. Each line has the
expected error with its 80 % interval, the chance of being the best of the list, the worst note, and how many sessions
it rests on.`,
			judgeHelp[0], judgeHelp[1], judgeHelp[2],
			`Filters leave out what you can't use; gear whose rim or cup is not known does not pass a filter on it.
Chances refer to everything that was judged, also where --top shows only a part.`,
			tradeHelp[0], tradeHelp[1],
			eachHelp[0],
			`--matrix shows all pairs as a table: a line a horn, a column a mouthpiece, the error in each cell, the best of each
line marked. A terminal shows as many columns as it has room for and --top lines; --csv and --json hold everything:
{"horns", "mouthpieces", "rows": [[{"judged", "error_cents", "low", "high", "best", "measured"}]], ...}.`,
			`--svg and --png draw the list into a file: a dot at each error on a line over its interval, the first 60 at most.`,
			`--json prints {"horn", "mouthpiece", "player", "sorted_by", "weights", "considered", "left_out", "pairings": [{"rank", "horn",
"mouthpiece", "error_cents", "low", "high", "chance_best", "chance_tolerable", "support", "worst": {"note", "cents"},
"evidence", "basis", "linked", ...}], "notes"}; it and --csv hold every pairing unless --top is given.`,
			tradeHelp[2],
			eachHelp[1],
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitCancelled)),
		Example: `  centwise rank --horn Alder
  centwise rank --horn Alder --player reed-otter --comfort --stock cupboard
  centwise rank --mouthpiece "Plover 16.2" --key Bb --loaner
  centwise rank --top 20 --sort worst --json
  centwise rank --horn Alder --against "Plover 16.2"
  centwise rank --against "Alder + Plover 16.2" --pareto
  centwise rank --each-horn --stock cupboard --top 3
  centwise rank --each-mouthpiece --loaner --csv
  centwise rank --matrix --stock cupboard
  centwise rank --horn Alder --svg alder.svg`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			o.each = eachOf(eachHorn, eachMouthpiece)
			if !cmd.Flags().Changed("top") {
				o.top = o.usualTop()
			}
			return orRun(runF, rankRun)(cmd.Context(), o)
		},
	}
	fs := cmd.Flags()
	fs.StringVar(&o.horn, "horn", "", "rank the mouthpieces for the horn `LABEL`")
	fs.StringVar(&o.mouthpiece, "mouthpiece", "", "rank the horns for the mouthpiece `LABEL`")
	fs.BoolVar(&eachHorn, "each-horn", false, "a list of mouthpieces for each horn")
	fs.BoolVar(&eachMouthpiece, "each-mouthpiece", false, "a list of horns for each mouthpiece")
	exclusiveLists(cmd)
	o.judge.add(cmd)
	o.judge.part.add(cmd)
	o.filter.add(cmd)
	o.trade.add(cmd)
	fs.StringVar(&o.sort, "sort", string(match.SortError), "order: `WORD` error, worst, support, chance (of being best) or tolerance (chance of being in tune)")
	fs.IntVar(&o.top, "top", 0, fmt.Sprintf("show the first `N` only; 0 for all (default %d for people, all for programs; %d of each list)", shortlist, shortlistEach))
	fs.BoolVar(&o.matrix, "matrix", false, "show all pairs as a table of horns by mouthpieces")
	o.pictures.add(cmd, "the list")
	o.output.add(cmd)
	return cmd
}

// usualTop is how much of a list is shown unless the user says.
func (o *rankOptions) usualTop() int {
	switch {
	case o.each != "":
		return shortlistEach
	case o.output.json || o.output.csv:
		return 0
	}
	return shortlist
}

func rankRun(ctx context.Context, o *rankOptions) error {
	if err := o.checkPictures(); err != nil {
		return err
	}
	if o.each != "" {
		return rankEachRun(ctx, o)
	}
	r, err := o.answer(ctx)
	if err != nil {
		return err
	}
	if o.matrix {
		return printMatrix(o, r)
	}
	if err := o.pictures.write(o.factory.Streams, func() show.Picture { return show.RankPicture(r, o.toleranceCents) }); err != nil {
		return err
	}
	return printRanking(o, r)
}

// answer ranks what the options ask for.
func (o *rankOptions) answer(ctx context.Context) (*match.Ranking, error) {
	return askRanking(ctx, o, match.Rank)
}

// checkTop refuses a list of fewer than none.
func (o *rankOptions) checkTop() error {
	if o.top < 0 {
		return usagef("--top 10", "--top %d is below nought", o.top)
	}
	return nil
}

// askRanking asks the question of the options of the catalog's fit.
func askRanking[R any](ctx context.Context, o *rankOptions, ask func(context.Context, match.Engine, match.Question) (R, error)) (none R, err error) {
	if err := o.checkTop(); err != nil {
		return none, err
	}
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return none, err
	}
	defer store.Close()
	q, err := o.question(ctx, store)
	if err != nil {
		return none, err
	}
	o.toleranceCents = q.Criteria.ToleranceCents
	listed := make(chan error, 1)
	go func() { listed <- o.list(ctx, store, &q) }() // while the fit is being opened
	engine, err := o.factory.Engine(ctx, store, o.factory.Progress())
	if err == nil {
		err = o.readAhead(engine)
	}
	if err := cmp.Or(<-listed, err); err != nil {
		return none, err
	}
	return ask(ctx, engine, q)
}

// readAhead has an engine read what most of the gear needs, unless a filter may
// leave little of it.
func (o *rankOptions) readAhead(e match.Engine) error {
	if r, ok := e.(interface {
		ReadAhead(horns, mouthpieces bool) error
	}); ok && o.filter == (filterFlags{}) {
		return r.ReadAhead(o.horn == "", o.mouthpiece == "")
	}
	return nil
}

// question gathers what match needs to rank but for the lists of gear.
func (o *rankOptions) question(ctx context.Context, s catalog.Store) (match.Question, error) {
	q := match.Question{Limit: o.top}
	if o.matrix {
		q.Limit, q.Table, q.NoSupport = 0, true, o.sort != string(match.SortSupport) // --top counts horns
	}
	var err error
	if q.Player, err = findPlayer(ctx, s, o.judge.player); err != nil {
		return q, err
	}
	if q.Criteria, err = o.judge.criteria(q.Player); err != nil {
		return q, err
	}
	o.factory.Streams.Notes(o.judge.part.remarks)
	if q.Sort, err = match.ParseSortKey(o.sort); err != nil {
		return q, usagef("--sort error", "--sort: %v", err)
	}
	if q.Filter, err = o.filter.filter(); err != nil {
		return q, err
	}
	q.Filter.Adapter = o.judge.adapter
	if o.filter.comfort && q.Player == nil {
		return q, usagef("--player reed-otter --comfort", "--comfort needs a --player whose comfort counts")
	}
	if err := o.from(ctx, s, &q); err != nil {
		return q, err
	}
	return q, o.trade.put(ctx, s, &q, o.each == "")
}

// from finds the gear that is asked from.
func (o *rankOptions) from(ctx context.Context, s catalog.Store, q *match.Question) error {
	if o.horn != "" {
		h, err := s.Horn(ctx, o.horn)
		if err != nil {
			return err
		}
		q.FromHorn = &h
	}
	if o.mouthpiece != "" {
		m, err := s.Mouthpiece(ctx, o.mouthpiece)
		if err != nil {
			return err
		}
		q.FromMouthpiece = &m
	}
	return nil
}

// list reads the gear that is ranked.
func (o *rankOptions) list(ctx context.Context, s catalog.Store, q *match.Question) (err error) {
	if q.FromHorn == nil {
		if q.Horns, err = s.Horns(ctx, q.Filter.Retired); err != nil {
			return err
		}
	}
	if q.FromMouthpiece == nil {
		if q.Mouthpieces, err = s.Mouthpieces(ctx, q.Filter.Retired); err != nil {
			return err
		}
	}
	if shank := catalog.Shank(o.filter.shank); shank != "" {
		q.Mouthpieces = slices.DeleteFunc(q.Mouthpieces, func(m catalog.Mouthpiece) bool { return m.Shank != shank })
		q.Horns = slices.DeleteFunc(q.Horns, func(h catalog.Horn) bool { return h.Receiver != shank && !q.Filter.Adapter })
	}
	return nil
}

func printRanking(o *rankOptions, r *match.Ranking) error {
	s := o.factory.Streams
	switch {
	case o.output.json:
		return show.JSON(s.Out, r)
	case o.output.csv:
		return show.RankTable(r).WriteCSV(s.Out)
	case s.Style.Terminal:
		if err := show.Ranking(s.Out, s.Style, r, o.toleranceCents); err != nil {
			return err
		}
	default:
		if err := show.RankTable(r).Write(s.Out, s.Style); err != nil {
			return err
		}
		s.Notes(show.RankSentences(r))
	}
	sayNext(s, r, o.judge.again()+o.factory.Here())
	s.Note(cautionShared + " " + cautionRest)
	return nil
}

// sayNext says what to do with a shortlist; ending ends commands.
func sayNext(s *Streams, r *match.Ranking, ending string) {
	first := r.Pairings[0]
	if first.Evidence == 0 && first.Basis != fit.BasisDesign {
		s.Note("Next: measure one session with 'centwise measure', or import one as 'centwise import --help' says.")
		return
	}
	s.Note("Next: see note by note why the first is first:")
	s.Command(fmt.Sprintf("centwise predict %s %s%s", catalog.ShellWord(first.Horn), catalog.ShellWord(first.Mouthpiece), ending))
	if first.PairSessions == 0 {
		s.Note("Then measure one session with it ('centwise measure') and rank again: the list will be surer.")
	}
}

// filterFlags narrow what is ranked.
type filterFlags struct {
	key, instrument, shank      string
	rim, cup, stock, owner, tag string
	loaner, measured, linked    bool
	comfort, retired            bool
}

func (o *filterFlags) add(cmd *cobra.Command) {
	fs := cmd.Flags()
	fs.StringVar(&o.key, "key", "", "only horns in `KEY`")
	fs.StringVar(&o.instrument, "instrument", "", "only horns of this `KIND`: trumpet, cornet, flugelhorn, piccolo")
	fs.BoolVar(&o.loaner, "loaner", false, "only horns that are lent out")
	fs.StringVar(&o.shank, "shank", "", "only mouthpieces with this `SHANK`: trumpet, cornet, flugelhorn")
	fs.StringVar(&o.rim, "rim-mm", "", "only mouthpieces with a rim of `LOW-HIGH` mm, as in 16-16.6")
	fs.StringVar(&o.cup, "cup-cm3", "", "only mouthpieces with a cup of `LOW-HIGH` cm3, as in 1-1.3")
	fs.StringVar(&o.stock, "stock", "", "only mouthpieces in stock on `LIST`")
	fs.StringVar(&o.owner, "owner", "", "only gear of this `OWNER`")
	fs.StringVar(&o.tag, "tag", "", "only gear with this `TAG`")
	fs.BoolVar(&o.comfort, "comfort", false, "only mouthpieces within the player's comfort")
	fs.BoolVar(&o.measured, "measured", false, "only pairings whose horn and mouthpiece were measured")
	fs.BoolVar(&o.linked, "linked", false, "only pairings that a chain of sessions links")
	fs.BoolVar(&o.retired, "retired", false, "retired gear too")
}

func (o *filterFlags) filter() (match.Filter, error) {
	f := match.Filter{
		Stock: o.stock, Owner: o.owner, Tag: o.tag, Loaner: o.loaner,
		Measured: o.measured, Linked: o.linked, Comfort: o.comfort, Retired: o.retired,
	}
	var err error
	if o.key != "" {
		if f.Key, err = pitch.ParseKey(o.key); err != nil {
			return f, usagef("--key Bb", "--key: %v", err)
		}
	}
	if f.Instrument, err = oneOf("instrument", o.instrument, catalog.Instruments); err != nil {
		return f, err
	}
	if shank, err := oneOf("shank", o.shank, catalog.Shanks); err != nil {
		return f, err
	} else {
		o.shank = string(shank)
	}
	if f.RimMM, err = parseLimits("rim-mm", o.rim, "mm", "16-16.6"); err != nil {
		return f, err
	}
	f.CupCM3, err = parseLimits("cup-cm3", o.cup, "cm3", "1-1.3")
	return f, err
}

// oneOf reads the value of a flag that is empty or one of some words.
func oneOf[W ~string](flag, text string, words []W) (W, error) {
	if text == "" {
		return "", nil
	}
	var known []string
	for _, w := range words {
		if strings.EqualFold(string(w), text) {
			return w, nil
		}
		known = append(known, string(w))
	}
	return "", usagef("--"+flag+" "+known[0], "--%s %q: use one of %s", flag, text, strings.Join(known, ", "))
}

// parseLimits reads a lower and an upper bound, either of which may be left
// out: 16-16.6, 16-, -16.6.
func parseLimits(flag, text, unit, example string) (match.Limits, error) {
	var l match.Limits
	if text == "" {
		return l, nil
	}
	try := "--" + flag + " " + example
	low, high, ok := strings.Cut(strings.NewReplacer("..", "-", "–", "-").Replace(text), "-")
	if !ok {
		return l, usagef(try, "--%s %q: write the lower and the upper bound with a dash between", flag, text)
	}
	for _, bound := range []struct {
		text string
		to   *float64
	}{{low, &l.Min}, {high, &l.Max}} {
		if strings.TrimSpace(bound.text) == "" {
			continue
		}
		v, err := parseMeasure(bound.text, unit)
		if err != nil {
			return l, usagef(try, "--%s %q: %v", flag, text, err)
		}
		*bound.to = v
	}
	if l.Max != 0 && l.Min > l.Max {
		return l, usagef(try, "--%s %q: the lower bound is above the upper one", flag, text)
	}
	return l, nil
}
