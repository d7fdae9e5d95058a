package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"

	"centwise/match/tone"
)

type listenOptions struct {
	factory *Factory
	setup   predictOptions // horn, mouthpiece, and by what they are judged
	file    string
	force   bool

	pattern   string
	key       string
	notes     string // of the drone
	part      partFlags
	only      string
	asItComes bool

	dynamic  string
	tempo    float64 // beats a minute
	pause    float64 // s
	a4       float64 // Hz
	loudness float64 // LUFS
	rate     int
	bits     int

	output outputFlags
}

// The words of --pattern.
const (
	patternScale     = "scale"
	patternChromatic = "chromatic"
	patternArpeggio  = "arpeggio"
	patternDrone     = "drone"
	patternPart      = "part"
)

// The versions of the music, as --only names them.
const (
	versionInTune    = "in-tune"
	versionPredicted = "predicted"
)

// The words of --dynamic.
var dynamics = map[string]float64{"soft": tone.Soft, "medium": tone.Medium, "loud": tone.Loud}

// leadSeconds of silence begin and end a file, since players of sound swallow
// the beginning; peakDB is the highest true peak (both our own choice).
const (
	leadSeconds = 0.5
	peakDB      = -3
)

const cautionLoud = "Start with the volume low: loud sound close to the ears harms hearing."

func newListenCmd(f *Factory, runF func(*listenOptions) error) *cobra.Command {
	o := &listenOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "listen HORN MOUTHPIECE --output FILE.wav",
		Short: "Hear a setup in tune and as predicted",
		Long: long(`Write a sound file in which the same notes are played twice, with a sound like brass, without vibrato, and
equally loud: first in tune, then as the setup is predicted to play when nobody lips. What a table says in cents can so be
judged by ear.`,
			`As predicted is what is left after the tuning slide and the throws; --no-throws leaves the valve slides where they
are, and --as-it-comes leaves the tuning slide too, with the mean of the usual notes at nought. In tune is the target: equal
temperament unless --just or --target says otherwise. You hear the middle of the prediction; 'centwise predict' says how sure
it is.`,
			`PATTERNS
  scale      the major scale on --key, upwards through the range, a note a beat
  chromatic  every note of the range
  arpeggio   the major triad on --key through the range
  drone      a long tone against a drone that is in tune: --notes, or the note
             furthest off; the slower the two beat, the nearer they are
  part       your own part, from --part FILE`,
			`--part reads MusicXML (.musicxml, .xml, .mxl) or MIDI (.mid) and plays it through once with its repeats, in its
tempos, one note at a time. --part-name chooses one of several parts by name or number, --excerpt the seconds to play.
MusicXML is played on the horn as it is written; MIDI, and anything with --transpose, is written over for the horn's key so
that it sounds as in the file.`,
			judgeHelp[1], judgeHelp[2],
			`The concert pitch is that of the horn's key with A4 at --a4-hz. Both versions have the loudness --loudness, measured
by ITU-R BS.1770-4, or less where a true peak would pass -3 dB of full scale. The file is a WAV of one channel, a second of
silence (--pause) between the versions, half a second before and after, an hour at most.`,
			`Printed is what is heard when, a line a note: the version, start and end in seconds, the written and the sounding
note, cents off the target, and the frequency. --json prints one object: "file", "horn", "mouthpiece", "player",
"temperament", "pattern", "as_it_comes", "seconds", "gap_seconds", "lead_seconds", "rate", "bits", "a4_hz", "tempo" (not of a part),
"dynamic", "peak_limit_db", "part" {"file", "id", "name", "title", "from_s", "to_s"} with --part, "left_out" (notes
that are not played), "unknown" (notes in tune in both versions, since nothing is predicted for them), "takes": [{"version", "start_s", "end_s", "loudness_lufs", "true_peak_db", "beats_hz" (drone:
how often a second the two beat), "notes": [{"start_s", "end_s", "drone", "note", "concert", "valves", "off" (cents from the
target), "cents" (from equal temperament), "sd" (of the prediction; in tune 0), "frequency_hz"}]}], and "words".`,
			cautionLoud,
			exitStatus(exitOK, exitFailed, exitUsage, exitNoCatalog, exitCancelled)),
		Example: `  centwise listen Alder "Plover 16.2" --output alder.wav
  centwise listen Alder "Plover 16.2" --pattern drone --notes G4,D5 --output drone.wav
  centwise listen Alder "Plover 16.2" --part march.musicxml --part-name "Trumpet 2" --excerpt 0-30 --output part.wav
  centwise listen Alder "Plover 16.2" --player reed-otter --pattern arpeggio --key Eb --range G3-A5 --output eb.wav`,
		Args: args(2, 2),
		RunE: func(cmd *cobra.Command, got []string) error {
			o.setup.factory, o.setup.horn, o.setup.mouthpiece = f, got[0], got[1]
			if err := o.check(cmd); err != nil {
				return err
			}
			return orRun(runF, listenRun)(cmd.Context(), o)
		},
	}
	o.addFlags(cmd)
	return cmd
}

