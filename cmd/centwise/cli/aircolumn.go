package cli

import (
	"cmp"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"centwise/catalog"
	"centwise/catalog/pitch"
	"centwise/cmd/centwise/show"
	"centwise/match/aircolumn"
)

func newAirColumnCmd(f *Factory) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "aircolumn",
		Short: "Calculate resonances from a bore",
		Long: long(`Calculate, from the bore of a horn with its mouthpiece, where the air column resonates, its input impedance,
and what a change of any dimension does to each note. A resonance is a maximum of |Zin| at the rim plane.`,
			boreHelp[0], boreHelp[1], boreHelp[2]),
		Example: `  centwise aircolumn resonances --bore bore.csv --loops 180,88,283
  centwise aircolumn impedance --note C5 --svg curve.svg
  centwise aircolumn sensitivity --bore bore.csv`,
	}
	asGroup(cmd)
	cmd.AddCommand(newAirResonancesCmd(f, nil), newAirImpedanceCmd(f, nil), newAirSensitivityCmd(f, nil), newAirBoreCmd(f, nil))
	return cmd
}

// boreHelp is what the help of these commands says of bores.
var boreHelp = []string{
	`--bore FILE describes the bore: a line "x_mm,diameter_mm,part" first, then a line a point, x along the axis from the
rim plane on; part is mouthpiece, leadpipe, tube or bell. Walls are straight from point to point and belong to the part of the
point they lead to; two points with one x are a step. A bell needs 80 points or so, closer together towards its mouth.
--loops gives the path, in mm, that valves 1, 2 and 3 add: cylinders at the end of the part tube.`,
	`Without --bore an invented instrument answers, of no maker: a trumpet in Bb, or what --instrument and --key say.
'centwise aircolumn bore' writes its bore as such a file, to start from.`,
	`Compare differences only: playing lies some 10 to 20 cents above these peaks, and plane waves in smooth walls err by
2 cents or so, much the same in all instruments.`,
}

// airFlags say what bore is asked about and what air is in it.
type airFlags struct {
	bore        string
	loops       string
	instrument  string
	key         string
	valves      string
	temperature float64
	humidity    float64 // per cent
	a4          float64
}

func (a *airFlags) add(cmd *cobra.Command) {
	fs := cmd.Flags()
	a.addInstrument(cmd)
	fs.StringVar(&a.bore, "bore", "", "bore of the horn with its mouthpiece, from `FILE`")
	fs.StringVar(&a.loops, "loops", "", "`MM` that valves 1, 2 and 3 add to the path, as in 180,88,283")
	fs.StringVar(&a.valves, "valves", "", "`FINGERINGS` to answer for, as in 0,2,1,12")
	fs.Float64Var(&a.temperature, "temperature-c", aircolumn.DefaultTemperatureC, "`DEGREES` Celsius of the air in the instrument")
	fs.Float64Var(&a.humidity, "humidity", 100*aircolumn.DefaultHumidity, "relative humidity in `PERCENT`; 0 is dry air")
	fs.Float64Var(&a.a4, "a4-hz", catalog.DefaultA4Hz, "`HZ` of the A that cents are from")
}

func (a *airFlags) addInstrument(cmd *cobra.Command) {
	fs := cmd.Flags()
	fs.StringVar(&a.instrument, "instrument", "", "kind: `WORD` trumpet, cornet, flugelhorn or piccolo")
	fs.StringVar(&a.key, "key", "", "`KEY` that the instrument stands in (default Bb)")
}

// airColumn is an instrument filled with air, and what answers say of it.
type airColumn struct {
	aircolumn.Subject
	setup  aircolumn.Setup // of the invented instrument, if that it is
	in     aircolumn.Instrument
	air    aircolumn.Air
	model  *aircolumn.Model
	valves []pitch.Valves
}

// take reads the flags and the bore. usual are the fingerings to answer for
// unless --valves says otherwise; those that the instrument has no loops for are
// left out.
func (a *airFlags) take(usual []pitch.Valves) (*airColumn, error) {
	horn, err := a.horn()
	if err != nil {
		return nil, err
	}
	c := &airColumn{Subject: aircolumn.Subject{
		Instrument: horn.Instrument, Key: horn.Key, TemperatureC: a.temperature, HumidityPercent: a.humidity, A4Hz: a.a4,
		Transposition: horn.Transposition(),
	}}
	if c.air, err = a.airIn(); err != nil {
		return nil, err
	}
	c.SpeedMS = c.air.SpeedMS
	if err := a.open(c); err != nil {
		return nil, err
	}
	if c.model, err = aircolumn.New(c.in, c.air); err != nil {
		return nil, err
	}
	c.valves, err = a.fingerings(usual, c.in.Loops)
	return c, err
}

// horn is the kind and key that the flags name.
func (a *airFlags) horn() (catalog.Horn, error) {
	kind, err := oneOf("instrument", a.instrument, catalog.Instruments)
	if err != nil {
		return catalog.Horn{}, err
	}
	h := catalog.Horn{Instrument: cmp.Or(kind, catalog.Trumpet), Key: pitch.KeyBb}
	if a.key != "" {
		if h.Key, err = pitch.ParseKey(a.key); err != nil {
			return h, usagef("--key Bb", "--key: %v", err)
		}
	}
	return h, nil
}

