package cli

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/cmd/centwise/show"
	"centwise/importers/sheet"
	"centwise/match"
)

type importOptions struct {
	factory *Factory
	files   []string
	sheet   sheet.Options
	json    bool
}

func newImportCmd(f *Factory, runF func(*importOptions) error) *cobra.Command {
	o := &importOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "import FILE...",
		Short: "Read measured sessions and gear lists from spreadsheets",
		Long: long(`Read session sheets and gear lists, told apart by their first line. CSV with commas, semicolons or tabs,
decimal point or comma, or .xlsx; columns in any order. "-" reads standard input. All files are one change: when anything
in any of them is wrong, every mistake is named with file, line and column, and nothing is written. The catalog is made
if there is none.`,
			`Sessions, a line a reading:`,
			"    session, contributor, player, horn, mouthpiece, note, cents\n    optional: fingering, partial, repeat, date, a4_hz, temperature_c, slide_mm,\n    gap_mm, dynamic, method, adapter, remark",
			`fingering (pressed valves, 0 for none) and partial may stand instead of note. Or a line a session, with one column a
note.`,
			`Gear, a line an item: kind is horn, mouthpiece or player; of the other columns, what is known:`,
			show.Wrap(strings.Join(sheet.GearColumns(), ", "), helpWidth, "    ", "    "),
			`Labels that are not in the catalog are listed with near ones, and made only with --create. --json prints what was
done, or with --dry-run what would be: "dry_run", "sessions", "readings", "odd" and "unchanged" as numbers,
"gear_unchanged" too; the labels of what is new in "horns", "mouthpieces" and "players"; "updated" gear and
"ignored_columns".`,
			exitStatus(exitOK, exitFailed, exitUsage, exitBusy, exitCancelled)),
		Example: `  centwise import sessions.csv --create
  centwise import gear.csv sessions.xlsx --create --contributor lamp-keeper
  centwise import sessions.csv --dry-run --json
  centwise import recording scale.wav --horn Alder --mouthpiece "Plover 16.2" --player reed-otter
  centwise import impedance open.csv --valves 0 --horn Alder --mouthpiece "Plover 16.2"`,
		Args: args(1, -1),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.files = got
			if mistypedCommand(got[0]) {
				return unknownCommand(cmd, got[0])
			}
			return orRun(runF, importRun)(cmd.Context(), o)
		},
	}
	fs := cmd.Flags()
	fs.BoolVar(&o.sheet.Create, "create", false, "make horns, mouthpieces and players that are new")
	fs.BoolVar(&o.sheet.IgnoreExtra, "ignore-extra", false, "pass over columns that are not known")
	fs.BoolVar(&o.sheet.Update, "update", false, "change gear that is there already to what the list says")
	fs.BoolVar(&o.sheet.KeepOdd, "keep-odd", false, "keep readings outside -150..150 cents for review, unused, instead of refusing them")
	fs.StringVar(&o.sheet.Sheet, "sheet", "", "read the sheet `NAME` of a workbook (default the first)")
	contributorFlag(cmd, f, &o.sheet.Contributor)
	fs.BoolVar(&o.sheet.DryRun, "dry-run", false, "check everything, write nothing")
	fs.BoolVar(&o.json, "json", false, "print what was done as JSON")
	cmd.AddCommand(newImportRecordingCmd(f, nil), newImportImpedanceCmd(f, nil))
	return cmd
}

// mistypedCommand tells whether a name is meant for a command below import: it is
// one word, and there is no such file.
func mistypedCommand(name string) bool {
	if strings.Trim(strings.ToLower(name), "abcdefghijklmnopqrstuvwxyz") != "" {
		return false
	}
	_, err := os.Stat(name)
	return errors.Is(err, fs.ErrNotExist)
}

