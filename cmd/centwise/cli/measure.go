package cli

import (
	"context"
	"errors"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/match/protocol"
)

type measureOptions struct {
	factory *Factory

	horn, mouthpiece, player, contributor string
	a4, temperature, slide, gap           string // measures as typed
	dynamic, name, date, remark           string
	adapter                               bool

	rounds string
	given  bool // rounds by a flag
	order  string
	slots  string
	notes  string // --range

	resume bool
	draft  string // which to resume; empty for the latest
	noFit  bool
	json   bool

	sheet bool
	html  string
	force bool
}

// Slots that may be measured.
const (
	slotsUsual = "usual"
	slotsAll   = "all"
)

const defaultRounds = "3"

func newMeasureCmd(f *Factory, runF func(*measureOptions) error) *cobra.Command {
	o := &measureOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "measure",
		Short: "Measure a session note by note, guided",
		Long: long(`Measure a session at the music stand: one plays, somebody else reads the tuner and types. Notes come in a random
order that can be sung, several rounds of them. Horn, mouthpiece and player must be in the catalog; where one of them is
not given, what the flags leave open is asked for, with the last answers to keep.`,
			`For each note type the cents that the tuner shows, + sharp, - flat: -3 or +4.5; several readings of it with spaces
between: -3 -5 -4. A decimal comma will do. Words: skip leaves the note out, undo takes the last line back, keep takes a
reading although it is far from the others, quit goes on another time, done records what there is, ? explains.`,
			`A reading that is far from the others of the session is asked for again at once. What the catalog would expect is
never shown before the end: nobody should play or read towards it.`,
			`Every line is on disk before the next is asked for. After Ctrl-C, Ctrl-D, quit, a closed terminal or a power cut,
--resume goes on where you were; 'centwise session drafts' lists what is unfinished.`,
			`At the end the session is recorded and compared with what was known before: how much surer its setup is now, and
which pairings with the horn moved, and which session would teach most next. --no-fit leaves that out.`,
			`Lines can also come from a file or a pipe, in the order that --order makes. Then nothing is asked again: readings far
from the others are taken and named at the end, and a line that can't be read stops with its number; the draft is kept.`,
			`--sheet prints a form to fill in by hand, as text or with --html FILE as a page to print. It says which command takes
its readings in the same order.`,
			`--json prints {"session", "id", "horn", "mouthpiece", "player", "readings", "notes": [{"note", "fingering", "partial",
"readings", "cents" (median), "spread"}], "sd", "drift" by round, "skipped", "far" (taken as typed), "lesson" or null: {"horn", "mouthpiece", "player", "before" and "after": {"interval_cents",
"pair_sessions", "horn_sessions", "mouthpiece_sessions", "basis", "linked"}, "change_cents", "ranked", "moved": [{"mouthpiece",
"from", "to", "error_before", "error_after"}]}, "next": a session as 'centwise next --json' gives it, or null}.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitBusy, exitCancelled)),
		Example: `  centwise measure
  centwise measure --horn Alder --mouthpiece "Plover 16.2" --player reed-otter --a4-hz 442 --rounds 2
  centwise measure --resume
  centwise measure --sheet --horn Alder --html sheet.html
  centwise measure --horn Alder --mouthpiece "Plover 16.2" --player reed-otter --order 4711 < readings.txt`,
		Args: args(0, 1),
		RunE: func(cmd *cobra.Command, got []string) error {
			if err := o.take(cmd, got); err != nil {
				return err
			}
			return orRun(runF, measureRun)(cmd.Context(), o)
		},
	}
	o.addFlags(cmd)
	return cmd
}

func (o *measureOptions) addFlags(cmd *cobra.Command) {
	fs := cmd.Flags()
	fs.StringVar(&o.horn, "horn", "", "`LABEL` of the horn")
	fs.StringVar(&o.mouthpiece, "mouthpiece", "", "`LABEL` of the mouthpiece")
	fs.StringVar(&o.player, "player", "", "`HANDLE` of the player")
	contributorFlag(cmd, o.factory, &o.contributor)
	fs.StringVar(&o.a4, "a4-hz", "", "A4 of the tuner in `HZ` (default 440)")
	fs.StringVar(&o.temperature, "temperature-c", "", "`DEGREES` Celsius in the room")
	fs.StringVar(&o.slide, "slide-mm", "", "how far the tuning slide is pulled out, in `MM`")
	fs.StringVar(&o.gap, "gap-mm", "", "distance from the end of the shank to the start of the leadpipe, in `MM`")
	fs.StringVar(&o.dynamic, "dynamic", "", "how loud, in `WORDS`, as in mf")
	fs.StringVar(&o.name, "name", "", "`NAME` of the session (default made of date and horn)")
	fs.StringVar(&o.date, "date", "", "`DATE` on which it was played, as in 2026-01-31, with a time if wanted (default now)")
	fs.StringVar(&o.remark, "remark", "", "anything worth knowing, in `WORDS`")
	fs.BoolVar(&o.adapter, "adapter", false, "shank and receiver differ, and an adapter is used")
	fs.StringVar(&o.rounds, "rounds", defaultRounds, "`N` rounds")
	fs.StringVar(&o.order, "order", "", "whole number that makes the order: the same `SEED`, the same order (default any)")
	fs.StringVar(&o.slots, "slots", slotsUsual, "`WHICH` ways to play: usual fingerings, or all")
	fs.StringVar(&o.notes, "range", "", "written `LOW-HIGH` to measure, as in G3-A5 (default the player's, else usual for the instrument)")
	fs.BoolVar(&o.resume, "resume", false, "go on with an unfinished session: the one named by id or name, else the latest")
	fs.BoolVar(&o.noFit, "no-fit", false, "don't work out what the session taught")
	fs.BoolVar(&o.json, "json", false, "print the result as JSON")
	fs.BoolVar(&o.sheet, "sheet", false, "print a form to fill in by hand")
	fs.StringVar(&o.html, "html", "", "with --sheet: write the form to `FILE` as a page to print")
	fs.BoolVar(&o.force, "force", false, "with --html: replace the file if it is there already")
	exclusive(cmd, "sheet", "resume")
	exclusive(cmd, "sheet", "json")
}

// whileResuming are the flags that go with --resume: everything else was decided
// when the session was begun.
var whileResuming = []string{"resume", "name", "remark", "no-fit", "no-input", "json", "catalog", "accessible"}

// take reads the argument and refuses combinations that mean nothing.
func (o *measureOptions) take(cmd *cobra.Command, got []string) error {
	if len(got) > 0 && !o.resume {
		return usagef("centwise measure --resume "+catalog.ShellWord(got[0])+", or --horn "+catalog.ShellWord(got[0]), "%q is one argument too many", got[0])
	}
	if len(got) > 0 {
		o.draft = got[0]
	}
	if (o.html != "" || o.force) && !o.sheet {
		return usagef("centwise measure --sheet --html sheet.html", "--html and --force go with --sheet")
	}
	o.given = cmd.Flags().Changed("rounds")
	var alien []string
	cmd.Flags().Visit(func(f *pflag.Flag) {
		if o.resume && !slices.Contains(whileResuming, f.Name) {
			alien = append(alien, "--"+f.Name)
		}
	})
	if len(alien) > 0 {
		return usagef("leave it out; to begin another session leave --resume out", "%s was decided when the session was begun", strings.Join(alien, " and "))
	}
	_, err := o.facts()
	if err == nil {
		_, _, err = o.span()
	}
	return err
}

func measureRun(ctx context.Context, o *measureOptions) error {
	if o.sheet {
		return measureSheetRun(ctx, o)
	}
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	m, err := o.begin(ctx, store)
	if err != nil {
		return err
	}
	err = m.measure(ctx)
	if stop := (*stopError)(nil); errors.As(err, &stop) && stop.cause == nil {
		m.streams.Note("%s. Go on with:", stop.what)
		m.streams.Command(stop.resume)
		return nil
	}
	if err != nil {
		return err
	}
	return m.finish(ctx)
}

// begin opens a new draft, or the one to be resumed.
func (o *measureOptions) begin(ctx context.Context, store catalog.Store) (*measuring, error) {
	s := o.factory.Streams
	m := &measuring{measureOptions: o, store: store, streams: s, lines: s.Lines(), person: s.Person}
	if o.resume {
		return m, m.takeUp(ctx)
	}
	if err := o.ask(ctx, store); err != nil {
		return nil, err
	}
	return m, m.open(ctx)
}

// open begins a new draft.
func (m *measuring) open(ctx context.Context) error {
	var err error
	if m.occasion, err = m.measureOptions.occasion(ctx, m.store); err != nil {
		return err
	}
	if err := m.mentionDrafts(ctx); err != nil {
		return err
	}
	if err := m.store.OpenDraft(ctx, m.occasion.draft); err != nil {
		return err
	}
	m.sitting, err = protocol.Resume(m.occasion.draft)
	return err
}

// takeUp resumes a draft.
func (m *measuring) takeUp(ctx context.Context) error {
	name := m.measureOptions.draft
	if name == "" {
		list, err := m.store.Drafts(ctx)
		if err != nil {
			return err
		}
		if len(list) == 0 {
			return catalog.Errorf(catalog.NotFound, "begin one with: centwise measure", "no session is unfinished")
		}
		name = string(list[len(list)-1].ID)
	}
	d, err := m.store.Draft(ctx, name)
	if err != nil {
		return err
	}
	if m.occasion, err = occasionOf(ctx, m.store, d); err != nil {
		return err
	}
	if m.sitting, err = protocol.Resume(d); err != nil {
		return err
	}
	if m.name != "" {
		m.occasion.draft.Session.Name = m.name
	}
	if m.remark != "" {
		m.occasion.draft.Session.Remark = m.remark
	}
	m.resumed = true
	return nil
}

// mentionDrafts says that there are unfinished sessions, to people.
func (m *measuring) mentionDrafts(ctx context.Context) error {
	list, err := m.store.Drafts(ctx)
	if err != nil || len(list) == 0 || !m.person {
		return err
	}
	last := list[len(list)-1]
	m.streams.Note("Unfinished: %s, begun %s. To go on with it instead, press Ctrl-C and type:", last.Session.Name, last.Started.Local().Format("2 January 15:04"))
	m.streams.Command("centwise measure --resume " + string(last.ID) + m.factory.Here())
	return nil
}

// span is the range that --range names; nought for none.
func (o *measureOptions) span() (low, high pitch.Note, err error) {
	if o.notes == "" {
		return 0, 0, nil
	}
	if low, high, err = parseRange(o.notes); err != nil {
		return 0, 0, usagef("--range F#3-C6", "--range %q: %v", o.notes, err)
	}
	return low, high, nil
}
