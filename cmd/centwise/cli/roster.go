package cli

import (
	"github.com/spf13/cobra"
)

func newRosterCmd(f *Factory) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "roster",
		Short: "Plan which student gets which horn, lend it and take it back",
		Long: long(`A teacher has a cupboard of loaner horns, a box of mouthpieces and a class. A roster gives each student the horn
on which the class as a whole should play best in tune ('plan'), writes down who has what ('commit') and what came back
('return'), keeps the history ('loans'), and says what would be worth buying ('worth').`),
		Example: `  centwise roster plan class.csv
  centwise roster plan --tag beginners --spares cupboard
  centwise roster commit plan.csv`,
	}
	asGroup(cmd)
	cmd.AddCommand(newRosterPlanCmd(f, nil), newRosterWorthCmd(f, nil), newRosterCommitCmd(f, nil), newRosterReturnCmd(f, nil), newRosterLoansCmd(f, nil))
	return cmd
}
