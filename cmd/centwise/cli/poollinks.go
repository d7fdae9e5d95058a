package cli

import (
	"context"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
)

// linkEnds finds what links of one kind join, by what people call it.
type linkEnds struct {
	kind    catalog.LinkKind
	store   catalog.Store
	links   []catalog.LinkSummary // of the kind
	designs map[string]catalog.DesignName
	labels  map[string]string // of records that were looked up, by id
}

func readLinkEnds(ctx context.Context, store catalog.Store, kind catalog.LinkKind) (*linkEnds, error) {
	all, err := store.Links(ctx)
	if err != nil {
		return nil, err
	}
	e := &linkEnds{kind: kind, store: store, designs: map[string]catalog.DesignName{}, labels: map[string]string{}}
	for _, l := range all {
		if l.Kind != kind {
			continue
		}
		e.links = append(e.links, l)
		for _, key := range []string{l.Alias, l.Kept} {
			if maker, model, ok := strings.Cut(key, "\t"); ok {
				e.designs[key] = catalog.DesignName{Maker: maker, Model: model}
			}
		}
	}
	return e, e.readDesigns(ctx)
}

// readDesigns reads the spellings of designs, as they are typed.
func (e *linkEnds) readDesigns(ctx context.Context) error {
	var names []catalog.DesignName
	switch e.kind {
	case catalog.LinkHornDesign:
		horns, err := e.store.Horns(ctx, true)
		if err != nil {
			return err
		}
		for _, h := range horns {
			names = append(names, h.DesignName())
		}
	case catalog.LinkMouthpieceDesign:
		mouthpieces, err := e.store.Mouthpieces(ctx, true)
		if err != nil {
			return err
		}
		for _, m := range mouthpieces {
			names = append(names, m.DesignName())
		}
	}
	seen := map[string]bool{}
	for _, n := range names {
		if key := n.Key(); key != "" && !seen[key] {
			seen[key], e.designs[key] = true, n
		}
	}
	return nil
}

// link is the link of an alias, nil if it was never linked.
func (e *linkEnds) link(alias string) *catalog.LinkSummary {
	for i := range e.links {
		if e.links[i].Alias == alias {
			return &e.links[i]
		}
	}
	return nil
}

// linkNamed is the link of an alias that is called so and was not taken apart.
func (e *linkEnds) linkNamed(text string) *catalog.LinkSummary {
	for _, same := range []func(l *catalog.LinkSummary) bool{
		func(l *catalog.LinkSummary) bool { return l.AliasLabel == catalog.NormalLabel(text) },
		func(l *catalog.LinkSummary) bool { return catalog.Fold(l.AliasLabel) == catalog.Fold(text) },
		func(l *catalog.LinkSummary) bool { return strings.EqualFold(l.Alias, catalog.NormalLabel(text)) },
		func(l *catalog.LinkSummary) bool { return e.kind.OfDesign() && e.designs[l.Alias].Is(text) },
	} {
		for i := range e.links {
			if l := &e.links[i]; !l.Retired && same(l) {
				return l
			}
		}
	}
	return nil
}

// name is what an end is called.
func (e *linkEnds) name(end string) string {
	if d, ok := e.designs[end]; ok {
		for key, other := range e.designs {
			if key != end && other.Is(d.String()) {
				return d.Exact()
			}
		}
		return d.String()
	}
	for _, l := range e.links {
		switch end {
		case l.Alias:
			return l.AliasLabel
		case l.Kept:
			return l.KeptLabel
		case l.Root:
			return l.RootLabel
		}
	}
	if label, ok := e.labels[end]; ok {
		return label
	}
	return end
}

// find is the end that is called so: the alias itself, not what it goes by.
func (e *linkEnds) find(ctx context.Context, text string) (string, error) {
	if e.kind.OfDesign() {
		return e.findDesign(text)
	}
	var id catalog.ID
	var label string
	if e.kind == catalog.LinkHorn {
		h, err := e.store.Horn(ctx, text)
		if err != nil {
			return "", err
		}
		id, label = h.ID, h.Label
	} else {
		m, err := e.store.Mouthpiece(ctx, text)
		if err != nil {
			return "", err
		}
		id, label = m.ID, m.Label
	}
	e.labels[string(id)] = label
	if catalog.Fold(label) == catalog.Fold(text) || strings.EqualFold(string(id), catalog.NormalLabel(text)) {
		return string(id), nil
	}
	if l := e.linkNamed(text); l != nil && l.InEffect() {
		return l.Alias, nil
	}
	return string(id), nil
}

