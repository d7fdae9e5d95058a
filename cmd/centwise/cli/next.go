package cli

import (
	"context"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
)

type nextOptions struct {
	factory                     *Factory
	horns, mouthpieces, players []string // at hand
	forPlayers, forHorns        []string // whose choices matter
	stock                       string
	comfort, adapter            bool
	top                         int
	output                      outputFlags
}

// nextTop is how many sessions are shown to people.
const nextTop = 5

func newNextCmd(f *Factory, runF func(*nextOptions) error) *cobra.Command {
	o := &nextOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "next",
		Short: "Say which session would teach most",
		Long: long(`Say which session - which horn, which mouthpiece, which player - would do most for the choices that people here
want to make: by how much, on average over what it may show, their picks would be better afterwards.`,
			`A choice is the mouthpiece for a horn and a player. Unless --for-player or --for-horn say whose matter, they are those
of each horn that is lent out (for a typical player) and of each player with the horn played last, the latest 40 at most.
--stock and --comfort narrow what is chosen from. --horn, --mouthpiece and --player (each as often as you like) say
what and who is at hand for a session; without them everything and everybody is.`,
			`"saves" is in cents of error, over all choices together; "changes" is the chance that some choice is another one
afterwards. Where parts of the catalog are not linked by any chain of sessions, the one session that would link the
largest two is named too.`,
			`--json prints {"regret_cents", "choices": [{"horn", "player", "best", "error_cents", "chance_best", "contenders",
"regret_cents"}], "sessions": [{"rank", "horn", "mouthpiece", "player", "saves_cents", "doubt_cents", "chance_changes",
"for_horn", "for_player", "for_cents", "pair_sessions", "horn_sessions", "mouthpiece_sessions", "basis", "linked"}],
"considered", "left_out", "link": {"horn", "mouthpiece", "horn_part_sessions", "mouthpiece_part_sessions"}, "parts",
"notes"}; it and --csv hold every session unless --top is given.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitCancelled)),
		Example: `  centwise next
  centwise next --for-player blue-kite --stock cupboard
  centwise next --for-horn Alder --horn Alder --mouthpiece "Plover 16.2" --mouthpiece "Dunlin 16.6" --json`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if !cmd.Flags().Changed("top") && !o.output.json && !o.output.csv {
				o.top = nextTop
			}
			return orRun(runF, nextRun)(cmd.Context(), o)
		},
	}
	fs := cmd.Flags()
	fs.StringArrayVar(&o.horns, "horn", nil, "the horn `LABEL` is at hand; may be repeated (default all)")
	fs.StringArrayVar(&o.mouthpieces, "mouthpiece", nil, "the mouthpiece `LABEL` is at hand; may be repeated (default all)")
	fs.StringArrayVar(&o.players, "player", nil, "the player `HANDLE` is at hand; may be repeated (default all)")
	fs.StringArrayVar(&o.forPlayers, "for-player", nil, "the choice of the player `HANDLE` matters; may be repeated")
	fs.StringArrayVar(&o.forHorns, "for-horn", nil, "the choice for the horn `LABEL` matters; may be repeated")
	fs.StringVar(&o.stock, "stock", "", "choose from the mouthpieces in stock on `LIST`")
	fs.BoolVar(&o.comfort, "comfort", false, "choose within the players' comfort")
	fs.BoolVar(&o.adapter, "adapter", false, "let shank and receiver differ")
	fs.IntVar(&o.top, "top", 0, fmt.Sprintf("show the first `N` only; 0 for all (default %d for people, all for programs)", nextTop))
	o.output.add(cmd)
	return cmd
}

func nextRun(ctx context.Context, o *nextOptions) error {
	if o.top < 0 {
		return usagef("--top 5", "--top %d is below nought", o.top)
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
	model, err := o.factory.Fit(ctx, store, false, o.factory.Progress())
	if err != nil {
		return err
	}
	n, err := match.SuggestNext(ctx, model, q)
	if err != nil {
		return err
	}
	s := o.factory.Streams
	if o.output.json || o.output.csv {
		return o.output.table(s, show.NextTable(n), func() any { return n })
	}
	if err := show.Next(s.Out, s.Style, n); err != nil {
		return err
	}
	o.sayHow(n)
	return nil
}

// sayHow gives the command that measures the first session.
func (o *nextOptions) sayHow(n *match.Next) {
	s := o.factory.Streams
	if !s.Style.Terminal {
		s.Notes(n.Words())
		s.Notes(n.Notes)
	}
	if len(n.Sessions) == 0 {
		return
	}
	first := n.Sessions[0]
	line := "centwise measure --horn " + catalog.ShellWord(first.Horn) + " --mouthpiece " + catalog.ShellWord(first.Mouthpiece)
	if first.Player != "" {
		line += " --player " + catalog.ShellWord(first.Player)
	}
	s.Command(line + o.factory.Here())
	s.Note(cautionShared + " " + cautionRest)
}

// question reads what is at hand and whose choices matter.
func (o *nextOptions) question(ctx context.Context, store catalog.Store) (match.NextQuestion, error) {
	q := match.NextQuestion{Limit: o.top, Adapter: o.adapter, Progress: o.factory.Progress()}
	horns, err := store.Horns(ctx, false)
	if err != nil {
		return q, err
	}
	mouthpieces, err := store.Mouthpieces(ctx, false)
	if err != nil {
		return q, err
	}
	players, err := store.Players(ctx, false)
	if err != nil {
		return q, err
	}
	if q.Horns, err = gearAtHand(ctx, o.horns, horns, store.Horn, func(x catalog.Horn) catalog.ID { return x.ID }); err != nil {
		return q, err
	}
	if q.Mouthpieces, err = gearAtHand(ctx, o.mouthpieces, mouthpieces, store.Mouthpiece, func(x catalog.Mouthpiece) catalog.ID { return x.ID }); err != nil {
		return q, err
	}
	if q.Players, err = gearAtHand(ctx, o.players, players, store.Player, func(x catalog.Player) catalog.ID { return x.ID }); err != nil {
		return q, err
	}
	q.Choices, err = o.choices(ctx, store, horns, mouthpieces, players)
	return q, err
}

// gearAtHand finds gear or players by their labels, each once; without labels it is
// all of them.
func gearAtHand[T any](ctx context.Context, labels []string, all []T, find func(context.Context, string) (T, error), id func(T) catalog.ID) ([]T, error) {
	if len(labels) == 0 {
		return all, nil
	}
	var out []T
	for _, label := range labels {
		x, err := find(ctx, label)
		if err != nil {
			return nil, err
		}
		if !slices.ContainsFunc(out, func(y T) bool { return id(y) == id(x) }) {
			out = append(out, x)
		}
	}
	return out, nil
}

// choices are those that matter.
func (o *nextOptions) choices(ctx context.Context, store catalog.Store, horns []catalog.Horn, mouthpieces []catalog.Mouthpiece, players []catalog.Player) ([]match.Choice, error) {
	sessions, err := store.Sessions(ctx, catalog.SessionFilter{})
	if err != nil {
		return nil, err
	}
	var list []match.Choice
	if len(o.forPlayers)+len(o.forHorns) == 0 {
		var more int
		if list, more = match.UsualChoices(horns, mouthpieces, players, sessions); more > 0 {
			o.factory.Streams.Note("Of %d choices the %d of loaners and of the latest players count; --for-player and --for-horn name others.", len(list)+more, len(list))
		}
	}
	for _, label := range o.forHorns {
		h, err := store.Horn(ctx, label)
		if err != nil {
			return nil, err
		}
		list = append(list, match.Choice{Horn: h, Mouthpieces: mouthpieces})
	}
	for _, label := range o.forPlayers {
		p, err := store.Player(ctx, label)
		if err != nil {
			return nil, err
		}
		of, _ := match.UsualChoices(horns, mouthpieces, []catalog.Player{p}, sessions)
		of = slices.DeleteFunc(of, func(c match.Choice) bool { return c.Player == nil })
		if len(of) == 0 {
			return nil, catalog.Errorf(catalog.NotFound, "measure one, or name the horn: --for-horn LABEL",
				"player %s has no session with a horn of the catalog, so it is not known which horn the choice is for", p.Label)
		}
		list = append(list, of...)
	}
	for i := range list {
		list[i].Filter = match.Filter{Stock: o.stock, Comfort: o.comfort && list[i].Player != nil, Adapter: o.adapter}
	}
	return list, nil
}
