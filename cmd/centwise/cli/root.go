package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
)

func newRootCmd(f *Factory) *cobra.Command {
	root := &cobra.Command{
		Use:   "centwise",
		Short: "Predict and rank the intonation of trumpet setups nobody has played yet",
		Long: long(`centwise keeps a catalog of measured intonation: how many cents sharp or flat each note of a horn with a
mouthpiece is, played by somebody on some day. From all sessions together it works out what the horn, the mouthpiece,
the player and the day each contribute, predicts setups that nobody has played, and ranks the pairings whose errors
cancel.`,
			`Notes are written pitch (F#3, Bb4). Deviations are in cents from equal temperament, + sharp, - flat. Data goes to
standard output, talk to standard error; --json and --csv give output for other programs, and 'centwise schema' says what
JSON holds.`,
			`The catalog is one file: --catalog FILE, else the variable CENTWISE_CATALOG, else centwise/catalog.db in your data
directory. It may be in a PostgreSQL database that many share instead: --catalog postgres://NAME@HOST/DATABASE, with the
password in the variable PGPASSWORD or the file ~/.pgpass. Several catalogs in one database: ?search_path=NAME.`,
			`Beside commands, 'centwise help TOPIC' explains:`,
			topicList(),
			exitStatus()),
		Example: `  centwise demo
  centwise import sessions.csv --create
  centwise rank --horn Alder`,
		SilenceErrors:     true,
		SilenceUsage:      true,
		DisableAutoGenTag: true,
		CompletionOptions: cobra.CompletionOptions{DisableDefaultCmd: true},
	}
	asGroup(root)
	help := root.HelpFunc()
	root.SetHelpFunc(func(cmd *cobra.Command, args []string) {
		setLong(cmd)
		help(cmd, args)
	})
	root.SetOut(f.Streams.Out)
	root.SetErr(f.Streams.Err)
	root.SetIn(f.Streams.In)
	root.SetFlagErrorFunc(flagError)
	root.SetHelpCommand(newHelpCmd(f))
	root.PersistentFlags().StringVar(&f.catalogFlag, "catalog", "", "`FILE` that holds the catalog, or postgres://NAME@HOST/DATABASE (default $CENTWISE_CATALOG, else your data directory)")
	f.asking.addFlags(root)
	root.AddGroup(commandGroups...)
	add := func(group string, cmds ...*cobra.Command) {
		for _, c := range cmds {
			c.GroupID = group
			root.AddCommand(c)
		}
	}
	add("ask", newRankCmd(f, nil), newPredictCmd(f, nil), newRosterCmd(f), newNextCmd(f, nil), newVisitCmd(f), newReportCmd(f, nil), newFitCmd(f, nil), newListenCmd(f, nil), newPartCmd(f, nil), newAdjustCmd(f, nil), newAirColumnCmd(f), newDemoCmd(f, nil))
	add("data", newMeasureCmd(f, nil), newImportCmd(f, nil), newExportCmd(f), newSessionCmd(f), newPoolCmd(f))
	add("gear", newGearCmd(f, hornKind), newGearCmd(f, mouthpieceKind), newGearCmd(f, playerKind))
	add("other", newCatalogCmd(f), newCompletionCmd(f), newManCmd(f), newSchemaCmd(f), newVersionCmd(f))
	root.SetGlobalNormalizationFunc(shortMeasures)
	return root
}

// commandGroups are the headings of the list of commands.
var commandGroups = []*cobra.Group{
	{ID: "ask", Title: "Ask:"},
	{ID: "data", Title: "Measured sessions:"},
	{ID: "gear", Title: "Gear and players:"},
	{ID: "other", Title: "Other:"},
}

// asGroup makes a command that only holds others: alone it shows its help, and
// a mistyped name is a usage error with the nearest names.
func asGroup(cmd *cobra.Command) {
	cmd.Args = func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			return nil
		}
		return unknownCommand(cmd, args[0])
	}
	cmd.RunE = func(cmd *cobra.Command, _ []string) error { return cmd.Help() }
	cmd.SuggestionsMinimumDistance = 2
}

func unknownCommand(cmd *cobra.Command, name string) error {
	try := fmt.Sprintf("'%s --help' lists the commands", cmd.CommandPath())
	if near := cmd.SuggestionsFor(name); len(near) > 0 {
		try = fmt.Sprintf("%s %s", cmd.CommandPath(), strings.Join(near, " or "))
	}
	return usagef(try, "%s has no command %q", cmd.CommandPath(), name)
}

func helpOf(cmd *cobra.Command) string { return "'" + cmd.CommandPath() + " --help'" }

// args checks the number of arguments: at least low, at most high (high < 0: any).
func args(low, high int) cobra.PositionalArgs {
	return func(cmd *cobra.Command, got []string) error {
		switch {
		case len(got) < low:
			return usagef(helpOf(cmd), "an argument is missing: %s", cmd.UseLine())
		case high >= 0 && len(got) > high:
			return usagef(helpOf(cmd)+"; put quotation marks around a label with spaces", "%q is one argument too many: %s", got[high], cmd.UseLine())
		}
		return nil
	}
}

// exclusive makes it a usage error to give both flags.
func exclusive(cmd *cobra.Command, a, b string) {
	inner := cmd.Args
	cmd.Args = func(cmd *cobra.Command, got []string) error {
		if cmd.Flags().Changed(a) && cmd.Flags().Changed(b) {
			return usagef("give one of them", "--%s and --%s cannot be used together", a, b)
		}
		return inner(cmd, got)
	}
}
