package cli

import (
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

type recordingOptions struct {
	factory *Factory
	files   []string

	horn, mouthpiece, player, contributor string
	a4, temperature, slide, gap           string // measures as typed
	dynamic, name, date, remark           string
	adapter                               bool

	notes     string // in the order played
	nearest   bool
	reference string // Hz of the tone to compare with
	set       []string

	pictures          pictureFlags
	yes, dryRun, json bool
}

func newImportRecordingCmd(f *Factory, runF func(*recordingOptions) error) *cobra.Command {
	o := &recordingOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "recording FILE...",
		Short: "Measure a session from sound recordings",
		Long: long(`Find the sustained notes in recordings of one player with one horn and one mouthpiece, measure how many cents sharp or
flat each is, and record them as a session. FILE is WAV (8 to 32 bits, or floating point) or FLAC, 8000 to 192000 samples a
second, mono or stereo, of any length. Several files are one sitting.`,
			`HOW TO RECORD
  a metre or two from the bell and off its axis, in a room without much echo
  no processing: automatic gain, noise reduction and lossy formats off
  loudest note well below full scale; nobody else plays; no metronome
  hold each note for two seconds, without vibrato, lipping or slides thrown
  the whole range up and down, twice: repeats show how far notes can be trusted
  rest between the two, and stop when your lips are sore`,
			`Every note is followed through time. What counts is its steady middle: the robust mean there, in cents, with spread (of
single moments), drift (from beginning to end) and vibrato (cents to either side). Grades: good, fair, poor. Slides, split
notes, cracked attacks and what is too short or too noisy are left out, each with its reason.`,
			`WHICH NOTE IS WHICH
  --notes "F#3-C6 C6-F#3"  what was played, in written notes; the default is the
                           chromatic range up and down. Missed, repeated and
                           wrong notes are allowed for, and so is being sharp or
                           flat as a whole. 13/4 is partial 4 on valves 1 and 3.
  --nearest                the order says nothing: the nearest note by its usual
                           fingering
  --set 12=Eb4             tone 12 of the list is Eb4; --set 12=out leaves it out`,
			`What could be two notes is shown with both and left out until --set decides. Nothing is recorded before you agree, or
without a terminal before --yes.`,
			`--reference 440 says that a generated tone of 440 Hz sounds in each file before the notes: the recorder's clock is
corrected by it. --a4-hz is what deviations refer to. Both are kept with the session.`,
			`--svg and --png draw pitch over time with the notes that were found, to see what went wrong.`,
			`--dry-run needs no gear: notes are then sounding ones. --json prints "tones": [{"tone" (number), "file", "start_s", "end_s",
"frequency_hz", "cents" (from the nearest note of equal temperament), "note" (that one, sounding), "spread_cents",
"drift_cents", "vibrato_cents", "vibrato_hz", "error_cents" (standard error), "level_db", "grade", where the horn is known
"written", "fingering", "partial", "deviation_cents" (from the written note) and "doubt" (what else it may be)}], "rejected": [{"file",
"start_s", "end_s", "reason"}], "files": [{"file", "seconds", "rate", "channels", "bits", "clock_cents"}], "a4_hz", "reference_hz",
"offset_cents" (all notes as a whole), "missing", "notices", "readings", "stored", "session" and "id".`,
			exitStatus(exitOK, exitFailed, exitUsage, exitSkipped, exitNoCatalog, exitBusy, exitCancelled)),
		Example: `  centwise import recording scale.wav --horn Alder --mouthpiece "Plover 16.2" --player reed-otter
  centwise import recording scale.wav --dry-run --png heard.png
  centwise import recording up.wav down.wav --dry-run --json
  centwise import recording scale.wav --horn Alder --mouthpiece "Plover 16.2" --player reed-otter --notes "C4-C5 C5-C4" --reference 440 --yes`,
		Args: fileNamedLikeIt(args(1, -1)),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.files = got
			if _, err := o.take(); err != nil {
				return err
			}
			return orRun(runF, recordingRun)(cmd.Context(), o)
		},
	}
	o.addFlags(cmd)
	return cmd
}

// fileNamedLikeIt explains how to import a sheet whose file has the name of the
// command.
func fileNamedLikeIt(inner cobra.PositionalArgs) cobra.PositionalArgs {
	return func(cmd *cobra.Command, got []string) error {
		if _, err := os.Stat(cmd.Name()); len(got) == 0 && err == nil {
			return usagef("centwise import ./"+cmd.Name(), "%s is a command here; a file of that name needs its folder", cmd.Name())
		}
		return inner(cmd, got)
	}
}