func (a *airFlags) airIn() (aircolumn.Air, error) {
	if a.humidity > 0 && a.humidity < 1 {
		return aircolumn.Air{}, usagef("--humidity 50", "--humidity %g is less than one per cent: give the relative humidity in per cent", a.humidity)
	}
	if !(a.a4 >= 300 && a.a4 <= 600) {
		return aircolumn.Air{}, usagef("--a4-hz 440", "--a4-hz %g is outside 300 to 600 Hz", a.a4)
	}
	air, err := aircolumn.MoistAir(a.temperature, a.humidity/100)
	if err != nil {
		return air, usagef("--temperature-c 25 --humidity 50", "%v", err)
	}
	return air, nil
}

// open reads the bore, or invents one.
func (a *airFlags) open(c *airColumn) error {
	if a.bore == "" {
		if a.loops != "" {
			return usagef("--bore bore.csv --loops 180,88,283", "--loops needs --bore: the invented instrument has its own")
		}
		var err error
		if c.setup, err = aircolumn.Generic(c.Instrument, c.Key); err != nil {
			return err
		}
		c.in, c.Generic, c.Bore = c.setup.Instrument(), true, fmt.Sprintf("an invented %s in %s", c.Instrument, c.Key)
		return nil
	}
	file, err := os.Open(a.bore)
	if err != nil {
		return catalog.Errorf(catalog.NotFound, "give a file with the columns x_mm, diameter_mm, part", "can't read the bore: %v", err)
	}
	defer file.Close()
	if c.in.Bore, err = aircolumn.ReadBore(file); err != nil {
		return fmt.Errorf("%s: %w", a.bore, err)
	}
	c.Bore = filepath.Base(a.bore)
	c.in.Loops, err = parseLoops(a.loops)
	return err
}

func parseLoops(text string) (loops aircolumn.Loops, err error) {
	if text == "" {
		return loops, nil
	}
	parts := strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ';' || r == ' ' })
	if len(parts) == 0 || len(parts) > len(loops) {
		return loops, usagef("--loops 180,88,283", "--loops %q: give a length for valves 1, 2 and 3, with commas between", text)
	}
	for i, part := range parts {
		v, err := strconv.ParseFloat(strings.TrimSuffix(part, "mm"), 64)
		if err != nil || math.IsNaN(v) || v < 0 || v > 5000 {
			return loops, usagef("--loops 180,88,283", "--loops: %q is no length in mm", part)
		}
		loops[i] = v
	}
	return loops, nil
}

// fingerings reads --valves, or gives those of the usual ones that there are
// loops for.
func (a *airFlags) fingerings(usual []pitch.Valves, loops aircolumn.Loops) ([]pitch.Valves, error) {
	if a.valves == "" {
		return slices.DeleteFunc(slices.Clone(usual), func(v pitch.Valves) bool { return unknownLoop(v, loops) > 0 }), nil
	}
	var out []pitch.Valves
	for _, text := range strings.FieldsFunc(a.valves, func(r rune) bool { return r == ',' || r == ';' || r == ' ' }) {
		v, err := pitch.ParseValves(text)
		if err != nil {
			return nil, usagef("--valves 0,2,1,12", "--valves: %v", err)
		}
		if i := unknownLoop(v, loops); i > 0 {
			return nil, usagef("--loops 180,88,283", "fingering %s uses valve %d, and nothing is known of its loop", v, i)
		}
		if !slices.Contains(out, v) {
			out = append(out, v)
		}
	}
	if len(out) == 0 {
		return nil, usagef("--valves 0,2,1,12", "--valves names no fingering")
	}
	return out, nil
}

// unknownLoop is the first valve of a fingering that has no loop, 0 for none.
func unknownLoop(v pitch.Valves, loops aircolumn.Loops) int {
	for i, l := range loops {
		if v.Uses(i+1) && l == 0 {
			return i + 1
		}
	}
	return 0
}

// say tells, beside the data, what was modelled.
func (c *airColumn) say(s *Streams) {
	s.Note("%s", show.SubjectSentence(c.Subject))
	if c.Generic {
		s.Note("It is invented, of no maker, and stands for none: --bore FILE describes your own.")
	}
}

type airBoreOptions struct {
	factory *Factory
	air     airFlags
}

func newAirBoreCmd(f *Factory, runF func(*airBoreOptions) error) *cobra.Command {
	o := &airBoreOptions{factory: f}
	cmd := &cobra.Command{
		Use:   "bore",
		Short: "Print the bore of an invented instrument, to start from",
		Long: long(`Print the bore of an invented instrument, of no maker, as a bore file that the other commands read with --bore.
It is a start for describing your own: replace what you have measured. The lengths of its valve loops are said on standard
error.`,
			exitStatus(exitOK, exitUsage)),
		Example: `  centwise aircolumn bore > bore.csv
  centwise aircolumn bore --instrument cornet --key Eb > cornet.csv`,
		Args: args(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return orRun(runF, airBoreRun)(cmd.Context(), o)
		},
	}
	o.air.addInstrument(cmd)
	return cmd
}
