package catalog

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// span is the range of values accepted for a dimension. The limits are wide:
// they are there to catch a wrong unit or a slip of the finger, not to judge
// (common practice for the trumpet family, no source).
type span struct {
	field     string
	low, high float64
	unit      string
	slips     []slip
}

// slip is a usual mistake: values within low..high were probably meant in
// another unit, and convert to ours by fix.
type slip struct {
	low, high float64
	unit      string
	fix       func(float64) float64
}

// Errors that may count as in tune, in cents.
const (
	MinToleranceCents = 0.1
	MaxToleranceCents = 100.0
)

const mmPerInch = 25.4 // exact, international inch of 1959

func inches(low, high float64) slip {
	return slip{low, high, "inches", func(x float64) float64 { return x * mmPerInch }}
}

func centimetres(low, high float64) slip {
	return slip{low, high, "centimetres", func(x float64) float64 { return x * 10 }}
}

var (
	boreSpan     = span{"bore_mm", 8, 16, "mm", []slip{inches(0.31, 0.63), centimetres(0.8, 1.6)}}
	throw1Span   = span{"throw1_mm", 0, 80, "mm", nil}
	throw3Span   = span{"throw3_mm", 0, 80, "mm", nil}
	rimSpan      = span{"rim_mm", 12, 22, "mm", []slip{inches(0.5, 0.9), centimetres(1.2, 2.2)}}
	cupSpan      = span{"cup_cm3", 0.3, 8, "cm3", []slip{{300, 8000, "cubic millimetres", func(x float64) float64 { return x / 1000 }}, {0.02, 0.3, "cubic inches", func(x float64) float64 { return x * mmPerInch * mmPerInch * mmPerInch / 1000 }}}}
	cupDepthSpan = span{"cup_depth_mm", 4, 40, "mm", []slip{inches(0.2, 1.2), centimetres(1.2, 4)}}
	throatSpan   = span{"throat_mm", 2, 7, "mm", []slip{inches(0.08, 0.28), {10, 45, "drill numbers", nil}}}
	throatLength = span{"throat_length_mm", 0.1, 50, "mm", nil}
	backboreSpan = span{"backbore_mm", 5, 16, "mm", []slip{inches(0.2, 0.63), centimetres(0.64, 1.6)}}
	lengthSpan   = span{"length_mm", 35, 150, "mm", []slip{inches(1.4, 5), centimetres(5, 15)}}
	a4Span       = span{"a4_hz", 380, 500, "Hz", nil}
	tempSpan     = span{"temperature_c", -15, 48, "degrees C", []slip{{48, 120, "degrees Fahrenheit", func(f float64) float64 { return (f - 32) / 1.8 }}}}
	slideSpan    = span{"slide_mm", 0, 150, "mm", nil}
	gapSpan      = span{"gap_mm", 0, 30, "mm", nil}
	toleranceSp  = span{"tolerance_cents", MinToleranceCents, MaxToleranceCents, "cents", nil}
	rimMinSpan   = rimSpan.as("rim_min_mm")
	rimMaxSpan   = rimSpan.as("rim_max_mm")
	cupMinSpan   = cupSpan.as("cup_min_cm3")
	cupMaxSpan   = cupSpan.as("cup_max_cm3")
)

func (s span) as(field string) span { s.field = field; return s }

// known checks a dimension that may be 0 for not known.
func (c *check) known(s span, x float64) {
	if x != 0 {
		c.value(s, x)
	}
}

// value checks a number that must lie in the span.
func (c *check) value(s span, x float64) {
	switch {
	case math.IsNaN(x) || math.IsInf(x, 0):
		c.add(s.field, "is not a number", "write it in "+s.unit+", or leave it out")
	case x < s.low || x > s.high:
		c.addf(s.field, s.hint(x), "is %s, outside %s..%s %s", figure(x), figure(s.low), figure(s.high), s.unit)
	}
}

// hint guesses which unit was meant.
func (s span) hint(x float64) string {
	for _, slip := range s.slips {
		if x < slip.low || x > slip.high {
			continue
		}
		if slip.fix == nil {
			return fmt.Sprintf("it looks like %s: write %s", slip.unit, s.unit)
		}
		return fmt.Sprintf("it looks like %s: write %s %s", slip.unit, figure(slip.fix(x)), s.unit)
	}
	return "check the unit and the decimal point, or leave it out if not known"
}

// figure writes a number briefly, to four digits, without an exponent where
// people write none.
func figure(x float64) string {
	if a := math.Abs(x); a >= 1e4 && a < 1e15 {
		return fmt.Sprintf("%.0f", x)
	}
	return fmt.Sprintf("%.4g", x)
}

// ordered checks a lower and an upper limit, either of which may be 0.
func (c *check) ordered(low, high span, x, y float64) {
	before := len(c.problems)
	c.known(low, x)
	c.known(high, y)
	if len(c.problems) == before && x != 0 && y != 0 && x > y {
		c.addf(low.field, "exchange them", "is %s, more than %s which is %s", figure(x), high.field, figure(y))
	}
}

// oneOf checks a value against the list of known ones.
func oneOf[T ~string](c *check, field string, value T, known []T) {
	if slices.Contains(known, value) {
		return
	}
	names := make([]string, len(known))
	for i, k := range known {
		names[i] = string(k)
	}
	if value == "" {
		c.add(field, "is empty", "use one of "+strings.Join(names, ", "))
		return
	}
	c.addf(field, "use one of "+strings.Join(names, ", "), "is %q, which is not known", string(value))
}
