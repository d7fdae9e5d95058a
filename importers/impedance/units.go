package impedance

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
)

// Quantity is what a column holds.
type Quantity int

// What columns hold.
const (
	Unused Quantity = iota
	Frequency
	Magnitude
	Real
	Imaginary
	Phase
)

var quantityNames = map[Quantity]string{Unused: "-", Frequency: "f", Magnitude: "mag", Real: "re", Imaginary: "im", Phase: "phase"}

func (q Quantity) String() string { return quantityNames[q] }

// unit is what a number has to be multiplied with to be in Hz, Pa s/m3 or
// radians.
type unit struct {
	name  string
	of    Quantity // Frequency, Magnitude (Real and Imaginary too) or Phase
	scale float64  // 0: not known
	dB    bool
}

// unitSpellings are units as they are written, in the form of [folded]. A bare
// ohm is taken for the acoustic ohm of the International System, 1 Pa s/m3; that
// of the centimetre-gram-second system, 1 dyn s/cm5, is 1e5 of it.
var unitSpellings = sync.OnceValue(func() map[string]unit {
	table := map[string]unit{}
	add := func(u unit, spellings ...string) {
		for _, s := range spellings {
			table[folded(s)] = u
		}
	}
	add(unit{"Hz", Frequency, 1, false}, "Hz", "1/s", "s-1", "hertz")
	add(unit{"kHz", Frequency, 1e3, false}, "kHz", "kilohertz")
	add(unit{"rad/s", Frequency, 1 / (2 * math.Pi), false}, "rad/s", "rads-1", "1/s rad")
	for prefix, factor := range map[string]float64{"": 1, "k": 1e3, "M": 1e6, "G": 1e9} {
		add(unit{prefix + "Pa s/m3", Magnitude, factor, false}, prefix+"Pa s/m3", prefix+"Pa s m-3", prefix+"Pas/m^3", prefix+"Pa/(m3/s)", prefix+"Pa/m3/s",
			prefix+"N s/m5", prefix+"N s m-5", prefix+"kg/(m4 s)", prefix+"kg/m4/s", prefix+"kg m-4 s-1",
			prefix+"ohm", prefix+"ohms", prefix+"acoustic ohm", prefix+"acoustic ohms", prefix+"ohm acoustic", prefix+"ohms acoustic", prefix+"ohm SI", "SI "+prefix+"ohm",
			"acoustic "+prefix+"ohm", "acoustic "+prefix+"ohms")
	}
	add(unit{"dyn s/cm5", Magnitude, 1e5, false}, "cgs ohm", "cgs ohms", "ohm cgs", "ohms cgs", "acoustic ohm cgs", "cgs acoustic ohm", "dyn s/cm5", "dyn s cm-5", "dyne s/cm5", "g/(cm4 s)")
	add(unit{"dB", Magnitude, 0, true}, "dB", "decibel", "decibels", "dBre", "dB rel", "dB relative")
	add(unit{"dB re 1 Pa s/m3", Magnitude, 1, true}, "dB re 1 Pa s/m3", "dB re 1 ohm", "dB re 1 acoustic ohm", "dB re Pa s/m3")
	add(unit{"dB re 1 MPa s/m3", Magnitude, 1e6, true}, "dB re 1 MPa s/m3", "dB re 1 Mohm", "dB re Mohm", "dB re 1 acoustic Mohm")
	add(unit{"relative", Magnitude, 0, false}, "relative", "rel", "normalised", "normalized", "Z/Zc", "Z/Z0", "1", "arb", "au", "a.u.", "linear", "lin")
	add(unit{"degrees", Phase, math.Pi / 180, false}, "deg", "degree", "degrees", "°")
	add(unit{"radians", Phase, 1, false}, "rad", "radian", "radians")
	return table
})

// columnNames are names of columns, in the form of [folded].
var columnNames = sync.OnceValue(func() map[string]Quantity {
	table := map[string]Quantity{}
	for q, names := range map[Quantity][]string{
		Frequency: {"f", "freq", "freqs", "frequency", "frequencies", "frequenz", "omega"},
		Magnitude: {"|z|", "|zin|", "|z_in|", "abs", "abs(z)", "abs(zin)", "mag", "mag(z)", "magnitude", "magnitude z", "z magnitude", "magnitude of z", "impedance magnitude",
			"impedance", "input impedance", "acoustic impedance", "z", "zin", "modulus", "amplitude", "mod z", "absolute", "magnitude |z|", "impedance |z|"},
		Real: {"re", "re(z)", "re(zin)", "re z", "real", "real(z)", "real part", "real z", "zre", "z real", "z_re", "resistance"},
		Imaginary: {"im", "im(z)", "im(zin)", "im z", "imag", "imag(z)", "imaginary", "imaginary(z)", "imaginary part", "imag part", "imag z", "zim", "z imag", "z_im",
			"reactance"},
		Phase: {"phase", "phase(z)", "phase z", "arg", "arg(z)", "arg z", "angle", "angle(z)", "phi", "φ", "argument", "impedance phase"},
	} {
		for _, n := range names {
			table[folded(n)] = q
		}
	}
	return table
})

