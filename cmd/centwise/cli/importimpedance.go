package cli

import (
	"context"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/importers/impedance"
)

type importImpedanceOptions struct {
	factory *Factory
	files   []string

	horn, mouthpiece, contributor string
	valves                        []string
	list                          string
	columns                       string
	first                         int
	a4, temperature, slide, gap   string // measures as typed
	name, date, remark            string
	adapter, keepOdd              bool

	yes, dryRun, json bool
}

func newImportImpedanceCmd(f *Factory, runF func(*importImpedanceOptions) error) *cobra.Command {
	o := &importImpedanceOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "impedance FILE...",
		Short: "Find the resonances in curves of input impedance, and record them",
		Long: long(`Read curves of input impedance, a file a fingering, find their resonances, and record all as one session of the
method impedance, which needs no player. A resonance is a maximum of |Zin|, found by a fit near it; its standard error is
shown. Resonances lie 10 to 20 cents below the notes that players make of them, so sessions of this method are compared
with each other and never in absolute cents with played ones.`,
			`Files are text, a line a frequency: columns apart by commas, semicolons, tabs or spaces, with decimal point or comma, any
spacing. Columns and units stand in the line before the numbers, as in "Frequency (Hz); |Z| (MOhm)", or in --columns:
f, then mag, or re and im, or mag and phase, each with a unit after a colon if wanted: f:kHz,mag:dB. Units are Hz, kHz or
rad/s; Pa s/m3, MOhm (acoustic), cgs ohm, dB or relative; deg or rad. What had to be inferred is said.`,
			`--valves names the fingerings of the files in their order, 0 for none pressed, or one for all files; several files of one
fingering are repeats, and how well they agree is shown. --list names a sheet with the columns file and valves instead.
Partials are numbered by where a horn of its key has them, after one shift of all; --first N says what the lowest
resonance is. When that is doubtful, nothing is recorded until somebody agrees, or --yes is given.`,
			`The lowest resonance of a horn, under the pedal note, lies far below its series: it is shown, and is no reading. Support
is how well the curve carries the harmonics of a note: |Z| at 2, 3 and 4 times its frequency, as a share of the
resonance there; 1 is exactly harmonic.`,
			`--json prints {"definition", "stored", "session", "horn", "mouthpiece", "method", "a4_hz", "files": [{"file", "valves", "points",
"from_hz", "to_hz", "columns", "shift_cents", "remarks", "resonances": [{"partial" (0: none), "note", "frequency_hz", "sd_cents", "cents",
"q", "magnitude", "points", "reading", "why", "support"}], "rejected": [{"frequency_hz", "why"}]}], "unit" of magnitudes, "support",
"repeat_sd", "doubts", "readings"}.`,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitBusy, exitCancelled)),
		Example: `  centwise import impedance open.csv v2.csv v1.csv --valves 0,2,1 --horn Alder --mouthpiece "Plover 16.2"
  centwise import impedance v1.txt again.txt --valves 1 --columns f:kHz,mag:dB --horn Alder --mouthpiece "Plover 16.2" --dry-run
  centwise import impedance --list curves.csv --horn Alder --mouthpiece "Plover 16.2" --yes --json`,
		Args: fileNamedLikeIt(args(0, -1)),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.files = got
			return orRun(runF, importImpedanceRun)(cmd.Context(), o)
		},
	}
	o.addFlags(cmd)
	return cmd
}

func (o *importImpedanceOptions) addFlags(cmd *cobra.Command) {
	fs := cmd.Flags()
	fs.StringVar(&o.horn, "horn", "", "`LABEL` of the horn")
	fs.StringVar(&o.mouthpiece, "mouthpiece", "", "`LABEL` of the mouthpiece")
	fs.StringSliceVar(&o.valves, "valves", nil, "pressed `VALVES` of each file in turn, as in 0,2,12; one for all")
	fs.StringVar(&o.list, "list", "", "read files and their fingerings from `FILE`, with the columns file and valves")
	fs.StringVar(&o.columns, "columns", "", "what the `COLUMNS` of the files hold, as in f:Hz,re:MOhm,im:MOhm (default by the header)")
	fs.IntVar(&o.first, "first", 0, "the lowest resonance of each file is partial `N`; 1 is that of the pedal (default: found out)")
	fs.StringVar(&o.a4, "a4-hz", "", "A4 in `HZ` that deviations refer to (default 440)")
	fs.StringVar(&o.temperature, "temperature-c", "", "`DEGREES` Celsius of the air in the horn")
	fs.StringVar(&o.slide, "slide-mm", "", "how far the tuning slide was pulled out, in `MM`")
	fs.StringVar(&o.gap, "gap-mm", "", "distance from the end of the shank to the start of the leadpipe, in `MM`")
	fs.StringVar(&o.name, "name", "", "`NAME` of the session (default made of date and horn)")
	fs.StringVar(&o.date, "date", "", "`DATE` of the measurement, as in 2026-01-31, with a time if wanted (default now)")
	fs.StringVar(&o.remark, "remark", "", "anything worth knowing, in `WORDS`")
	contributorFlag(cmd, o.factory, &o.contributor)
	fs.BoolVar(&o.adapter, "adapter", false, "shank and receiver differ, and an adapter was used")
	fs.BoolVar(&o.keepOdd, "keep-odd", false, "keep readings outside -150..150 cents for review, unused, instead of refusing them")
	fs.BoolVarP(&o.yes, "yes", "y", false, "record although something is doubtful")
	fs.BoolVar(&o.dryRun, "dry-run", false, "show what is found, record nothing")
	fs.BoolVar(&o.json, "json", false, "print what was found as JSON")
	exclusive(cmd, "yes", "dry-run")
}

