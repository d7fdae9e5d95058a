package cli

import (
	"context"
	"slices"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/cmd/centwise/show"
	"centwise/match/aircolumn"
)

type airSensitivityOptions struct {
	factory *Factory
	air     airFlags
	every   float64
	output  outputFlags
}

// shownPartials are those that sensitivities are shown for.
var shownPartials = []int{2, 3, 4, 5, 6, 8}

func newAirSensitivityCmd(f *Factory, runF func(*airSensitivityOptions) error) *cobra.Command {
	o := &airSensitivityOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "sensitivity",
		Short: "Tell what a change of any dimension does to each note",
		Long: long(`For partials 2, 3, 4, 5, 6 and 8 of the fingerings in --valves (open, unless it says others), tell how many cents a
small change of each dimension moves the resonance: each part's length, each valve slide, and, stretch by stretch, the bore 1 %
wider. An invented instrument also has rim, cup, throat, backbore, leadpipe and bell by name. + is up.`,
			`They are derivatives (found by the adjoint of the line): a twentieth of the step does a twentieth, but several
millimetres need 'centwise adjust', which solves anew. From intonation alone throat, throat length and backbore can hardly be
told apart, nor rim, cup volume and length.`,
			boreHelp[0], boreHelp[1],
			`--json prints {"definition", "bore", "generic", "instrument", "key", "temperature_c", "humidity_percent", "sound_speed_m_s",
"a4_hz", "slots": [{"valves", "partial", "note", "frequency_hz", "cents", "q", "magnitude"}], "effects": [{"what", "step", "unit",
"from_mm", "to_mm" (both 0 where it is in no one place), "part", "cents": [one a slot]}]}; --csv prints a line an effect and slot.`,
			exitStatus(exitOK, exitFailed, exitUsage)),
		Example: `  centwise aircolumn sensitivity
  centwise aircolumn sensitivity --bore bore.csv --loops 180,88,283 --valves 0,123 --every-mm 100 --json`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return orRun(runF, airSensitivityRun)(cmd.Context(), o)
		},
	}
	o.air.add(cmd)
	cmd.Flags().Float64Var(&o.every, "every-mm", 50, "length of the stretches in `MM`")
	o.output.add(cmd)
	return cmd
}

func airSensitivityRun(_ context.Context, o *airSensitivityOptions) error {
	if !(o.every >= 1 && o.every <= 5000) {
		return usagef("--every-mm 50", "--every-mm %g is outside 1 to 5000", o.every)
	}
	c, err := o.air.take([]pitch.Valves{0})
	if err != nil {
		return err
	}
	answer, err := o.answer(c)
	if err != nil {
		return err
	}
	s := o.factory.Streams
	t := show.EffectTable(answer)
	if s.Style.Terminal && !o.output.csv {
		t = show.EffectMatrix(answer)
	}
	if err := o.output.table(s, t, func() any { return answer }); err != nil {
		return err
	}
	c.say(s)
	s.Note("Cents by valves/partial, + up, for the change named at the left.")
	s.Note("%s", cautionIrreversible)
	return nil
}

// answer works out the effects on those of the shown partials that have peaks.
func (o *airSensitivityOptions) answer(c *airColumn) (*aircolumn.EffectsAnswer, error) {
	peaks, err := c.model.Resonances(c.valves, slices.Max(shownPartials))
	if err != nil {
		return nil, err
	}
	peaks = slices.DeleteFunc(peaks, func(r aircolumn.Resonance) bool { return !slices.Contains(shownPartials, r.Slot.Partial) })
	if len(peaks) == 0 {
		return nil, catalog.Errorf(catalog.Invalid, "look at the curve: centwise aircolumn impedance", "the bore has no resonance for partials 2, 3, 4, 5, 6 and 8")
	}
	slots := make([]pitch.Slot, len(peaks))
	for i, r := range peaks {
		slots[i] = r.Slot
	}
	a := &aircolumn.EffectsAnswer{Definition: aircolumn.Definition, Subject: c.Subject, Slots: c.Lines(peaks)}
	if c.Generic {
		if a.Effects, err = c.setup.Effects(c.air, slots); err != nil {
			return nil, err
		}
	}
	along, err := c.in.Effects(c.air, slots, o.every)
	a.Effects = append(a.Effects, along...)
	return a, err
}

// cautionIrreversible is said where somebody might take a drill.
const cautionIrreversible = "Cutting and drilling can't be undone and is a repair technician's work: try slides, gap and another mouthpiece first, and measure before and after."
