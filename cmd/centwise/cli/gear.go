package cli

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
)

// gearKind is what the commands for horns, mouthpieces and players share: the
// fields of a record, and how to reach it in a catalog.
type gearKind[T any] struct {
	noun, plural string
	about        string // one sentence for the group's help
	fields       []gearField[T]
	required     []string   // fields that add needs
	pages        []gearPage // of the form that asks for the fields
	addExample   string
	editExample  string
	label        string // an example label

	rev  func(*T) *catalog.Revision
	name func(*T) *string
	id   func(T) catalog.ID
	// specimen is the design and serial number of what the record will be.
	specimen func(T) (design, serial string)
	list     func(ctx context.Context, s catalog.Store, retired bool) ([]T, error)
	find     func(ctx context.Context, s catalog.Store, label string) (T, error)
	changes  func(...T) catalog.Changes
	filter   func(catalog.ID) catalog.SessionFilter
}

func newGearCmd[T any](f *Factory, k *gearKind[T]) *cobra.Command {
	cmd := &cobra.Command{
		Use:   k.noun,
		Short: "Add, list, show, edit and retire " + k.plural,
		Long: long(k.about, "Every change is kept as a new revision; nothing is ever deleted. "+
			"Many "+k.plural+" at once are easier in a spreadsheet: see 'centwise import --help'."),
		Example: k.addExample + "\n  centwise " + k.noun + " list",
	}
	asGroup(cmd)
	cmd.AddCommand(
		newGearAddCmd(f, k, nil),
		newGearListCmd(f, k, nil),
		newGearShowCmd(f, k, nil),
		newGearEditCmd(f, k, nil),
		newGearRetireCmd(f, k, nil),
	)
	return cmd
}

// record is a record as JSON.
func (k *gearKind[T]) record(item T) show.Fields {
	rev := k.rev(&item)
	out := show.Fields{{Name: "id", Value: k.id(item)}, {Name: "label", Value: *k.name(&item)}}
	for _, f := range k.fields {
		out = append(out, show.Field{Name: f.name, Value: f.value(&item)})
	}
	return append(out,
		show.Field{Name: "revision", Value: rev.Number},
		show.Field{Name: "at", Value: rev.At},
		show.Field{Name: "contributor", Value: rev.Contributor},
		show.Field{Name: "retired", Value: rev.Retired})
}

// describe says in short which fields are set, for messages.
func (k *gearKind[T]) describe(item T) string {
	var parts []string
	for _, f := range k.fields {
		if text := f.text(&item); text != "" {
			parts = append(parts, strings.TrimSpace(f.heading()+" "+text+" "+f.unit))
		}
	}
	return strings.Join(parts, ", ")
}

// contributorFlag adds the flag that says who enters something.
func contributorFlag(cmd *cobra.Command, f *Factory, to *string) {
	cmd.Flags().StringVar(to, "contributor", "", "`HANDLE` of who enters this (default $CENTWISE_CONTRIBUTOR)")
	cmd.PreRun = func(*cobra.Command, []string) {
		if *to == "" {
			*to = f.Getenv("CENTWISE_CONTRIBUTOR")
		}
	}
}