func (o *listenOptions) addFlags(cmd *cobra.Command) {
	o.setup.judge.add(cmd)
	fs := cmd.Flags()
	fs.StringVarP(&o.file, "output", "o", "", "write the sound to `FILE` (.wav)")
	fs.BoolVar(&o.force, "force", false, "replace the file if it is there already")
	fs.StringVar(&o.pattern, "pattern", patternScale, "what to play: `WORD` scale, chromatic, arpeggio, drone or part")
	fs.StringVar(&o.key, "key", "C", "written `TONIC` of the scale or the arpeggio")
	fs.StringVar(&o.notes, "notes", "", "written `NOTES` to hold against a drone, as in G4 or G4,D5 (default the one furthest off)")
	fs.StringVar(&o.part.file, "part", "", "play a part from `FILE`: MusicXML or MIDI")
	fs.StringVar(&o.part.name, "part-name", "", "`NAME` or number of the part, where the file has several")
	fs.StringVar(&o.part.excerpt, "excerpt", "", "`SECONDS` of the part to play, as in 12-40")
	fs.BoolVar(&o.part.lowest, "lowest", false, "where the part has several notes at a time, play the lowest, not the highest")
	fs.BoolVar(&o.part.transpose, "transpose", false, "write the part over for the horn's key, so that it sounds the same")
	fs.StringVar(&o.only, "only", "", "play one version: `WORD` in-tune or predicted")
	fs.BoolVar(&o.asItComes, "as-it-comes", false, "predicted without tuning slide and throws")
	fs.StringVar(&o.dynamic, "dynamic", "medium", "how bright it sounds: `WORD` soft, medium or loud")
	fs.Float64Var(&o.tempo, "tempo", 60, "`BEATS` a minute; a drone lasts five")
	fs.Float64Var(&o.pause, "pause", 1, "silence between the versions, in `SECONDS`")
	fs.Float64Var(&o.a4, "a4-hz", 440, "`HZ` of the A above middle C")
	fs.Float64Var(&o.loudness, "loudness", -23, "loudness of each version in `LUFS`")
	fs.IntVar(&o.rate, "rate", 48000, "samples a second: `HZ` from 8000 to 192000")
	fs.IntVar(&o.bits, "bits", 16, "`BITS` of a sample, 16 or 24")
	o.output.add(cmd)
}

