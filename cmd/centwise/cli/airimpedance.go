package cli

import (
	"context"
	"math"

	"github.com/spf13/cobra"

	"centwise/catalog/pitch"
	"centwise/cmd/centwise/show"
	"centwise/match/aircolumn"
	"centwise/match/tuning"
)

type airImpedanceOptions struct {
	factory        *Factory
	air            airFlags
	note           string
	from, to, step float64
	pictures       pictureFlags
	output         outputFlags
}

// curvePoints is the most that a curve may have.
const curvePoints = 100_000

func newAirImpedanceCmd(f *Factory, runF func(*airImpedanceOptions) error) *cobra.Command {
	o := &airImpedanceOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "impedance",
		Short: "Calculate the input impedance of a bore",
		Long: long(`Calculate the curve of input impedance at the rim plane for one fingering, --from-hz to --to-hz in steps of
--step-hz. With --note, a written note on that fingering (its usual one unless --valves says another), the note's harmonics are
looked up on the curve: where each falls beside the resonance that is to carry it, how much of that peak's height is left there,
and the harmonic support of the note that makes, 1 when every harmonic hits its peak.`,
			`--svg and --png draw the curve, with the harmonics of the note. A terminal shows the resonances, or the harmonics of the
note; away from it, and with --csv, the curve itself is printed.`,
			boreHelp[0], boreHelp[1], boreHelp[2],
			`--json prints {"definition", "bore", "generic", "instrument", "key", "temperature_c", "humidity_percent", "sound_speed_m_s",
"a4_hz", "valves", "points": [{"frequency_hz", "magnitude", "real", "imaginary"}] (Pa s/m^3), "resonances" (as 'centwise aircolumn
resonances' has them), "note", "support" (null when unknown), "harmonics": [{"harmonic", "frequency_hz", "magnitude", "partial", "peak_hz",
"cents" (from the peak), "share"}]}. --csv prints the points.`,
			exitStatus(exitOK, exitFailed, exitUsage)),
		Example: `  centwise aircolumn impedance --note C5 --svg curve.svg
  centwise aircolumn impedance --bore bore.csv --valves 0 --from-hz 50 --to-hz 1200 --csv`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return orRun(runF, airImpedanceRun)(cmd.Context(), o)
		},
	}
	o.air.add(cmd)
	fs := cmd.Flags()
	fs.StringVar(&o.note, "note", "", "look up the harmonics of this written `NOTE`, as in C5")
	fs.Float64Var(&o.from, "from-hz", 0, "lowest frequency in `HZ` (default below the pedal)")
	fs.Float64Var(&o.to, "to-hz", 0, "highest frequency in `HZ` (default above partial 12)")
	fs.Float64Var(&o.step, "step-hz", 1, "step in `HZ`")
	o.pictures.add(cmd, "the curve")
	o.output.add(cmd)
	return cmd
}

func airImpedanceRun(_ context.Context, o *airImpedanceOptions) error {
	if err := o.pictures.check(); err != nil {
		return err
	}
	slot, err := o.slot()
	if err != nil {
		return err
	}
	c, err := o.air.take([]pitch.Valves{slot.Valves})
	if err != nil {
		return err
	}
	if len(c.valves) != 1 {
		return usagef("--valves 0", "a curve is of one fingering, and of one that the bore has loops for")
	}
	answer, err := o.answer(c, slot)
	if err != nil {
		return err
	}
	s := o.factory.Streams
	if err := o.pictures.write(s, func() show.Picture { return show.CurvePicture(answer) }); err != nil {
		return err
	}
	if err := o.output.table(s, o.table(answer), func() any { return answer }); err != nil {
		return err
	}
	c.say(s)
	if answer.Support != nil {
		s.Note("Harmonic support of %s: %.2f of 1. An index for comparing, not cents.", answer.Note, *answer.Support)
	}
	return nil
}

// slot is the note to look up; the zero partial for none.
func (o *airImpedanceOptions) slot() (pitch.Slot, error) {
	if o.note == "" {
		return pitch.Slot{}, nil
	}
	n, err := pitch.ParseNote(o.note)
	if err != nil {
		return pitch.Slot{}, usagef("--note C5", "--note: %v", err)
	}
	if o.air.valves != "" {
		v, err := pitch.ParseValves(o.air.valves)
		if err != nil {
			return pitch.Slot{}, usagef("--valves 0", "--valves: %v", err)
		}
		for _, s := range pitch.SlotsFor(n, 4) {
			if s.Valves == v {
				return s, nil
			}
		}
		return pitch.Slot{}, usagef("--note C5 --valves 0", "%s is not played on %s", n, v)
	}
	s, ok := pitch.UsualSlot(n, 3)
	if !ok {
		return s, usagef("--note C5", "%s has no usual fingering: use %s to %s", n, pitch.RangeLow, pitch.TopUsual)
	}
	return s, nil
}

// answer calculates the curve and what is on it.
func (o *airImpedanceOptions) answer(c *airColumn, slot pitch.Slot) (*aircolumn.CurveAnswer, error) {
	v := c.valves[0]
	peaks, err := c.model.Resonances([]pitch.Valves{v}, pitch.MaxPartial)
	if err != nil {
		return nil, err
	}
	from, to, err := o.span(peaks)
	if err != nil {
		return nil, err
	}
	a := &aircolumn.CurveAnswer{Definition: aircolumn.Definition, Subject: c.Subject, Valves: v.String(), Resonances: c.Lines(peaks), Harmonics: []aircolumn.Harmonic{}}
	if a.Points, err = c.model.Curve(v, from, to, o.step); err != nil {
		return nil, err
	}
	if slot.Partial == 0 {
		return a, nil
	}
	own, err := c.model.Peaks([]pitch.Slot{slot})
	if err != nil {
		return nil, err
	}
	a.Note, a.Harmonics = slot.Note().String(), c.model.Harmonics(own[0], peaks, to)
	if support, ok := tuning.SupportBy(slot, func(_ pitch.Slot, k int) (float64, bool) {
		if k > len(a.Harmonics) || a.Harmonics[k-1].PeakHz == 0 {
			return 0, false
		}
		return a.Harmonics[k-1].Share, true
	}); ok {
		a.Support = &support
	}
	return a, nil
}

// span is the range of the curve.
func (o *airImpedanceOptions) span(peaks []aircolumn.Resonance) (from, to float64, err error) {
	from, to = o.from, o.to
	if len(peaks) > 0 {
		if from == 0 {
			from = math.Floor(peaks[0].FrequencyHz / 2)
		}
		if to == 0 {
			to = math.Ceil(peaks[len(peaks)-1].FrequencyHz * 1.06)
		}
	}
	switch {
	case !(from >= 1 && to > from && to <= 20_000):
		return 0, 0, usagef("--from-hz 50 --to-hz 1500", "a curve from %g to %g Hz: give 1 to 20000, the lower first", from, to)
	case !(o.step > 0 && o.step <= to-from) || (to-from)/o.step >= curvePoints:
		return 0, 0, usagef("--step-hz 1", "--step-hz %g from %g to %g Hz makes no curve, or one of more than %d points", o.step, from, to, curvePoints)
	}
	return from, to, nil
}

// table is the curve for programs; people get what is on it.
func (o *airImpedanceOptions) table(a *aircolumn.CurveAnswer) *show.Table {
	switch {
	case !o.factory.Streams.Style.Terminal || o.output.csv:
		return show.CurveTable(a)
	case a.Note != "":
		return show.HarmonicTable(a)
	}
	return show.PeakTable(a.Resonances)
}
