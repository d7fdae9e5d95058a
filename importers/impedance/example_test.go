package impedance

import (
	"flag"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"centwise/catalog/pitch"
)

var update = flag.Bool("update", false, "write the example curves anew")

// examples are the curves of testdata/impedance, calculated for the invented
// trumpet with what each valve adds, mm of tube, and noise of 0.4 %. Between them
// they have the usual ways to write a curve.
var examples = []struct {
	file  string
	addMM float64
	seed  uint64
	write func(hz []float64, z []complex128) string
}{
	{"open.csv", 0, 1, asMagnitude},
	{"open-again.csv", 0, 2, asMagnitude},
	{"valve2.txt", 88, 3, asComplex},
	{"valve1.csv", 181, 4, inDecibels},
	{"valves12.dat", 269, 5, inColumns},
}

// inDecibels writes kHz and dB, semicolons and decimal commas.
func inDecibels(hz []float64, z []complex128) string {
	var s strings.Builder
	s.WriteString("Frequency (kHz);|Z| (dB re 1 MOhm)\r\n")
	for i, f := range hz {
		fmt.Fprintf(&s, "%.4f;%.3f\r\n", f/1000, 20*math.Log10(cmplx.Abs(z[i])/1e6))
	}
	return strings.ReplaceAll(s.String(), ".", ",")
}

// inColumns writes columns of spaces below comments, with the phase.
func inColumns(hz []float64, z []complex128) string {
	var s strings.Builder
	s.WriteString("# Invented: Alder with Plover 16.2, valves 1 and 2\n# f (Hz)    |Z| (Pa s/m3)   phase (deg)\n")
	for i, f := range hz {
		fmt.Fprintf(&s, "%8.2f   %.5e   %8.3f\n", f, cmplx.Abs(z[i]), cmplx.Phase(z[i])*180/math.Pi)
	}
	return s.String()
}

func exampleFile(name string) string {
	return filepath.Join("..", "..", "testdata", "impedance", name)
}

// The example curves have the resonances of the bore that they were calculated
// for, within four standard errors.
func TestExamples(t *testing.T) {
	for _, e := range examples {
		b := lanternTrumpet(e.addMM)
		if *update {
			hz := grid(50, 1300, 2)
			if err := os.WriteFile(exampleFile(e.file), []byte(e.write(hz, b.sweep(hz, 0.004, e.seed))), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		text, err := os.ReadFile(exampleFile(e.file))
		if err != nil {
			t.Fatal(err)
		}
		c := mustRead(t, string(text))
		found, rejected, _ := c.Resonances()
		hz, _ := b.tops(60, 1100)
		if len(found) < len(hz) || len(rejected) > 0 {
			t.Errorf("%s: found %d of %d, rejected %v", e.file, len(found), len(hz), rejected)
			continue
		}
		for i := range hz {
			if d := pitch.Cents(found[i].Hz, hz[i]); math.Abs(d) > 0.1+4*found[i].SD || found[i].SD > 3 {
				t.Errorf("%s: %.2f Hz is %.2f cents off, standard error %.2f", e.file, found[i].Hz, d, found[i].SD)
			}
		}
		if c.PaSPerM3 == 0 {
			t.Errorf("%s: unit %q", e.file, c.Unit)
		}
	}
}
