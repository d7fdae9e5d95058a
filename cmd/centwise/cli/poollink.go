package cli

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/match"
)

type poolLinkOptions struct {
	factory     *Factory
	kind        catalog.LinkKind
	alias, kept string
	contributor string
}

// linkKindArg reads the word that says what is linked.
func linkKindArg(word string) (catalog.LinkKind, error) {
	var words []string
	for _, k := range catalog.LinkKinds {
		if string(k) == word {
			return k, nil
		}
		words = append(words, string(k))
	}
	return "", usagef("write "+strings.Join(words, ", "), "%q is nothing that can be linked", word)
}

// linkNoun is what a link is of, for sentences.
func linkNoun(k catalog.LinkKind) string { return strings.ReplaceAll(string(k), "-", " ") }

func newPoolLinkCmd(f *Factory, runF func(*poolLinkOptions) error) *cobra.Command {
	o := &poolLinkOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "link KIND ALIAS KEPT",
		Short: "Say that two records are one instrument, or two spellings one design",
		Long: long(`Say that what was entered twice is one: KIND is horn, mouthpiece, horn-design or mouthpiece-design. ALIAS goes by
the name of KEPT from then on: lists, ranks, plans and rosters show KEPT alone, the fit takes the measurements of both
for those of one, and who names ALIAS gets KEPT. Both records stay with their histories, and 'centwise pool unlink' takes
them apart again.`,
			`Horns and mouthpieces are named by their labels, designs by maker and model in one word, as in "Tidewright Heron", or
"Tidewright / Heron" where that could mean several. Linking designs joins all horns, or mouthpieces, that are spelled
so, in every key: each stays an instrument of its own, but what is known of one copy says something of the others.`,
			`Refused are horns of different kind, key, number of valves or receiver, mouthpieces of different shank, two serial
numbers, and circles. ALIAS may itself be what others are linked to: they follow. Links travel in bundles. Where two
people have linked in opposite directions, the later link counts.`,
			`'centwise catalog check' proposes what to link.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitBusy)),
		Example: `  centwise pool link horn "Old Alder" Alder
  centwise pool link mouthpiece-design "Northlmap Plover" "Northlamp Plover"`,
		Args: args(3, 3),
		RunE: func(cmd *cobra.Command, got []string) (err error) {
			if o.kind, err = linkKindArg(got[0]); err != nil {
				return err
			}
			o.alias, o.kept = got[1], got[2]
			return orRun(runF, poolLinkRun)(cmd.Context(), o)
		},
	}
	contributorFlag(cmd, f, &o.contributor)
	return cmd
}

func poolLinkRun(ctx context.Context, o *poolLinkOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	ends, err := readLinkEnds(ctx, store, o.kind)
	if err != nil {
		return err
	}
	alias, err := ends.find(ctx, o.alias)
	if err != nil {
		return err
	}
	kept, err := ends.find(ctx, o.kept)
	if err != nil {
		return err
	}
	l := catalog.Link{Kind: o.kind, Alias: alias, Kept: kept, Revision: catalog.Revision{Number: 1, At: o.factory.Now().UTC(), Contributor: o.contributor}}
	if alias == kept {
		return catalog.Errorf(catalog.Invalid, "name two", "%s and %s are the same %s already", o.alias, o.kept, linkNoun(o.kind))
	}
	if at := ends.link(alias); at != nil {
		if at.InEffect() && (at.Kept == kept || at.Root == kept) {
			o.factory.Streams.Note("%s is linked to %s already; nothing was changed", ends.name(alias), ends.name(kept))
			return nil
		}
		if at.InEffect() {
			return catalog.Errorf(catalog.Conflict, "take that apart first: "+o.unlink(ends.name(alias)), "the %s %s is linked to %s", linkNoun(o.kind), ends.name(alias), ends.name(at.Kept))
		}
		l.Number = at.Number + 1
	}
	if at := ends.link(kept); at != nil && at.InEffect() && at.Root == alias {
		return catalog.Errorf(catalog.Conflict, "take that apart first: "+o.unlink(ends.name(kept)), "the %s %s is linked to %s already", linkNoun(o.kind), ends.name(kept), ends.name(alias))
	}
	if err := store.Apply(ctx, catalog.Changes{Links: []catalog.Link{l}}); err != nil {
		return err
	}
	return o.tell(ctx, store, l)
}

func (o *poolLinkOptions) unlink(name string) string {
	return fmt.Sprintf("centwise pool unlink %s %s", o.kind, catalog.ShellWord(name)) + o.factory.Here()
}

// tell says what a link has done.
func (o *poolLinkOptions) tell(ctx context.Context, store catalog.Store, l catalog.Link) error {
	ends, err := readLinkEnds(ctx, store, l.Kind)
	if err != nil {
		return err
	}
	s, root := o.factory.Streams, ends.link(l.Alias).Root
	if l.Kind.OfDesign() {
		s.Note("linked %s: %s is %s from now on", linkNoun(l.Kind), ends.name(l.Alias), ends.name(root))
		return nil
	}
	filter := catalog.SessionFilter{Horn: catalog.ID(root)}
	if l.Kind == catalog.LinkMouthpiece {
		filter = catalog.SessionFilter{Mouthpiece: catalog.ID(root)}
	}
	sessions, err := store.Sessions(ctx, filter)
	if err != nil {
		return err
	}
	s.Note("linked %s %s to %s, which has %s now", l.Kind, ends.name(l.Alias), ends.name(root), match.Count(len(sessions), "session"))
	s.Note("to take them apart again:")
	s.Command(o.unlink(ends.name(l.Alias)))
	return nil
}

type poolUnlinkOptions struct {
	factory     *Factory
	kind        catalog.LinkKind
	alias       string
	contributor string
}

func newPoolUnlinkCmd(f *Factory, runF func(*poolUnlinkOptions) error) *cobra.Command {
	o := &poolUnlinkOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "unlink KIND ALIAS",
		Short: "Take apart what was linked",
		Long: long(`Take apart what 'centwise pool link' has joined: ALIAS is a horn, a mouthpiece or a design of its own again, with the
measurements that were recorded under its label. KIND is horn, mouthpiece, horn-design or mouthpiece-design.`,
			"What was linked to ALIAS stays linked to it. Taking apart travels in bundles as links do.",
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitBusy)),
		Example: `  centwise pool unlink horn "Old Alder"
  centwise pool unlink mouthpiece-design "Northlmap Plover"`,
		Args: args(2, 2),
		RunE: func(cmd *cobra.Command, got []string) (err error) {
			if o.kind, err = linkKindArg(got[0]); err != nil {
				return err
			}
			o.alias = got[1]
			return orRun(runF, poolUnlinkRun)(cmd.Context(), o)
		},
	}
	contributorFlag(cmd, f, &o.contributor)
	return cmd
}

func poolUnlinkRun(ctx context.Context, o *poolUnlinkOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	ends, err := readLinkEnds(ctx, store, o.kind)
	if err != nil {
		return err
	}
	at := ends.linkNamed(o.alias)
	if at == nil {
		alias, err := ends.find(ctx, o.alias)
		if err != nil {
			return err
		}
		return catalog.Errorf(catalog.NotFound, "list the links with: centwise pool links", "the %s %s is linked to nothing", linkNoun(o.kind), ends.name(alias))
	}
	l := at.Link
	l.Revision = catalog.Revision{Number: at.Number + 1, At: o.factory.Now().UTC(), Contributor: o.contributor, Retired: true}
	if err := store.Apply(ctx, catalog.Changes{Links: []catalog.Link{l}}); err != nil {
		return err
	}
	o.factory.Streams.Note("%s %s is no longer linked to %s", linkNoun(o.kind), ends.name(l.Alias), ends.name(l.Kept))
	return nil
}
