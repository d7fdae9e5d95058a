package impedance

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"centwise/catalog"
	"centwise/catalog/pitch"
)

// rows writes lines of numbers 100, 110, ... Hz in the given form: frequency and,
// if wanted, a magnitude of ten times that.
func rows(form string, n int) string {
	var s strings.Builder
	for i := range n {
		f := 100 + 10*float64(i)
		values := []any{f, 10 * f}
		fmt.Fprintf(&s, form+"\n", values[:strings.Count(form, "%")]...)
	}
	return s.String()
}

// decimals writes them with a decimal comma.
func decimals(form string, n int) string { return strings.ReplaceAll(rows(form, n), ".", ",") }

func TestRead(t *testing.T) {
	const n = 12
	for name, c := range map[string]struct {
		text    string
		columns string // as understood
		first   float64
		height  float64 // of the first, in Unit
		unit    string
		scale   float64
		phase   bool
		remark  string
	}{
		"commas":             {"f (Hz),|Z| (MOhm)\n" + rows("%g,%g", n), "f:Hz,mag:MPa s/m3", 100, 1000, "MPa s/m3", 1e6, false, ""},
		"semicolons":         {"Frequency [kHz]; Magnitude [Pa s/m^3]\n" + rows("%.1fe-3; %.2f;", n), "f:kHz,mag:Pa s/m3", 100, 1000, "Pa s/m3", 1, false, ""},
		"decimal commas":     {"f/Hz;Z/(kg/(m4 s))\r\n" + strings.ReplaceAll(decimals("%.3f;%.2f", n), "\n", "\r\n"), "f:Hz,mag:Pa s/m3", 100, 1000, "Pa s/m3", 1, false, ""},
		"tabs, old Mac":      {"freq_hz\tmag\r" + strings.ReplaceAll(rows("%g\t%g", n), "\n", "\r"), "f:Hz,mag", 100, 1000, "", 0, false, "unit of the impedance is not said"},
		"spaces":             {"# lantern bay, 21 C\n#   f (Hz)    |Zin| (MOhm acoustic)\n" + rows("  %8.2f   %e", n), "f:Hz,mag:MPa s/m3", 100, 1000, "MPa s/m3", 1e6, false, ""},
		"spaces and commas":  {"% Hz  MPa·s·m⁻³\n" + decimals("%.1f %.1f", n), "f:Hz,mag:MPa s/m3", 100, 1000, "MPa s/m3", 1e6, false, ""},
		"quoted":             {"\"f (Hz)\",\"|Z| (MOhm)\"\n" + decimals(`"%.1f","%.1f"`, n), "f:Hz,mag:MPa s/m3", 100, 1000, "MPa s/m3", 1e6, false, ""},
		"units in a line":    {"\ufeffFrequency,Magnitude\nHz,Mohm\n" + rows("%g,%g", n), "f:Hz,mag:MPa s/m3", 100, 1000, "MPa s/m3", 1e6, false, ""},
		"no header":          {rows("%g %g", n), "f:Hz,mag", 100, 1000, "", 0, false, "no header says"},
		"no header, kHz":     {"0.1 5\n0.2 5\n0.3 6\n0.4 5\n0.5 5\n0.6 5\n0.7 5\n0.8 5\n0.9 5\n1.0 5\n", "f:kHz,mag", 100, 5, "", 0, false, "taken for kHz"},
		"downwards":          {"f,|Z|\n1000,7\n900,6\n800,6\n700,6\n600,6\n500,6\n400,6\n300,6\n200,6\n100,5\n", "f:Hz,mag", 100, 5, "", 0, false, "taken for Hz"},
		"from frequency 0":   {"f (Hz),Z (cgs ohm)\n0,0\n" + rows("%g,%g", n), "f:Hz,mag:dyn s/cm5", 100, 1000, "dyn s/cm5", 1e5, false, "1 line at frequency 0"},
		"from below 1 Hz":    {"f (Hz),|Z| (MOhm)\n0.25,9\n0.5,9\n" + rows("%g,%g", n), "f:Hz,mag:MPa s/m3", 100, 1000, "MPa s/m3", 1e6, false, "2 points below 1 Hz"},
		"decibels":           {"f (Hz), |Z| (dB)\n" + rows("%g, 20", n), "f:Hz,mag:dB", 100, 10, "", 0, false, ""},
		"decibels of a unit": {"f (Hz); |Z| in dB re 1 MOhm\n" + rows("%g; 40", n), "f:Hz,mag:dB re 1 MPa s/m3", 100, 100, "MPa s/m3", 1e6, false, ""},
		"below nought":       {"f (Hz), |Z|\n" + rows("%g, -20", n), "f:Hz,mag:dB", 100, 0.1, "", 0, false, "taken for dB"},
		"parts":              {"f (Hz),Re(Z) (MOhm),Im(Z) (MOhm)\n" + rows("%g,3,-4", n), "f:Hz,re:MPa s/m3,im:MPa s/m3", 100, 5, "MPa s/m3", 1e6, true, ""},
		"unit of one part":   {"f (Hz),real (MOhm),imag\n" + rows("%g,3,-4", n), "f:Hz,re:MPa s/m3,im:MPa s/m3", 100, 5, "MPa s/m3", 1e6, true, ""},
		"phase in degrees":   {"f (Hz) |Z| (MOhm) phase (deg)\n" + rows("%g %g 90", n), "f:Hz,mag:MPa s/m3,phase:degrees", 100, 1000, "MPa s/m3", 1e6, true, ""},
		"phase, not said":    {"f (Hz) |Z| (MOhm) phase\n" + rows("%g %g -75", n), "f:Hz,mag:MPa s/m3,phase:degrees", 100, 1000, "MPa s/m3", 1e6, true, "taken for degrees"},
		"a column more":      {"no,f (Hz),|Z| (MOhm)\n" + rows("7,%g,%g", n), "-,f:Hz,mag:MPa s/m3", 100, 1000, "MPa s/m3", 1e6, false, ""},
		"angular frequency":  {"omega,|Z| (Pa s/m3)\n" + rows("%g,%g", n), "f:rad/s,mag:Pa s/m3", 100 / (2 * math.Pi), 1000, "Pa s/m3", 1, false, ""},
		"comments between":   {"f (Hz),|Z| (MOhm)\n" + rows("%g,%g", n) + "// half\n" + "990,3\n\n# end\n", "f:Hz,mag:MPa s/m3", 100, 1000, "MPa s/m3", 1e6, false, ""},
	} {
		got, err := Read("x.txt", strings.NewReader(c.text), nil)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if got.Columns != c.columns || !close(got.Hz[0], c.first) || !close(got.Magnitude[0], c.height) || got.Unit != c.unit || got.PaSPerM3 != c.scale {
			t.Errorf("%s: columns %s, %g Hz, %g %q of %g; want %+v", name, got.Columns, got.Hz[0], got.Magnitude[0], got.Unit, got.PaSPerM3, c)
		}
		if remarks := strings.Join(got.Remarks, "; "); c.remark == "" && remarks != "" || !strings.Contains(remarks, c.remark) {
			t.Errorf("%s: remarks %q, want %q", name, remarks, c.remark)
		}
		if (got.Z != nil) != c.phase || len(got.Hz) < 10 || !slices.IsSorted(got.Hz) {
			t.Errorf("%s: %d points, phase %v", name, len(got.Hz), got.Z != nil)
		}
	}
}

