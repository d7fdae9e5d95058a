package cli

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
)

type rosterLoansOptions struct {
	factory *Factory
	label   string // of a horn or mouthpiece; empty = all
	player  string
	all     bool
	output  outputFlags
}

func newRosterLoansCmd(f *Factory, runF func(*rosterLoansOptions) error) *cobra.Command {
	o := &rosterLoansOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "loans [LABEL]",
		Short: "List who has what, or who had it",
		Long: long(`List the horns and mouthpieces that are out, and with whom. With the LABEL of a horn or mouthpiece, its whole
history; --player for what a player has; --all for everything that ever was out.`,
			`--json prints {"loans": [{"id", "horn" or "mouthpiece", "copy", "player", "since", "until" or null, "late",
"returned" or null, "contributor", "remark", "returned_to", "return_remark"}]}.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog)),
		Example: `  centwise roster loans
  centwise roster loans Hazel
  centwise roster loans --player reed-otter --all --csv`,
		Args: args(0, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			if len(got) > 0 {
				o.label = got[0]
			}
			return orRun(runF, rosterLoansRun)(cmd.Context(), o)
		},
	}
	fs := cmd.Flags()
	fs.StringVar(&o.player, "player", "", "only what the player `HANDLE` has")
	fs.BoolVar(&o.all, "all", false, "what came back too")
	o.output.add(cmd)
	return cmd
}

func rosterLoansRun(ctx context.Context, o *rosterLoansOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	f := catalog.LoanFilter{Out: !o.all && o.label == ""}
	if o.player != "" {
		p, err := store.Player(ctx, o.player)
		if err != nil {
			return err
		}
		f.Player = p.ID
	}
	if o.label != "" {
		if f.Horn, f.Mouthpiece, err = findThing(ctx, store, o.label); err != nil {
			return err
		}
	}
	loans, err := store.Loans(ctx, f)
	if err != nil {
		return err
	}
	now := o.factory.Now()
	if s := o.factory.Streams; len(loans) == 0 && !o.output.json && !o.output.csv {
		s.Note("nothing is out; lend something with 'centwise roster commit'")
	}
	return o.output.table(o.factory.Streams, loanTable(loans, now), func() any {
		out := []show.Fields{}
		for _, l := range loans {
			out = append(out, loanFields(l, now))
		}
		return show.Fields{{Name: "loans", Value: out}}
	})
}

// findThing finds a horn, else a mouthpiece.
func findThing(ctx context.Context, s catalog.Store, label string) (horn, mouthpiece catalog.ID, err error) {
	h, err := s.Horn(ctx, label)
	if err == nil {
		return h.ID, "", nil
	}
	if catalog.KindOf(err) != catalog.NotFound {
		return "", "", err
	}
	m, otherErr := s.Mouthpiece(ctx, label)
	if otherErr == nil {
		return "", m.ID, nil
	}
	if catalog.KindOf(otherErr) != catalog.NotFound {
		return "", "", otherErr
	}
	return "", "", bothMissing(ctx, s, label)
}

// bothMissing says that neither a horn nor a mouthpiece has a label.
func bothMissing(ctx context.Context, s catalog.Store, label string) error {
	var have []string
	horns, err := s.Horns(ctx, true)
	if err != nil {
		return err
	}
	for _, h := range horns {
		have = append(have, h.Label)
	}
	mouthpieces, err := s.Mouthpieces(ctx, true)
	if err != nil {
		return err
	}
	for _, m := range mouthpieces {
		have = append(have, m.Label)
	}
	return catalog.Missing("horn or mouthpiece", label, have)
}

// late reports whether a loan is out longer than it was to be.
func late(l catalog.LoanSummary, now time.Time) bool {
	return l.Return == nil && !l.Until.IsZero() && catalog.DayBefore(l.Until, now)
}

// thingOf names what a loan is of.
func thingOf(l catalog.LoanSummary) string {
	name := l.HornLabel + l.MouthpieceLabel
	if l.Copy > 1 {
		return fmt.Sprintf("%s (copy %d)", name, l.Copy)
	}
	return name
}

func loanTable(loans []catalog.LoanSummary, now time.Time) *show.Table {
	t := &show.Table{Columns: []show.Column{
		{Title: "what"}, {Name: "kind"}, {Name: "label"}, {Name: "copy"}, {Title: "player", Name: "player"}, {Title: "since", Name: "since"}, {Title: "until", Name: "until"},
		{Title: "returned", Name: "returned"}, {Title: "lent by", Name: "contributor", Drop: 1}, {Title: "remark", Name: "remark", Drop: 2},
		{Name: "returned_to"}, {Name: "return_remark"},
	}}
	for _, l := range loans {
		kind, returned, to, remark := "horn", show.Cell{}, "", ""
		if l.Horn == "" {
			kind = "mouthpiece"
		}
		switch {
		case l.Return != nil:
			returned, to, remark = day(l.Return.At.Local()), l.Return.Contributor, l.Return.Remark
		case late(l, now):
			returned = show.Either("late", "")
		}
		said := l.Remark
		if remark != "" {
			said = remark
		}
		t.Add(show.TextEither(thingOf(l), ""), show.Words(kind), show.Text(l.HornLabel+l.MouthpieceLabel), show.Count(l.Copy), show.Text(l.PlayerLabel),
			day(l.Since.Local()), day(l.Until.Local()), returned, show.Text(l.Contributor), show.TextEither(said, l.Remark), show.Text(to), show.Text(remark))
	}
	return t
}

func loanFields(l catalog.LoanSummary, now time.Time) show.Fields {
	what := show.Field{Name: "horn", Value: l.HornLabel}
	if l.Horn == "" {
		what = show.Field{Name: "mouthpiece", Value: l.MouthpieceLabel}
	}
	back := catalog.Return{}
	if l.Return != nil {
		back = *l.Return
	}
	return show.Fields{
		{Name: "id", Value: l.ID}, what, {Name: "copy", Value: l.Copy}, {Name: "player", Value: l.PlayerLabel},
		{Name: "since", Value: l.Since}, {Name: "until", Value: timeOrNull(l.Until)}, {Name: "late", Value: late(l, now)}, {Name: "returned", Value: timeOrNull(back.At)},
		{Name: "contributor", Value: l.Contributor}, {Name: "remark", Value: l.Remark}, {Name: "returned_to", Value: back.Contributor}, {Name: "return_remark", Value: back.Remark},
	}
}