func (o *recordingOptions) addFlags(cmd *cobra.Command) {
	fs := cmd.Flags()
	fs.StringVar(&o.horn, "horn", "", "`LABEL` of the horn")
	fs.StringVar(&o.mouthpiece, "mouthpiece", "", "`LABEL` of the mouthpiece")
	fs.StringVar(&o.player, "player", "", "`HANDLE` of the player")
	contributorFlag(cmd, o.factory, &o.contributor)
	fs.StringVar(&o.notes, "notes", "", "written `NOTES` in the order played, as in \"F#3-C6 C6-F#3\" (default the chromatic range up and down)")
	fs.BoolVar(&o.nearest, "nearest", false, "take every tone for the nearest note, whatever the order")
	fs.StringArrayVar(&o.set, "set", nil, "`TONE=NOTE`: what a tone of the list is, as in 12=Eb4, 12=13/4 or 12=out; can be repeated")
	fs.StringVar(&o.a4, "a4-hz", "", "A4 in `HZ` that deviations refer to (default 440)")
	fs.StringVar(&o.reference, "reference", "", "`HZ` of a generated tone in each file that the recorder's clock is corrected by")
	fs.StringVar(&o.temperature, "temperature-c", "", "`DEGREES` Celsius in the room")
	fs.StringVar(&o.slide, "slide-mm", "", "how far the tuning slide was pulled out, in `MM`")
	fs.StringVar(&o.gap, "gap-mm", "", "distance from the end of the shank to the start of the leadpipe, in `MM`")
	fs.StringVar(&o.dynamic, "dynamic", "", "how loud, in `WORDS`, as in mf")
	fs.StringVar(&o.name, "name", "", "`NAME` of the session (default made of date and horn)")
	fs.StringVar(&o.date, "date", "", "`DATE` on which it was played, as in 2026-01-31, with a time if wanted (default that of the file)")
	fs.StringVar(&o.remark, "remark", "", "anything worth knowing, in `WORDS`")
	fs.BoolVar(&o.adapter, "adapter", false, "shank and receiver differ, and an adapter was used")
	o.pictures.add(cmd, "pitch over time with the notes")
	fs.BoolVarP(&o.yes, "yes", "y", false, "record without asking")
	fs.BoolVar(&o.dryRun, "dry-run", false, "show what is heard, record nothing")
	fs.BoolVar(&o.json, "json", false, "print what was heard as JSON")
	exclusive(cmd, "notes", "nearest")
	exclusive(cmd, "yes", "dry-run")
}

// choice is what --set says of a tone.
type choice struct {
	tone int // number in the list
	out  bool
	text string // a note, or valves/partial
}

// taken are the options as far as no catalog is needed.
type taken struct {
	session     catalog.Session // without gear and readings
	referenceHz float64         // 0: none
	choices     []choice
}

// Bounds of --reference, in Hz.
const leastReferenceHz, mostReferenceHz = 100, 2500

func (o *recordingOptions) take() (taken, error) {
	var t taken
	var err error
	if t.session, err = o.facts(); err != nil {
		return t, err
	}
	hz, err := flagNumber("reference", o.reference, "Hz", "440")
	if err != nil {
		return t, err
	}
	if hz != nil {
		if t.referenceHz = *hz; *hz < leastReferenceHz || *hz > mostReferenceHz {
			return t, usagef("--reference 440", "--reference %s: give %d to %d Hz", o.reference, leastReferenceHz, mostReferenceHz)
		}
	}
	for _, text := range o.set {
		c, err := parseChoice(text)
		if err != nil {
			return t, err
		}
		t.choices = append(t.choices, c)
	}
	if o.dryRun && o.horn == "" && (o.notes != "" || o.nearest || len(o.set) > 0) {
		return t, usagef("--horn LABEL beside --notes, --nearest and --set", "which written note a tone is depends on the horn, and --horn is missing")
	}
	return t, o.pictures.check()
}

// facts is the session without gear and readings.
func (o *recordingOptions) facts() (catalog.Session, error) {
	m := measureOptions{
		a4: o.a4, temperature: o.temperature, slide: o.slide, gap: o.gap, dynamic: o.dynamic, name: o.name, date: o.date, remark: o.remark,
		contributor: o.contributor, adapter: o.adapter, rounds: defaultRounds, slots: slotsUsual,
	}
	s, err := m.facts()
	s.Method = catalog.MethodRecording
	return s, err
}

func parseChoice(text string) (choice, error) {
	number, what, ok := strings.Cut(text, "=")
	n, err := strconv.Atoi(strings.TrimSpace(number))
	what = strings.TrimSpace(what)
	if !ok || err != nil || n < 1 || what == "" {
		return choice{}, usagef("--set 12=Eb4, or --set 12=out", "--set %q: write the number of a tone, = and a note", text)
	}
	if strings.EqualFold(what, "out") {
		return choice{tone: n, out: true}, nil
	}
	_, slotErr := pitch.ParseSlot(what)
	if _, noteErr := pitch.ParseNote(what); noteErr != nil && slotErr != nil {
		return choice{}, usagef("--set 12=Eb4, or --set 12=out", "--set %q: %v", text, noteErr)
	}
	return choice{tone: n, text: what}, nil
}