func close(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Abs(b) }

// The phase turns the magnitude: 90 degrees is a mass.
func TestReadPhase(t *testing.T) {
	c := mustRead(t, "f (Hz) |Z| (MOhm) phase (deg)\n"+rows("%g %g 90", 12))
	if z := c.Z[2]; math.Abs(real(z)) > 1e-9 || !close(imag(z), 1200) {
		t.Errorf("1200 at 90 degrees is %v", z)
	}
}

func TestReadWithColumns(t *testing.T) {
	text := "x;y;z\n" + rows("%g;7;%g", 12)
	columns, err := ParseColumns("f, -, mag:dB re 1 ohm")
	if err != nil {
		t.Fatal(err)
	}
	c, err := Read("x.txt", strings.NewReader(strings.Replace(text, "1000", "40", 1)), columns)
	if err == nil { // 1100 dB is no level
		t.Errorf("read %v", c.Magnitude)
	}
	if columns, err = ParseColumns("f:kHz,-,mag:MOhm"); err != nil {
		t.Fatal(err)
	}
	c, err = Read("x.txt", strings.NewReader(strings.ReplaceAll(text, "00;7", ";7")), columns)
	if err == nil {
		t.Errorf("read frequencies %v that turn back", c.Hz)
	}
	if columns, err = ParseColumns("f:Hz,-,mag:MOhm"); err != nil {
		t.Fatal(err)
	}
	c, err = Read("x.txt", strings.NewReader(text), columns)
	if err != nil || c.Hz[1] != 110 || c.Magnitude[1] != 1100 || c.PaSPerM3 != 1e6 {
		t.Errorf("read %+v, %v", c, err)
	}
	for text, part := range map[string]string{
		"f,mug": `"mug" is not the name of a column`, "f": "no column is the impedance", "mag": "no column is the frequency", "f,re": "of re and im one is missing",
		"f,f,mag": "two columns are f", "f:m,mag": `"m" is not a unit`, "f:dB,mag": "dB is no unit of the column f", "": `"" is not the name`,
	} {
		if _, err := ParseColumns(text); err == nil || !strings.Contains(err.Error(), part) {
			t.Errorf("columns %q: %v, want %s", text, err, part)
		}
	}
}

