package cli

import (
	"github.com/spf13/cobra"
)

func newRosterCmd(f *Factory) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "roster",
		Short: "Plan which student gets which horn and mouthpiece",
		Long: long(`A teacher has a cupboard of loaner horns, a box of mouthpieces and a class. A roster gives each student the horn
on which the class as a whole should play best in tune.`),
		Example: `  centwise roster plan class.csv
  centwise roster plan --tag beginners --spares cupboard`,
	}
	asGroup(cmd)
	cmd.AddCommand(newRosterPlanCmd(f, nil))
	return cmd
}
