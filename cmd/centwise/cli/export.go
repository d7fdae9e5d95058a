package cli

import (
	"context"
	"io"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/importers/sheet"
)

func newExportCmd(f *Factory) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "export",
		Short: "Write sessions or gear as a spreadsheet",
		Long:  long("Write sessions or gear as CSV that 'centwise import' reads again, here or in another catalog."),
		Example: `  centwise export gear > gear.csv
  centwise export sessions --output sessions.csv`,
	}
	asGroup(cmd)
	cmd.AddCommand(
		newExportOneCmd(f, "sessions", "every session that is not retracted, a line a reading", sheet.ExportSessions, nil),
		newExportOneCmd(f, "gear", "horns, mouthpieces and players, a line an item", sheet.ExportGear, nil))
	return cmd
}

type exportOptions struct {
	factory *Factory
	write   func(ctx context.Context, s catalog.Store, w io.Writer) error
	output  string
	force   bool
}

func newExportOneCmd(f *Factory, what, about string, write func(context.Context, catalog.Store, io.Writer) error, runF func(*exportOptions) error) *cobra.Command {
	o := &exportOptions{factory: f, write: write}
	cmd := &cobra.Command{
		Use:   what,
		Short: "Write " + what + " as CSV",
		Long: long("Write "+about+", as CSV that 'centwise import' reads again. A file given with --output appears whole or not at all.",
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog)),
		Example: "  centwise export " + what + "\n  centwise export " + what + " --output " + what + ".csv",
		Args:    args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return orRun(runF, exportRun)(cmd.Context(), o)
		},
	}
	cmd.Flags().StringVarP(&o.output, "output", "o", "", "write to `FILE` instead of standard output")
	cmd.Flags().BoolVar(&o.force, "force", false, "replace the file if it is there already")
	return cmd
}

func exportRun(ctx context.Context, o *exportOptions) error {
	if err := checkPlace(o.output, o.force, "--output sessions.csv"); err != nil {
		return err
	}
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	if o.output == "" {
		return o.write(ctx, store, o.factory.Streams.Out)
	}
	if err := writeFile(o.output, o.force, func(w io.Writer) error { return o.write(ctx, store, w) }); err != nil {
		return err
	}
	o.factory.Streams.Note("wrote %s", o.output)
	return nil
}