// check refuses options that mean nothing, alone or together.
func (o *listenOptions) check(cmd *cobra.Command) error {
	if o.file == "" {
		return usagef("--output sound.wav", "name the file to write with --output")
	}
	for _, w := range []struct {
		flag  string
		value *string
		words []string
	}{
		{"pattern", &o.pattern, []string{patternScale, patternChromatic, patternArpeggio, patternDrone, patternPart}},
		{"only", &o.only, []string{versionInTune, versionPredicted}},
		{"dynamic", &o.dynamic, []string{"soft", "medium", "loud"}},
	} {
		word, err := oneOf(w.flag, *w.value, w.words)
		if err != nil {
			return err
		}
		*w.value = cmp.Or(word, cmd.Flag(w.flag).DefValue)
	}
	for _, n := range []struct {
		flag             string
		value, low, high float64
		unit             string
	}{
		{"tempo", o.tempo, 20, 400, " beats a minute"},
		{"pause", o.pause, 0, 60, " s"},
		{"a4-hz", o.a4, 380, 500, " Hz"},
		{"loudness", o.loudness, tone.MinLUFS, tone.MaxLUFS, " LUFS"},
		{"rate", float64(o.rate), tone.MinRate, tone.MaxRate, ""},
	} {
		if !(n.value >= n.low && n.value <= n.high) {
			return usagef(fmt.Sprintf("--%s %s", n.flag, cmd.Flag(n.flag).DefValue), "--%s %g: give %g to %g%s", n.flag, n.value, n.low, n.high, n.unit)
		}
	}
	if o.bits != 16 && o.bits != 24 {
		return usagef("--bits 16", "--bits %d: give 16 or 24", o.bits)
	}
	return o.checkPattern(cmd)
}

// checkPattern refuses flags that the pattern has no use for. A part is a pattern.
func (o *listenOptions) checkPattern(cmd *cobra.Command) error {
	if o.part.file != "" && !cmd.Flags().Changed("pattern") {
		o.pattern = patternPart
	}
	if o.part.file == "" && o.pattern == patternPart {
		return usagef("--part part.musicxml", "name the file that has the part with --part")
	}
	steps := []string{patternScale, patternChromatic, patternArpeggio}
	part := []string{patternPart}
	for _, f := range []struct {
		flag     string
		patterns []string
	}{
		{"key", []string{patternScale, patternArpeggio}},
		{"notes", []string{patternDrone}},
		{"tempo", append(steps, patternDrone)},
		{"part", part}, {"part-name", part}, {"excerpt", part}, {"lowest", part}, {"transpose", part},
	} {
		if cmd.Flags().Changed(f.flag) && !slices.Contains(f.patterns, o.pattern) {
			return usagef("--pattern "+f.patterns[0], "--%s does not go with --pattern %s", f.flag, o.pattern)
		}
	}
	if o.asItComes && o.setup.judge.noThrows {
		return usagef("give one of them", "--as-it-comes leaves the slides alone already; --no-throws adds nothing to it")
	}
	return o.part.check()
}

func listenRun(ctx context.Context, o *listenOptions) error {
	if err := checkPlace(o.file, o.force, "--output sound.wav"); err != nil {
		return err
	}
	x, err := o.setup.answer(ctx)
	if err != nil {
		return err
	}
	h, err := o.compose(ctx, x)
	if err != nil {
		return err
	}
	programme := o.programme(h)
	if err := playable(programme); err != nil {
		return err
	}
	levels, err := o.write(ctx, programme)
	if err != nil {
		return err
	}
	h.measured(levels)
	return o.print(h)
}

// write renders a programme into the file, whole or not at all.
func (o *listenOptions) write(ctx context.Context, p tone.Programme) (levels []tone.Level, err error) {
	const unit = 1000 // of a second
	counter := o.factory.Progress()
	counter.Start("making sound", int64(2*unit*p.Seconds()))
	defer counter.Done()
	p.Progress = func(seconds float64) { counter.Add(int64(unit * seconds)) }
	return levels, writeFile(o.file, o.force, func(w io.Writer) error {
		file, ok := w.(io.WriteSeeker)
		if !ok {
			return fmt.Errorf("the header of a WAV file is written last: %s can't go back to its beginning", o.file)
		}
		levels, err = tone.WriteWAV(ctx, file, p, o.bits)
		return err
	})
}

// playable says in the words of the flags why a programme can't be rendered.
func playable(p tone.Programme) error {
	err := p.Check()
	var long *tone.TooLongError
	switch {
	case errors.As(err, &long):
		return usagef("a smaller --range, a faster --tempo, an --excerpt of the part, or --only predicted", "%v", err)
	case err != nil:
		return usagef("--rate 48000", "%v", err)
	}
	return nil
}
