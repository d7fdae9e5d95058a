package cli

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
)

type gearEditOptions struct {
	factory     *Factory
	label       string
	newLabel    string
	set         settings
	contributor string
	json        bool
}

func newGearEditCmd[T any](f *Factory, k *gearKind[T], runF func(*gearEditOptions) error) *cobra.Command {
	o := &gearEditOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "edit LABEL",
		Short: "Change fields of a " + k.noun,
		Long: long(fmt.Sprintf(`Change the fields of a %s that are given as flags and leave the others as they are. An empty value ("" or
0) takes a field back to not known. The change is a new revision; the old one stays in history.`, k.noun),
			"On a terminal and without a field, the fields are asked for, with what they are now.",
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitBusy)),
		Example: k.editExample,
		Args:    args(1, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.label = got[0]
			if !o.given() && !f.MayAsk() {
				return usagef(helpOf(cmd)+" lists the fields", "nothing to change was given")
			}
			return orRun(runF, k.runEdit)(cmd.Context(), o)
		},
	}
	cmd.Flags().StringVar(&o.newLabel, "label", "", "the new `LABEL`")
	k.addFieldFlags(cmd, &o.set)
	contributorFlag(cmd, f, &o.contributor)
	cmd.Flags().BoolVar(&o.json, "json", false, "print the record as JSON")
	return cmd
}

// given reports whether flags say what to change.
func (o *gearEditOptions) given() bool { return len(o.set) > 0 || o.newLabel != "" }

func (k *gearKind[T]) runEdit(ctx context.Context, o *gearEditOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	old, err := k.find(ctx, store, o.label)
	if err != nil {
		return err
	}
	if asker := o.factory.Asker(); asker != nil && !o.given() {
		if err := k.askEdit(ctx, asker, store, o, old); err != nil {
			return err
		}
	}
	item := old
	if _, err := k.apply(&item, o.set); err != nil {
		return err
	}
	if o.newLabel != "" {
		*k.name(&item) = strings.TrimSpace(o.newLabel)
	}
	difference := k.difference(old, item)
	if difference == "" {
		o.factory.Streams.Note("%s %s has these values already; nothing was changed", k.noun, *k.name(&old))
		return k.printIf(o.json, o.factory.Streams, old)
	}
	*k.rev(&item) = k.nextRevision(old, o.factory, o.contributor)
	if err := store.Apply(ctx, k.changes(item)); err != nil {
		return err
	}
	o.factory.Streams.Note("changed %s %s: %s", k.noun, *k.name(&item), difference)
	return k.printIf(o.json, o.factory.Streams, item)
}

func (k *gearKind[T]) printIf(asked bool, s *Streams, item T) error {
	if !asked {
		return nil
	}
	return show.JSON(s.Out, k.record(item))
}

// nextRevision is the revision that replaces the one of old.
func (k *gearKind[T]) nextRevision(old T, f *Factory, contributor string) catalog.Revision {
	rev := *k.rev(&old)
	return catalog.Revision{Number: rev.Number + 1, At: f.Now().UTC(), Contributor: contributor, Retired: rev.Retired}
}

// difference says what changed between two revisions.
func (k *gearKind[T]) difference(old, now T) string {
	var parts []string
	change := func(name, from, to string) {
		if from != to {
			parts = append(parts, fmt.Sprintf("%s %s -> %s", name, orNone(from), orNone(to)))
		}
	}
	change("label", *k.name(&old), *k.name(&now))
	for _, f := range k.fields {
		change(f.heading(), f.text(&old), f.text(&now))
	}
	return strings.Join(parts, ", ")
}

func orNone(s string) string {
	if s == "" {
		return "(none)"
	}
	return s
}

type gearRetireOptions struct {
	factory     *Factory
	labels      []string
	undo        bool
	contributor string
}

func newGearRetireCmd[T any](f *Factory, k *gearKind[T], runF func(*gearRetireOptions) error) *cobra.Command {
	o := &gearRetireOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "retire LABEL...",
		Short: "Stop offering a " + k.noun,
		Long: long(fmt.Sprintf(`Stop offering %s: lists and rankings leave them out. Their sessions stay and keep counting, since they say
something about the rest of the catalog too. --undo brings them back.`, k.plural),
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitBusy)),
		Example: fmt.Sprintf("  centwise %s retire %s\n  centwise %s retire %s --undo", k.noun, k.label, k.noun, k.label),
		Args:    args(1, -1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.labels = got
			return orRun(runF, k.runRetire)(cmd.Context(), o)
		},
	}
	cmd.Flags().BoolVar(&o.undo, "undo", false, "offer it again")
	contributorFlag(cmd, f, &o.contributor)
	return cmd
}

func (k *gearKind[T]) runRetire(ctx context.Context, o *gearRetireOptions) error {
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	var items []T
	var names []string
	for _, label := range o.labels {
		item, err := k.find(ctx, store, label)
		if err != nil {
			return err
		}
		if k.rev(&item).Retired == !o.undo {
			o.factory.Streams.Note("%s %s is %s already", k.noun, *k.name(&item), retiredWord(!o.undo))
			continue
		}
		*k.rev(&item) = k.nextRevision(item, o.factory, o.contributor)
		k.rev(&item).Retired = !o.undo
		items, names = append(items, item), append(names, *k.name(&item))
	}
	if len(items) == 0 {
		return nil
	}
	if err := store.Apply(ctx, k.changes(items...)); err != nil {
		return err
	}
	o.factory.Streams.Note("%s now %s: %s", k.noun, retiredWord(!o.undo), strings.Join(names, ", "))
	return nil
}

func retiredWord(retired bool) string {
	if retired {
		return "retired"
	}
	return "on offer"
}
