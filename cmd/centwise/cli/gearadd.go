package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
)

type gearAddOptions struct {
	factory     *Factory
	label       string
	set         settings
	contributor string
	anyway      bool
	json        bool
}

func newGearAddCmd[T any](f *Factory, k *gearKind[T], runF func(*gearAddOptions) error) *cobra.Command {
	o := &gearAddOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "add [LABEL]",
		Short: "Add a " + k.noun,
		Long: long(fmt.Sprintf(`Add a %[1]s under a label of your choice. What you do not know is left out; it can be added later with
'centwise %[1]s edit'. A %[1]s that looks like one already there is refused unless you say --anyway. The catalog is made
if there is none.`, k.noun),
			"On a terminal, what is missing is asked for: without a label, without any field, or without one that is needed.",
			exitStatus(exitOK, exitFailed, exitUsage, exitBusy)),
		Example: k.addExample,
		Args:    args(0, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			if len(got) == 1 {
				o.label = got[0]
			}
			if len(got) == 0 && !f.MayAsk() {
				return usagef(k.firstExample(), "an argument is missing: a %s needs %s", k.noun, strings.Join(append([]string{"a LABEL"}, k.missing(o.set)...), " and "))
			}
			return orRun(runF, k.runAdd)(cmd.Context(), o)
		},
	}
	k.addFieldFlags(cmd, &o.set)
	contributorFlag(cmd, f, &o.contributor)
	cmd.Flags().BoolVar(&o.anyway, "anyway", false, "add it although it looks like one already there")
	cmd.Flags().BoolVar(&o.json, "json", false, "print the record as JSON")
	return cmd
}

func (k *gearKind[T]) runAdd(ctx context.Context, o *gearAddOptions) error {
	if asker := o.factory.Asker(); asker != nil && (o.label == "" || len(o.set) == 0 || len(k.missing(o.set)) > 0) {
		if err := k.askAdd(ctx, asker, o); err != nil {
			return err
		}
	}
	item, err := k.build(o)
	if err != nil {
		return err
	}
	store, err := k.write(ctx, o, item)
	if err != nil {
		return err
	}
	defer store.Close()
	stored, err := k.find(ctx, store, o.label)
	if err != nil {
		return err
	}
	if o.json {
		return show.JSON(o.factory.Streams.Out, k.record(stored))
	}
	o.factory.Streams.Note("added %s %s: %s", k.noun, o.label, k.describe(stored))
	return nil
}

// write writes a new record, into a new catalog if there is none.
func (k *gearKind[T]) write(ctx context.Context, o *gearAddOptions, item T) (catalog.Store, error) {
	store, err := o.factory.Existing(ctx)
	if noCatalog(err) {
		if err := o.factory.Begin(ctx, k.changes(item)); err != nil {
			return nil, err
		}
		return o.factory.Existing(ctx)
	}
	if err != nil {
		return nil, err
	}
	if err := k.writeNew(ctx, store, o, item); err != nil {
		store.Close()
		return nil, err
	}
	return store, nil
}

// writeNew writes a new record unless it looks like one already there.
func (k *gearKind[T]) writeNew(ctx context.Context, store catalog.Store, o *gearAddOptions, item T) error {
	others, err := k.list(ctx, store, true)
	if err != nil {
		return err
	}
	if near := k.nearDuplicates(item, others); len(near) > 0 && !o.anyway {
		return catalog.Errorf(catalog.Conflict,
			"use that one, or repeat with --anyway if this is another "+k.noun,
			"%s %q looks like %s, which is there already", k.noun, o.label, strings.Join(near, " and "))
	}
	return store.Apply(ctx, k.changes(item))
}

// build makes the record to add from the options.
func (k *gearKind[T]) build(o *gearAddOptions) (T, error) {
	var item T
	if _, err := k.apply(&item, o.set); err != nil {
		return item, err
	}
	if missing := k.missing(o.set); len(missing) > 0 {
		return item, usagef(k.firstExample(), "a %s needs %s", k.noun, strings.Join(missing, " and "))
	}
	if strings.TrimSpace(o.label) == "" {
		return item, usagef(k.firstExample(), "the label is empty")
	}
	*k.name(&item) = strings.TrimSpace(o.label)
	now := o.factory.Now().UTC()
	*k.rev(&item) = catalog.Revision{Number: 1, At: now, Contributor: o.contributor}
	// Checked before a catalog is made for it.
	return item, k.changes(item).Normalized(now).Validate()
}

// missing are the flags that a new record needs and that were not given.
func (k *gearKind[T]) missing(set settings) []string {
	var out []string
	for _, name := range k.required {
		if !slices.ContainsFunc(set, func(s setting) bool { return s.field == name }) {
			out = append(out, "--"+strings.ReplaceAll(name, "_", "-"))
		}
	}
	return out
}

func (k *gearKind[T]) firstExample() string {
	return strings.TrimSpace(strings.SplitN(k.addExample, "\n", 2)[0])
}