func TestReadRefuses(t *testing.T) {
	head := "f (Hz),|Z| (MOhm)\n"
	ten := rows("%g,%g", 12)
	for name, c := range map[string]struct{ text, want string }{
		"empty":                {" \n\t\n", "x.txt: is empty"},
		"binary":               {"RIFF\x00\x01\x02", "is not a text file"},
		"UTF-16":               {"\xff\xfef\x00", "UTF-16"},
		"words":                {"dear all,\nwe measured nothing\n", "no lines of numbers are found"},
		"one column":           {"100\n110\n120\n", "x.txt:1: no lines of numbers"},
		"few points":           {head + rows("%g,%g", 5), "has only 5 points"},
		"a word among numbers": {head + ten + "990,loud\n", `x.txt:14: "loud" is not a number`},
		"not finite":           {head + ten + "990,NaN\n", `x.txt:14: "NaN" is not a finite number`},
		"too large":            {head + ten + "990,1e999\n", "is not a finite number"},
		"a cell missing":       {head + ten + "990\n", "x.txt:14: has 1 column where others have 2"},
		"turns back":           {head + ten + "150,3\n", "x.txt:14: the frequencies turn back from 210 to 150 Hz"},
		"twice":                {head + ten + "210,3\n", "x.txt:14: the frequency is that of the line before"},
		"far too low":          {head + rows("%ge-4,%g", 12), "has only 0 points above 1 Hz"},
		"below nought":         {head + "-5,3\n" + ten, "x.txt:2: the frequency is -5 Hz"},
		"negative magnitude":   {head + ten + "990,-3\n", "x.txt:14: the magnitude is -3"},
		"all nought":           {head + rows("%g,0", 12), "the impedance is 0 everywhere"},
		"far too loud":         {"f (Hz),|Z| (dB)\n" + ten, "the level is 1100 dB"},
		"columns unknown":      {rows("%g,%g,1", 12), "has 3 columns, and no header says what they are"},
		"one part":             {"f (Hz),Re(Z)\n" + ten, "of re and im one is missing"},
		"parts in dB":          {"f (Hz),re (dB),im (dB)\n" + rows("%g,%g,1", 12), "can't be in dB and dB"},
		"parts in two units":   {"f (Hz),re (MOhm),im (Pa s/m3)\n" + rows("%g,%g,1", 12), "can't be in"},
		"a long line":          {head + ten + strings.Repeat("9", 5000) + "\n", "x.txt:14: is longer than"},
		"thousands":            {head + ten + "\"1,000.5\",3\n", "is not a number"},
	} {
		_, err := Read("x.txt", strings.NewReader(c.text), nil)
		if err == nil || catalog.KindOf(err) != catalog.Invalid || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %s", name, err, c.want)
		}
		if domain := (*catalog.Error)(nil); errors.As(err, &domain) && domain.Hint == "" {
			t.Errorf("%s: no word on what to do", name)
		}
	}
}

type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, errors.New("the disk is gone") }

func TestReadPassesOnErrors(t *testing.T) {
	if _, err := Read("x.txt", io.MultiReader(strings.NewReader("1 2\n"), broken{}), nil); err == nil || !strings.Contains(err.Error(), "the disk is gone") {
		t.Errorf("%v", err)
	}
	if _, err := Read("x.txt", strings.NewReader(strings.Repeat("#", maxBytes+1)), nil); err == nil || !strings.Contains(err.Error(), "larger than 64 MB") {
		t.Errorf("%v", err)
	}
}