func (e *linkEnds) findDesign(text string) (string, error) {
	var found, have []string
	for key, d := range e.designs {
		have = append(have, d.String())
		if d.Is(text) {
			found = append(found, key)
		}
	}
	slices.Sort(found)
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		slices.Sort(have)
		missing := catalog.Missing("design", text, have)
		if len(catalog.Near(text, have, 1)) == 0 {
			missing.Hint = "write maker and model as one word, as in: \"Tidewright Heron\""
		}
		return "", missing
	}
	var exact []string
	for _, key := range found {
		exact = append(exact, catalog.ShellWord(e.designs[key].Exact()))
	}
	return "", catalog.Errorf(catalog.Conflict, "write one of: "+strings.Join(exact, ", "), "several designs can be written %q", text)
}

type poolLinksOptions struct {
	factory *Factory
	all     bool
	output  outputFlags
}

func newPoolLinksCmd(f *Factory, runF func(*poolLinksOptions) error) *cobra.Command {
	o := &poolLinksOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "links",
		Short: "List what is linked",
		Long: long(`List what 'centwise pool link' has joined, here or in a catalog that was merged. A link may be out of effect: the two
were linked the other way round later, one of them is not in this catalog, or somebody has written down since then what
tells them apart, another key or serial number. Such links say why.`,
			`--json prints {"links": [{"kind", "alias", "kept", "goes_by", "in_effect", "why", "taken_apart", "revision", "at",
"contributor"}]}; "goes_by" is where a chain of links ends.`,
			exitStatus(exitOK, exitUsage, exitNoCatalog)),
		Example: `  centwise pool links
  centwise pool links --all --json`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return orRun(runF, poolLinksRun)(cmd.Context(), o)
		},
	}
	cmd.Flags().BoolVar(&o.all, "all", false, "list what was taken apart too")
	o.output.add(cmd)
	return cmd
}

func poolLinksRun(ctx context.Context, o *poolLinksOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	t := &show.Table{Columns: []show.Column{
		{Title: "kind", Name: "kind"}, {Title: "alias", Name: "alias"}, {Title: "is", Name: "kept"}, {Title: "goes by", Name: "goes_by", Drop: 1},
		{Title: "since", Name: "at", Drop: 3}, {Title: "by", Name: "contributor", Drop: 2}, {Title: " ", Name: "why"},
	}}
	list := []show.Fields{}
	for _, kind := range catalog.LinkKinds {
		ends, err := readLinkEnds(ctx, store, kind)
		if err != nil {
			return err
		}
		for _, l := range ends.links {
			if l.Retired && !o.all {
				continue
			}
			alias, kept, root := ends.name(l.Alias), ends.name(l.Kept), ""
			if l.InEffect() {
				root = ends.name(l.Root)
			}
			t.Add(show.Words(linkNoun(kind)), show.Text(alias), show.Text(kept), show.Text(root), day(l.At), show.Text(l.Contributor), show.Text(l.Why))
			list = append(list, show.Fields{{Name: "kind", Value: kind}, {Name: "alias", Value: alias}, {Name: "kept", Value: kept},
				{Name: "goes_by", Value: root}, {Name: "in_effect", Value: l.InEffect()}, {Name: "why", Value: l.Why}, {Name: "taken_apart", Value: l.Retired},
				{Name: "revision", Value: l.Number}, {Name: "at", Value: l.At.Format(time.RFC3339)}, {Name: "contributor", Value: l.Contributor}})
		}
	}
	if len(list) == 0 && !o.output.json && !o.output.csv {
		o.factory.Streams.Note("nothing is linked; 'centwise catalog check' proposes what might be")
	}
	return o.output.table(o.factory.Streams, t, func() any { return show.Fields{{Name: "links", Value: list}} })
}
