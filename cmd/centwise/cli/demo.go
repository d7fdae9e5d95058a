package cli

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
	"centwise/cmd/centwise/scenario"
	"centwise/cmd/centwise/show"
	"centwise/importers/sheet"
	"centwise/match"
)

type demoOptions struct {
	factory *Factory
	keep    string
}

func newDemoCmd(f *Factory, runF func(*demoOptions) error) *cobra.Command {
	o := &demoOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Show what centwise does, on an invented orchestra",
		Long: long(`Invent an orchestra with a cupboard of horns and a drawer of mouthpieces, import its sessions the way you would
import yours, rank the mouthpieces for one horn, and explain one pairing note by note. Everything in it is invented. The
catalog is thrown away afterwards unless --keep names a file for it; your own catalog is never touched.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitCancelled)),
		Example: `  centwise demo
  centwise demo --keep lantern-bay.db
  centwise rank --catalog lantern-bay.db --horn Hazel`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return orRun(runF, demoRun)(cmd.Context(), o)
		},
	}
	cmd.Flags().StringVar(&o.keep, "keep", "", "keep the catalog in `FILE`, which must not exist")
	return cmd
}

// demoHorn is the horn that the demo looks for a mouthpiece for.
const demoHorn = "Rowan"

func demoRun(ctx context.Context, o *demoOptions) error {
	folder, err := os.MkdirTemp("", "centwise-demo-")
	if err != nil {
		return &catalog.Error{Kind: catalog.Unavailable, What: "making a folder for the demo", Hint: "set TMPDIR to a folder that you may write to", Err: err}
	}
	defer os.RemoveAll(folder)
	if _, err := os.Lstat(o.keep); err == nil {
		return catalog.Errorf(catalog.Conflict, "name a file that does not exist yet", "%s exists already", o.keep)
	}
	f := *o.factory
	f.catalogFlag = filepath.Join(folder, "lantern-bay.db")
	f.Streams = f.Streams.together()
	d := &demo{factory: &f, folder: folder, keep: o.keep}
	return d.run(ctx)
}

// demo is one run of the demo.
type demo struct {
	factory *Factory
	folder  string // for its files
	keep    string
}

func (d *demo) run(ctx context.Context) error {
	d.say("INVENTED DATA: %s. No person, maker or model in it is real.", scenario.Title)
	if err := d.fill(ctx); err != nil {
		return err
	}
	best, err := d.rank(ctx)
	if err != nil {
		return err
	}
	if err := d.predict(ctx, best); err != nil {
		return err
	}
	if err := d.save(ctx); err != nil {
		return err
	}
	d.next()
	return nil
}

// save keeps the catalog if that is asked for.
func (d *demo) save(ctx context.Context) error {
	if d.keep == "" {
		return nil
	}
	store, err := d.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	return store.Backup(ctx, d.keep)
}

// fill imports the invented spreadsheets as a user would theirs.
func (d *demo) fill(ctx context.Context) error {
	invented := scenario.New(scenario.DefaultSeed)
	gear, sessions := filepath.Join(d.folder, "gear.csv"), filepath.Join(d.folder, "sessions.csv")
	for path, write := range map[string]func(io.Writer) error{gear: invented.WriteGear, sessions: invented.WriteSessions} {
		if err := writeFile(path, false, write); err != nil {
			return err
		}
	}
	d.command("centwise import gear.csv sessions.csv --create")
	o := &importOptions{factory: d.factory, files: []string{gear, sessions}, sheet: sheet.Options{Create: true}}
	if err := importRun(ctx, o); err != nil {
		return err
	}
	store, err := d.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	return store.SetTitle(ctx, scenario.Title)
}

// rank prints the shortlist for a horn and gives the best pairing on it that
// nobody has played.
func (d *demo) rank(ctx context.Context) (match.Pairing, error) {
	d.command("centwise rank --horn " + demoHorn + " --top 8")
	o := &rankOptions{factory: d.factory, horn: demoHorn, judge: judgeFlags{register: "even"}, sort: string(match.SortError), top: 8}
	r, err := o.answer(ctx)
	if err != nil {
		return match.Pairing{}, err
	}
	if err := show.Ranking(d.factory.Streams.Out, d.factory.Streams.Style, r, match.DefaultToleranceCents); err != nil {
		return match.Pairing{}, err
	}
	for _, p := range r.Pairings {
		if p.PairSessions == 0 {
			return p, nil
		}
	}
	return r.Pairings[0], nil
}

// predict explains one pairing.
func (d *demo) predict(ctx context.Context, p match.Pairing) error {
	d.command(fmt.Sprintf("centwise predict %s %s", catalog.ShellWord(p.Horn), catalog.ShellWord(p.Mouthpiece)))
	o := &predictOptions{factory: d.factory, horn: p.Horn, mouthpiece: p.Mouthpiece, judge: judgeFlags{register: "even"}}
	x, err := o.answer(ctx)
	if err != nil {
		return err
	}
	return show.Explanation(d.factory.Streams.Out, d.factory.Streams.Style, x, false)
}

// next says what to do with all that.
func (d *demo) next() {
	fmt.Fprintln(d.factory.Streams.Out, "\n"+d.factory.Streams.Style.Paint(show.Strong, "What to do next"))
	d.say("Try the first two or three of the shortlist, not only the first: look at their chances of being best. %s %s", cautionShared, cautionRest)
	d.say("Then measure one session with the one that pleases, import it, and rank again.")
	d.say("To begin with your own, put a few sessions into a spreadsheet with the columns session, player, horn, mouthpiece, note and cents, a line a reading:")
	d.suggest("centwise import sessions.csv --create")
	if d.keep != "" {
		d.say("The invented catalog is kept. What was measured wrong in it, you see with:")
		d.suggest("centwise catalog check --catalog " + catalog.ShellPath(sqlstore.Shown(d.keep)))
		d.say("Who should have which horn of the cupboard, and which mouthpiece, you see with:")
		d.suggest("centwise roster plan --spares cupboard --catalog " + catalog.ShellPath(sqlstore.Shown(d.keep)))
	} else {
		d.say("To keep the invented catalog and look around in it:")
		d.suggest("centwise demo --keep lantern-bay.db")
	}
	if ranFromSource() {
		d.say("To type these commands as they stand here, install centwise once, in its folder:")
		d.suggest("go install ./cmd/centwise")
	}
}

// ranFromSource reports whether 'go run' started this program.
func ranFromSource() bool { return strings.Contains(os.Args[0], "go-build") }

// suggest prints a command to type.
func (d *demo) suggest(line string) { fmt.Fprintln(d.factory.Streams.Out, "  "+line) }

// say prints a paragraph of the demo.
func (d *demo) say(format string, args ...any) {
	s := d.factory.Streams
	fmt.Fprintln(s.Out, show.Wrap(fmt.Sprintf(format, args...), s.Style.Columns(), "", "  "))
}

// command prints the command that comes next.
func (d *demo) command(line string) {
	s := d.factory.Streams
	fmt.Fprintf(s.Out, "\n%s\n\n", s.Style.Paint(show.Strong, "$ "+line))
}