// However a curve is written, the same comes back.
func TestFormsAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(10, 40).Draw(t, "points")
		hz, m := make([]float64, n), make([]float64, n)
		at := 60.0
		for i := range hz {
			at += math.Round(1000*rapid.Float64Range(0.01, 20).Draw(t, "step")) / 1000
			hz[i], m[i] = at, math.Round(1000*rapid.Float64Range(0.01, 500).Draw(t, "height"))/1000
		}
		separator := rapid.SampledFrom([]string{",", ";", "\t", " ", "  ", " ; ", ", "}).Draw(t, "separator")
		comma := !strings.Contains(separator, ",") && rapid.Bool().Draw(t, "decimal comma")
		lines := []string{"Frequency (Hz)" + separator + "|Z| (MOhm)"}
		for i := range hz {
			line := fmt.Sprintf("%.3f%s%.3f", hz[i], "\x01", m[i])
			if comma {
				line = strings.ReplaceAll(line, ".", ",")
			}
			lines = append(lines, strings.ReplaceAll(line, "\x01", separator))
		}
		if rapid.Bool().Draw(t, "downwards") {
			slices.Reverse(lines[1:])
		}
		c, err := Read("x", strings.NewReader(strings.Join(lines, "\n")), nil)
		if err != nil {
			t.Fatal(err)
		}
		if c.Columns != "f:Hz,mag:MPa s/m3" || len(c.Hz) != n {
			t.Fatalf("columns %s, %d of %d points", c.Columns, len(c.Hz), n)
		}
		for i := range hz {
			if math.Abs(c.Hz[i]-hz[i]) > 1e-6 || math.Abs(c.Magnitude[i]-m[i]) > 1e-9 {
				t.Fatalf("point %d is %g, %g; was %g, %g", i, c.Hz[i], c.Magnitude[i], hz[i], m[i])
			}
		}
	})
}

// Whatever a file holds, it is read or refused with a reason, and what is found
// in it is finite and in order.
func FuzzRead(f *testing.F) {
	b := lanternTrumpet(0)
	hz := grid(200, 500, 5)
	z := b.sweep(hz, 0.01, 1)
	f.Add([]byte(asMagnitude(hz, z)), "")
	f.Add([]byte(asComplex(hz, z)), "f,re,im")
	f.Add([]byte("\ufefff/Hz;|Z|/dB\r"+strings.ReplaceAll(decimals("%.1f;-3,25", 12), "\n", "\r")), "")
	f.Add([]byte("% Hz  MPa·s·m⁻³ deg\n"+rows("%g %g 1e-3", 12)), "f:kHz,mag:dB,phase")
	f.Add([]byte("1e-300,1e300\n2e-300,1e-300\n\"\",\n"+rows("%g,%g", 12)), "f,-")
	f.Fuzz(func(t *testing.T, content []byte, columns string) {
		var said []Column
		if columns != "" {
			var err error
			if said, err = ParseColumns(columns); err != nil {
				return
			}
		}
		c, err := Read("x", bytes.NewReader(content), said)
		if err != nil {
			if catalog.KindOf(err) != catalog.Invalid || err.Error() == "" {
				t.Fatalf("refused without a reason: %v", err)
			}
			return
		}
		found, _, _ := c.Resonances()
		last := 0.0
		for _, r := range found {
			if !(r.Hz > last) || math.IsInf(r.Hz, 0) || !(r.SD >= 0) || !(r.Q >= leastQ) || !(r.Height >= 0) || math.IsInf(r.Height, 0) {
				t.Fatalf("found %+v after %g Hz", r, last)
			}
			last = r.Hz
		}
		n := Number(found, Fingering{A4Hz: 440, Transposition: -2, LowestHz: c.Hz[0]})
		before := 0
		for _, p := range n.Partials {
			if p < 0 || p > HighestNumbered || p > 0 && p <= before {
				t.Fatalf("partials %v", n.Partials)
			}
			before = max(before, p)
		}
		c.At()(pitch.Shift(c.Hz[0], 1))
	})
}

// What is inferred of one file says nothing of the next one that is read with
// the same columns.
func TestColumnsAreNotTheFilesOwn(t *testing.T) {
	columns, err := ParseColumns("f,mag")
	if err != nil {
		t.Fatal(err)
	}
	hz, err := Read("hz", strings.NewReader(rows("%g,%g", 12)), columns)
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	for i := range 12 {
		fmt.Fprintf(&text, "%g,%g\n", 0.1+0.01*float64(i), -10.0)
	}
	khz, err := Read("khz", strings.NewReader(text.String()), columns)
	if err != nil {
		t.Fatal(err)
	}
	if hz.Hz[0] != 100 || khz.Hz[0] != 100 || len(khz.Remarks) != 2 || columns[0].String() != "f" {
		t.Errorf("read %v Hz and %v Hz with remarks %q; the columns became %v", hz.Hz[0], khz.Hz[0], khz.Remarks, columns)
	}
}

// The same file is refused in the same words each time: which number of columns
// is the usual one does not depend on the order of a map.
func TestRefusesAlike(t *testing.T) {
	text := rows("%g,%g", 6) + rows("%g,%g,1", 6)
	_, first := Read("x", strings.NewReader(text), nil)
	for range 50 {
		if _, err := Read("x", strings.NewReader(text), nil); err == nil || err.Error() != first.Error() {
			t.Fatalf("once %v, then %v", first, err)
		}
	}
}