// curveFile is a file and the fingering it was measured with.
type curveFile struct {
	path   string
	valves pitch.Valves
}

func importImpedanceRun(ctx context.Context, o *importImpedanceOptions) error {
	session, files, columns, err := o.take()
	if err != nil {
		return err
	}
	store, err := o.factory.Existing(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	b, err := o.bench(ctx, store, session)
	if err != nil {
		return err
	}
	if err := b.readAll(ctx, files, columns); err != nil {
		return err
	}
	return b.finish(ctx, store)
}

// take reads the options that need no catalog.
func (o *importImpedanceOptions) take() (session catalog.Session, files []curveFile, columns []impedance.Column, err error) {
	if session, err = o.facts(); err != nil {
		return session, nil, nil, err
	}
	if o.columns != "" {
		if columns, err = impedance.ParseColumns(o.columns); err != nil {
			return session, nil, nil, usagef("--columns f:Hz,mag:MOhm", "--columns %q: %v", o.columns, err)
		}
	}
	if files, err = o.curveFiles(); err != nil {
		return session, nil, nil, err
	}
	return session, files, columns, nil
}

// facts is the session without gear and readings.
func (o *importImpedanceOptions) facts() (s catalog.Session, err error) {
	switch {
	case o.horn == "":
		return s, usagef("--horn Alder", "--horn is missing: whose resonances are they?")
	case o.mouthpiece == "":
		return s, usagef(`--mouthpiece "Plover 16.2"`, "--mouthpiece is missing: with which mouthpiece was it measured?")
	case o.first < 0 || o.first > pitch.MaxPartial:
		return s, usagef("--first 2", "--first %d is not a partial from 1 to %d", o.first, pitch.MaxPartial)
	}
	m := measureOptions{
		a4: o.a4, temperature: o.temperature, slide: o.slide, gap: o.gap, name: o.name, date: o.date, remark: o.remark,
		contributor: o.contributor, adapter: o.adapter, rounds: defaultRounds, slots: slotsUsual,
	}
	if s, err = m.facts(); err != nil {
		return s, err
	}
	s.Method = catalog.MethodImpedance
	if s.At.IsZero() {
		s.At = o.factory.Now()
	}
	return s, nil
}

// curveFiles pairs the files with their fingerings.
func (o *importImpedanceOptions) curveFiles() ([]curveFile, error) {
	const try = "centwise import impedance open.csv v2.csv --valves 0,2"
	switch {
	case o.list != "" && (len(o.files) > 0 || len(o.valves) > 0):
		return nil, usagef("give one of them", "--list names the files and their fingerings, so no others can be given")
	case o.list != "":
		return readCurveList(o.list)
	case len(o.files) == 0:
		return nil, usagef(try, "no file is given")
	case len(o.valves) == 0:
		return nil, usagef(try, "--valves is missing: which were pressed when the curves were measured? 0 is none")
	case len(o.valves) != 1 && len(o.valves) != len(o.files):
		return nil, usagef(try, "--valves names %d fingerings for %d files: name one for each, or one for all", len(o.valves), len(o.files))
	}
	var out []curveFile
	for i, path := range o.files {
		v, err := pitch.ParseValves(o.valves[min(i, len(o.valves)-1)])
		if err != nil {
			return nil, usagef("--valves 0,2,12", "--valves: %v", err)
		}
		out = append(out, curveFile{path, v})
	}
	return out, nil
}

// readCurveList reads a sheet of files and their fingerings. Files that are not
// named from the root on are beside the sheet.
func readCurveList(path string) ([]curveFile, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, &catalog.Error{Kind: catalog.NotFound, What: "reading the list", Hint: "name a file with the columns file and valves", Err: err}
	}
	defer file.Close()
	entries, err := impedance.ReadList(path, file)
	if err != nil {
		return nil, err
	}
	var out []curveFile
	for _, e := range entries {
		name := e.File
		if !filepath.IsAbs(name) {
			name = filepath.Join(filepath.Dir(path), filepath.FromSlash(name))
		}
		out = append(out, curveFile{name, e.Valves})
	}
	return out, nil
}

// readCurve reads one file.
func readCurve(path string, columns []impedance.Column) (*impedance.Curve, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, &catalog.Error{Kind: catalog.NotFound, What: "reading " + path, Hint: "check the name of the file", Err: err}
	}
	defer file.Close()
	return impedance.Read(path, file, columns)
}

// source names the files that a session came from.
func source(files []*benchFile) string {
	var names []string
	for _, f := range files {
		names = append(names, filepath.Base(f.path))
	}
	s := []rune(strings.Join(names, ", "))
	return string(s[:min(len(s), catalog.MaxSourceLength)])
}
