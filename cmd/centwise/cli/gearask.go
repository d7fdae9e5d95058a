package cli

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"centwise/catalog"
	"centwise/cmd/centwise/form"
)

// askAdd asks for what a new record needs and fills the options.
func (k *gearKind[T]) askAdd(ctx context.Context, asker form.Asker, o *gearAddOptions) error {
	var start T
	if _, err := k.apply(&start, o.set); err != nil {
		return err
	}
	others, err := k.there(ctx, o.factory)
	if err != nil {
		return err
	}
	g := newGearForm(k, o.factory, start, strings.TrimSpace(o.label), others)
	review := &form.Review{Do: "add the " + k.noun, Check: g.wholeProblem, Summary: func() (lines, doubts []string) {
		if near := g.near(nil); near != "" {
			doubts = []string{near}
		}
		return g.inGroups(), doubts
	}}
	if err := asker.Ask(ctx, g.form("Add a "+k.noun, review)); err != nil {
		return notAsked(err, k.noun+" add")
	}
	o.label, o.set = g.label, append(o.set, g.settings()...)
	// Who agreed to the review saw what the record looks like.
	o.anyway = true
	return nil
}

// there is every record of the kind, retired ones too; none without a catalog.
func (k *gearKind[T]) there(ctx context.Context, f *Factory) ([]T, error) {
	store, err := f.Existing(ctx)
	if noCatalog(err) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer store.Close()
	return k.list(ctx, store, true)
}

// askEdit asks for the changes of a record and fills the options.
func (k *gearKind[T]) askEdit(ctx context.Context, asker form.Asker, store catalog.Store, o *gearEditOptions, old T) error {
	others, err := k.list(ctx, store, true)
	if err != nil {
		return err
	}
	label := *k.name(&old)
	g := newGearForm(k, o.factory, old, label, others)
	review := &form.Review{Do: "change the " + k.noun, Check: g.wholeProblem, Summary: func() (lines, doubts []string) {
		difference := k.difference(old, g.draft())
		if difference == "" {
			return []string{"Nothing is changed."}, nil
		}
		return []string{"Changes: " + difference}, nil
	}}
	if err := asker.Ask(ctx, g.form(fmt.Sprintf("Change %s %s", k.noun, label), review)); err != nil {
		return notAsked(err, k.noun+" edit")
	}
	o.set = g.settings()
	if g.label != label {
		o.newLabel = g.label
	}
	return nil
}

// notAsked says what to do when a form was not answered to its end.
func notAsked(err error, command string) error {
	if errors.Is(err, form.ErrEnded) {
		return usagef("answer every question, or give the answers as flags: 'centwise "+command+" --help'", "%v; nothing was changed", err)
	}
	return err
}