// spelling brings the ways of writing units and names to one.
var spelling = strings.NewReplacer(
	" ", "", "_", "", "^", "", "*", "", "·", "", "⋅", "", "×", "", ".", "", "(", "", ")", "", "[", "", "]", "", "{", "", "}", "", "\u00a0", "",
	"³", "3", "⁴", "4", "⁵", "5", "⁻", "-", "−", "-", "¹", "1", "ω", "ohm", "µ", "u", "\"", "", "'", "")

// folded is a name or unit without what different people write differently.
// Upper and lower case do not matter: no curve is in thousandths of an ohm.
func folded(s string) string { return spelling.Replace(strings.ToLower(s)) }

// Column is what a column holds, and in which unit; the zero unit was not said.
type Column struct {
	Quantity Quantity
	unit     unit
}

func (c Column) String() string {
	if c.unit.name == "" {
		return c.Quantity.String()
	}
	return c.Quantity.String() + ":" + c.unit.name
}

// unitOf is the family of units of a quantity.
func unitOf(q Quantity) Quantity {
	if q == Real || q == Imaginary {
		return Magnitude
	}
	return q
}

// ParseColumns reads what the columns of a file hold, as in "f:kHz,mag:dB",
// "f,re,im" or "f,-,mag"; a dash passes over a column. The error says what is
// wrong, in words for who wrote it.
func ParseColumns(text string) ([]Column, error) {
	var out []Column
	for _, part := range strings.Split(text, ",") {
		name, of, _ := strings.Cut(strings.TrimSpace(part), ":")
		if name == "-" {
			out = append(out, Column{})
			continue
		}
		q, ok := columnNames()[folded(name)]
		if !ok {
			return nil, fmt.Errorf("%q is not the name of a column: use f, mag, re, im, phase, and - for one to pass over", strings.TrimSpace(part))
		}
		c := Column{Quantity: q}
		if of != "" {
			if c.unit, ok = unitSpellings()[folded(of)]; !ok {
				return nil, fmt.Errorf("%q is not a unit: use Hz, kHz or rad/s; Pa s/m3, MOhm, cgs ohm, dB or relative; deg or rad", of)
			}
			if c.unit.of != unitOf(q) {
				return nil, fmt.Errorf("%s is no unit of the column %s", c.unit.name, name)
			}
		}
		out = append(out, c)
	}
	return out, whole(out)
}

// whole says what is missing in a list of columns, nil for nothing.
func whole(columns []Column) error {
	has := func(q Quantity) int {
		return len(columns) - len(slices.DeleteFunc(slices.Clone(columns), func(c Column) bool { return c.Quantity == q }))
	}
	for _, q := range []Quantity{Frequency, Magnitude, Real, Imaginary, Phase} {
		if has(q) > 1 {
			return fmt.Errorf("two columns are %s", q)
		}
	}
	switch {
	case has(Frequency) == 0:
		return fmt.Errorf("no column is the frequency f")
	case has(Magnitude) == 0 && has(Real) == 0 && has(Imaginary) == 0:
		return fmt.Errorf("no column is the impedance: mag, or re and im")
	case has(Magnitude) == 0 && (has(Real) == 0 || has(Imaginary) == 0):
		return fmt.Errorf("of re and im one is missing")
	}
	return nil
}

// parseColumn reads a cell of a header: name, unit, or both, in any of the usual
// ways: Frequency (Hz), f/Hz, freq_hz, |Z| in MOhm, Hz.
func parseColumn(cell string) (Column, bool) {
	cell = strings.TrimSpace(cell)
	if q, ok := columnNames()[folded(cell)]; ok {
		c := Column{Quantity: q}
		if folded(cell) == "omega" {
			c.unit = unitSpellings()["rad/s"]
		}
		return c, true
	}
	for at, r := range cell {
		if !strings.ContainsRune(" /_([{,:-", r) {
			continue
		}
		q, ok := columnNames()[folded(cell[:at])]
		if !ok {
			continue
		}
		rest := strings.TrimLeft(cell[at:], " /_,:-")
		rest = strings.TrimPrefix(strings.TrimPrefix(rest, "in "), "/")
		if u, ok := unitSpellings()[folded(rest)]; ok && u.of == unitOf(q) {
			return Column{q, u}, true
		}
	}
	if u, ok := unitSpellings()[folded(cell)]; ok && folded(cell) != "1" {
		return Column{u.of, u}, true
	}
	return Column{}, false
}