func importRun(ctx context.Context, o *importOptions) error {
	files, closeFiles, err := openFiles[sheet.File](o.factory.Streams.In, o.files)
	if err != nil {
		return err
	}
	defer closeFiles()
	o.sheet.Progress = o.factory.Progress()
	report, err := o.carryOut(ctx, files)
	if err != nil {
		return err
	}
	return printReport(o, report)
}

// carryOut imports the files, into a new catalog if there is none.
func (o *importOptions) carryOut(ctx context.Context, files []sheet.File) (*sheet.Report, error) {
	store, err := o.factory.Existing(ctx)
	if noCatalog(err) {
		return o.first(ctx, files)
	}
	if err != nil {
		return nil, err
	}
	defer store.Close()
	return sheet.Import(ctx, telling{store, o.sheet.Progress}, files, o.sheet)
}

// first imports the files into a catalog that is made when all is well.
func (o *importOptions) first(ctx context.Context, files []sheet.File) (*sheet.Report, error) {
	changes, report, err := sheet.Plan(ctx, sheet.Holdings{}, files, o.sheet)
	if err != nil || o.sheet.DryRun {
		return report, err
	}
	defer o.sheet.Progress.Done()
	o.sheet.Progress.Start(writing, 0)
	return report, o.factory.Begin(ctx, changes)
}

// telling is a store that shows that it is writing.
type telling struct {
	catalog.Store
	progress catalog.Counter
}

const writing = "writing the catalog"

func (t telling) Apply(ctx context.Context, c catalog.Changes) error {
	defer t.progress.Done()
	t.progress.Start(writing, 0)
	return t.Store.Apply(ctx, c)
}

// printReport says what an import did, or would do.
func printReport(o *importOptions, r *sheet.Report) error {
	s := o.factory.Streams
	if o.json {
		return show.JSON(s.Out, show.Fields{
			{Name: "dry_run", Value: o.sheet.DryRun}, {Name: "sessions", Value: r.Sessions}, {Name: "readings", Value: r.Readings},
			{Name: "odd", Value: r.Odd}, {Name: "unchanged", Value: r.Unchanged}, {Name: "gear_unchanged", Value: r.GearUnchanged},
			{Name: "horns", Value: list(r.Horns)}, {Name: "mouthpieces", Value: list(r.Mouthpieces)}, {Name: "players", Value: list(r.Players)},
			{Name: "updated", Value: list(r.Updated)}, {Name: "ignored_columns", Value: list(r.Ignored)},
		})
	}
	if o.sheet.DryRun {
		s.Note("nothing is written; without --dry-run this would be done:")
	}
	switch {
	case r.Sessions > 0:
		s.Note("imported %s with %s", match.Count(r.Sessions, "session"), match.Count(r.Readings, "reading"))
	case len(r.Horns)+len(r.Mouthpieces)+len(r.Players)+len(r.Updated) == 0:
		s.Note("nothing new")
	}
	for _, made := range []struct {
		noun   string
		labels []string
	}{{"horn", r.Horns}, {"mouthpiece", r.Mouthpieces}, {"player", r.Players}} {
		if len(made.labels) > 0 {
			s.Note("new: %s: %s", match.Count(len(made.labels), made.noun), strings.Join(made.labels, ", "))
		}
	}
	if len(r.Updated) > 0 {
		s.Note("changed: %s", strings.Join(r.Updated, ", "))
	}
	if r.Odd > 0 {
		s.Note("%s kept for review and not used: outside -150..150 cents", match.Count(r.Odd, "odd reading"))
	}
	if r.Unchanged > 0 {
		s.Note("in the catalog already, left as it is: %s", match.Count(r.Unchanged, "session"))
	}
	if r.GearUnchanged > 0 {
		s.Note("in the catalog already, left as it is: %s", match.Count(r.GearUnchanged, "piece")+" of gear or players")
	}
	if len(r.Ignored) > 0 {
		s.Note("columns passed over: %s", strings.Join(r.Ignored, ", "))
	}
	return nil
}

// list is never null as JSON.
func list(labels []string) []string {
	if labels == nil {
		return []string{}
	}
	return labels
}
