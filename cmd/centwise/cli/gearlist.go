package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/match"
)

type gearListOptions struct {
	factory *Factory
	retired bool
	tag     string
	output  outputFlags
}

// outputFlags choose how a reading command prints.
type outputFlags struct{ json, csv bool }

func (o *outputFlags) add(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON")
	cmd.Flags().BoolVar(&o.csv, "csv", false, "print comma-separated values")
	exclusive(cmd, "json", "csv")
}

// table prints a table as its flags and the streams want it.
func (o outputFlags) table(s *Streams, t *show.Table, asJSON func() any) error {
	switch {
	case o.json:
		return show.JSON(s.Out, asJSON())
	case o.csv:
		return t.WriteCSV(s.Out)
	}
	return t.Write(s.Out, s.Style)
}

func newGearListCmd[T any](f *Factory, k *gearKind[T], runF func(*gearListOptions) error) *cobra.Command {
	o := &gearListOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the " + k.plural,
		Long: long(fmt.Sprintf(`List the %[1]s by label. --csv prints a gear list that 'centwise import' reads again; --json prints
{"%[1]s": [...]} with every field of each record.`, k.plural),
			exitStatus(exitOK, exitUsage, exitNoCatalog)),
		Example: fmt.Sprintf("  centwise %s list\n  centwise %s list --retired --csv", k.noun, k.noun),
		Args:    args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return orRun(runF, k.runList)(cmd.Context(), o)
		},
	}
	cmd.Flags().BoolVar(&o.retired, "retired", false, "list retired ones too")
	cmd.Flags().StringVar(&o.tag, "tag", "", "only those with this `TAG`")
	o.output.add(cmd)
	return cmd
}

func (k *gearKind[T]) runList(ctx context.Context, o *gearListOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	items, err := k.list(ctx, store, o.retired)
	if err != nil {
		return err
	}
	if o.tag != "" {
		items = slices.DeleteFunc(items, func(item T) bool { return !k.hasTag(&item, o.tag) })
	}
	if len(items) == 0 && !o.output.json && !o.output.csv {
		o.factory.Streams.Note("no %s to list; add one with 'centwise %s add' or import a gear list", k.plural, k.noun)
	}
	return o.output.table(o.factory.Streams, k.table(items), func() any {
		records := []show.Fields{}
		for _, item := range items {
			records = append(records, k.record(item))
		}
		return show.Fields{{Name: k.plural, Value: records}}
	})
}

func (k *gearKind[T]) hasTag(item *T, tag string) bool {
	for _, f := range k.fields {
		if tags, ok := f.value(item).([]string); ok && f.name == "tags" {
			return slices.Contains(tags, tag)
		}
	}
	return false
}

// table lays records out: chosen fields on a terminal, all of them elsewhere,
// under the headings of a gear list.
func (k *gearKind[T]) table(items []T) *show.Table {
	t := &show.Table{Columns: []show.Column{{Name: "kind"}, {Title: "label", Name: "label"}}}
	for _, f := range k.fields {
		_, number := f.value(new(T)).(float64)
		column := show.Column{Title: f.title, Name: f.name, Right: number, Drop: max(0, f.drop-1)}
		if f.columns != nil {
			column.Name = ""
		}
		t.Columns = append(t.Columns, column)
		for _, part := range f.columns {
			t.Columns = append(t.Columns, show.Column{Name: part.name})
		}
	}
	t.Columns = append(t.Columns, show.Column{Title: " ", Name: "retired"})
	for _, item := range items {
		row := []show.Cell{show.Words(k.noun), show.Text(*k.name(&item))}
		for _, f := range k.fields {
			row = append(row, f.cell(&item))
			for _, part := range f.columns {
				row = append(row, show.Words(part.text(&item)))
			}
		}
		retired := show.Cell{}
		if k.rev(&item).Retired {
			retired = show.Either("retired", "yes")
		}
		t.Add(append(row, retired)...)
	}
	return t
}

type gearShowOptions struct {
	factory *Factory
	label   string
	json    bool
}

func newGearShowCmd[T any](f *Factory, k *gearKind[T], runF func(*gearShowOptions) error) *cobra.Command {
	o := &gearShowOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "show LABEL",
		Short: "Show everything about a " + k.noun,
		Long: long(fmt.Sprintf(`Show every field of a %s, who entered it when, and how often it was measured. With --json the numbers of
sessions are under "measured", and what is linked to it under "aliases".`, k.noun),
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog)),
		Example: fmt.Sprintf("  centwise %s show %s\n  centwise %s show %s --json", k.noun, k.label, k.noun, k.label),
		Args:    args(1, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.label = got[0]
			return orRun(runF, k.runShow)(cmd.Context(), o)
		},
	}
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON")
	return cmd
}

