package cli

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog/pitch"
	"centwise/cmd/centwise/show"
	"centwise/match/aircolumn"
)

type airResonancesOptions struct {
	factory  *Factory
	air      airFlags
	partials int
	output   outputFlags
}

// usualFingerings are the seven combinations in use, from the shortest on.
var usualFingerings = slices.DeleteFunc(slices.Clone(pitch.ThreeValveCombinations), func(v pitch.Valves) bool { return v.String() == "3" })

func newAirResonancesCmd(f *Factory, runF func(*airResonancesOptions) error) *cobra.Command {
	o := &airResonancesOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "resonances",
		Short: "List the resonances of a bore by fingering and partial",
		Long: long(`List where the air column resonates, found to 0.01 cent: partials 1 (the pedal) to --partials of each fingering.
Cents are from the equal-tempered note that the slot is used for. Q is that of the single resonance whose peak is as sharply
curved. Partials are numbered by counting half waves: where a peak is missing, its number is left out and said.`,
			boreHelp[0], boreHelp[1], boreHelp[2],
			`--json prints {"definition", "q_definition", "bore", "generic", "instrument", "key", "temperature_c",
"humidity_percent", "sound_speed_m_s", "a4_hz", "resonances": [{"valves", "partial", "note", "frequency_hz", "cents", "q",
"magnitude" (|Zin| in Pa s/m^3)}], "missing": [{"valves", "partial"}]}; --csv prints the resonances.`,
			exitStatus(exitOK, exitFailed, exitUsage)),
		Example: `  centwise aircolumn resonances --bore bore.csv --valves 0,2,1,12,23,13,123 --loops 180,88,283 --temperature-c 25 --json
  centwise aircolumn resonances --instrument cornet --key Eb --valves 0`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return orRun(runF, airResonancesRun)(cmd.Context(), o)
		},
	}
	o.air.add(cmd)
	cmd.Flags().IntVar(&o.partials, "partials", 10, fmt.Sprintf("list up to this `NUMBER`, %d at most", pitch.MaxPartial))
	o.output.add(cmd)
	return cmd
}

func airResonancesRun(_ context.Context, o *airResonancesOptions) error {
	if o.partials < 1 || o.partials > pitch.MaxPartial {
		return usagef("--partials 10", "--partials %d is outside 1 to %d", o.partials, pitch.MaxPartial)
	}
	c, err := o.air.take(usualFingerings)
	if err != nil {
		return err
	}
	found, err := c.model.Resonances(c.valves, o.partials)
	if err != nil {
		return err
	}
	lines, missing := c.Lines(found), c.missing(found, o.partials)
	s := o.factory.Streams
	t := show.PeakTable(lines)
	if s.Style.Terminal && len(c.valves) > 1 && !o.output.csv {
		t = show.PeakMatrix(lines, o.partials)
	}
	if err := o.output.table(s, t, func() any {
		return struct {
			Definition  string `json:"definition"`
			QDefinition string `json:"q_definition"`
			aircolumn.Subject
			Resonances []aircolumn.PeakLine `json:"resonances"`
			Missing    []missingPeak        `json:"missing"`
		}{aircolumn.Definition, aircolumn.QDefinition, c.Subject, lines, missing}
	}); err != nil {
		return err
	}
	c.say(s)
	sayMissing(s, missing)
	c.sayLevel(s, lines)
	return nil
}

type missingPeak struct {
	Valves  string `json:"valves"`
	Partial int    `json:"partial"`
}

// missing lists the partials that have no peak.
func (c *airColumn) missing(found []aircolumn.Resonance, partials int) []missingPeak {
	have := map[pitch.Slot]bool{}
	for _, r := range found {
		have[r.Slot] = true
	}
	out := []missingPeak{}
	for _, v := range c.valves {
		for p := 1; p <= partials; p++ {
			if !have[pitch.Slot{Valves: v, Partial: p}] {
				out = append(out, missingPeak{v.String(), p})
			}
		}
	}
	return out
}

func sayMissing(s *Streams, missing []missingPeak) {
	if len(missing) == 0 {
		return
	}
	var names []string
	for _, m := range missing {
		names = append(names, fmt.Sprintf("%s/%d", m.Valves, m.Partial))
	}
	s.Note("No peak where these would be (fingering/partial): %s.", strings.Join(names, ", "))
}

// sayLevel says when a bore lies a semitone or more beside its key: then cents
// are from other notes than are meant.
func (c *airColumn) sayLevel(s *Streams, lines []aircolumn.PeakLine) {
	sum, n := 0.0, 0
	for _, l := range lines {
		if l.Partial >= 3 && l.Partial <= 6 {
			sum += l.Cents
			n++
		}
	}
	if n == 0 {
		return
	}
	if semitones := math.Round(sum / float64(n) / 100); semitones != 0 {
		s.Note("On the whole the bore lies %.0f semitones %s an instrument in %s: --key says which key it is in.", math.Abs(semitones), aboveOrBelow(semitones), c.Key)
	}
}

func aboveOrBelow(x float64) string {
	if x > 0 {
		return "above"
	}
	return "below"
}

func airBoreRun(_ context.Context, o *airBoreOptions) error {
	horn, err := o.air.horn()
	if err != nil {
		return err
	}
	setup, err := aircolumn.Generic(horn.Instrument, horn.Key)
	if err != nil {
		return err
	}
	s := o.factory.Streams
	in := setup.Instrument()
	if err := in.Bore.WriteCSV(s.Out); err != nil {
		return err
	}
	s.Note("An invented %s in %s, of no maker. Its valves add --loops %.1f,%.1f,%.1f.", horn.Instrument, horn.Key, in.Loops[0], in.Loops[1], in.Loops[2])
	return nil
}