func (k *gearKind[T]) runShow(ctx context.Context, o *gearShowOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	item, err := k.find(ctx, store, o.label)
	if err != nil {
		return err
	}
	sessions, err := store.Sessions(ctx, k.filter(k.id(item)))
	if err != nil {
		return err
	}
	aliases, err := k.aliases(ctx, store, item)
	if err != nil {
		return err
	}
	m := measure(sessions)
	s := o.factory.Streams
	k.noteAlias(o, item, aliases)
	if o.json {
		return show.JSON(s.Out, append(k.record(item), show.Field{Name: "aliases", Value: aliases}, show.Field{Name: "measured", Value: m}))
	}
	pairs := k.pairs(item, m)
	if len(aliases) > 0 {
		pairs = slices.Insert(pairs, 1, show.Pair{Name: "also entered as", Value: show.Text(strings.Join(aliases, ", "))})
	}
	return show.Record(s.Out, s.Style, pairs)
}

// aliases are the labels of the records that are linked to one.
func (k *gearKind[T]) aliases(ctx context.Context, store catalog.Store, item T) ([]string, error) {
	links, err := store.Links(ctx)
	out := []string{}
	for _, l := range links {
		if string(l.Kind) == k.noun && l.Root == string(k.id(item)) {
			out = append(out, l.AliasLabel)
		}
	}
	return out, err
}

// noteAlias says that another record is shown than the one that was named.
func (k *gearKind[T]) noteAlias(o *gearShowOptions, item T, aliases []string) {
	named := func(label string) bool { return catalog.Fold(label) == catalog.Fold(o.label) }
	if at := slices.IndexFunc(aliases, named); at >= 0 && !named(*k.name(&item)) {
		o.factory.Streams.Note("%s %s is linked to %s, which stands for it; to take them apart:", k.noun, aliases[at], *k.name(&item))
		o.factory.Streams.Command(fmt.Sprintf("centwise pool unlink %s %s", k.noun, catalog.ShellWord(aliases[at])) + o.factory.Here())
	}
}

// measured counts the sessions of a piece of gear and what was in them with it.
type measured struct {
	Sessions    int `json:"sessions"`
	Readings    int `json:"readings"`
	Horns       int `json:"horns"`
	Mouthpieces int `json:"mouthpieces"`
	Players     int `json:"players"`
}

func measure(sessions []catalog.SessionSummary) measured {
	horns, mouthpieces, players := map[catalog.ID]bool{}, map[catalog.ID]bool{}, map[catalog.ID]bool{}
	m := measured{Sessions: len(sessions)}
	for _, s := range sessions {
		m.Readings += s.ReadingCount
		horns[s.Horn], mouthpieces[s.Mouthpiece], players[s.Player] = true, true, true
	}
	m.Horns, m.Mouthpieces, m.Players = len(horns), len(mouthpieces), len(players)
	return m
}

// pairs are the lines that show a record.
func (k *gearKind[T]) pairs(item T, m measured) []show.Pair {
	out := []show.Pair{{Name: k.noun, Value: show.Text(*k.name(&item))}}
	for _, f := range k.fields {
		out = append(out, show.Pair{Name: f.heading(), Value: f.cell(&item), Unit: f.unit})
	}
	rev := k.rev(&item)
	entered := fmt.Sprintf("revision %d of %s", rev.Number, rev.At.Local().Format("2 January 2006 15:04"))
	if rev.Contributor != "" {
		entered += " by " + show.Clean(rev.Contributor)
	}
	status := retiredWord(rev.Retired)
	return append(out,
		show.Pair{Name: "status", Value: show.Words(status)},
		show.Pair{Name: "entered", Value: show.Either(entered, rev.At.Format("2006-01-02T15:04:05.000Z07:00"))},
		show.Pair{Name: "measured", Value: show.Either(
			fmt.Sprintf("%s with %s, %s and %s", match.Count(m.Sessions, "session"), match.Count(m.Horns, "horn"), match.Count(m.Mouthpieces, "mouthpiece"), match.Count(m.Players, "player")),
			fmt.Sprint(m.Sessions))},
		show.Pair{Name: "id", Value: show.Words(string(k.id(item)))})
}
