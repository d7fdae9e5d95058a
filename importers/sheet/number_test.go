package sheet

import (
	"errors"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestParseNumber(t *testing.T) {
	for text, want := range map[string]float64{"3.5": 3.5, " -3,5 ": -3.5, "+4": 4, "−2": -2, ".5": .5, "1e2": 100, "-0": 0, "0,125": 0.125, "1234,5": 1234.5} {
		if got, err := parseNumber(text, pointDecimals); err != nil || got != want {
			t.Errorf("%q is %v, %v, want %v", text, got, err, want)
		}
	}
	if got, err := parseNumber("12,345", commaDecimals); err != nil || got != 12.345 {
		t.Errorf("12,345 with free commas is %v, %v", got, err)
	}
	for text, want := range map[string]error{"": errNotNumber, "-": errNotNumber, "1,2,3": errNotNumber, "1.234,5": errNotNumber, "1,234.5": errNotNumber,
		"12,345": errThousands, "-1,200": errThousands, "NaN": errNotFinite, "inf": errNotFinite, "-Infinity": errNotFinite, "1e400": errNotFinite,
		"#N/A": errNotFinite, "0x10": errNotNumber, "1_000": errNotNumber, "3 c": errNotNumber, "٣": errNotNumber,
		"11111111111111111111111111111111111111111": errNotNumber} {
		if got, err := parseNumber(text, pointDecimals); !errors.Is(err, want) {
			t.Errorf("%q is %v, %v, want %v", text, got, err, want)
		}
	}
}

func TestParseDate(t *testing.T) {
	at := time.Date(2025, 3, 1, 18, 30, 0, 0, time.UTC)
	for text, want := range map[string]time.Time{
		"2025-03-01": time.Date(2025, 3, 1, 0, 0, 0, 0, time.UTC), "2025-03-01 18:30": at, "2025-03-01T18:30:00": at, "2025-03-01T19:30:00+01:00": at,
		"2025-03-01T18:30Z": at, " 2025-03-01 18:30:00Z ": at, "2025-03-01T18:30:00.250Z": at.Add(250 * time.Millisecond),
	} {
		if got, err := parseDate(text); err != nil || !got.Equal(want) {
			t.Errorf("%q is %v, %v, want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "1.3.2025", "03/01/2025", "2025-02-30", "2025-3-1", "March", "20250301", "2025-03-01T25:00"} {
		if got, err := parseDate(text); err == nil {
			t.Errorf("%q is %v, want an error", text, got)
		}
	}
}

// 17 digits are kept in files, 15 shown by spreadsheets (IEEE 754 doubles hold
// 15 decimal digits).
func TestVisibleDigits(t *testing.T) {
	for cell, want := range map[string]string{"16.600000000000001": "16.6", "-13.699999999999999": "-13.7", "0.10000000000000001": "0.1", "16.6": "16.6",
		"1234567890123456789": "1234567890123456789", "1.5E-0000000000007": "1.5e-07", "serial 123.4567890": "serial 123.4567890", "1.1.1.1.1.1.1.1.1.1": "1.1.1.1.1.1.1.1.1.1"} {
		if got := visibleDigits(cell); got != want {
			t.Errorf("%q shows %q, want %q", cell, got, want)
		}
	}
}

func TestNumbersRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(-math.MaxFloat64, math.MaxFloat64).Draw(t, "x")
		got, err := parseNumber(formatNumber(x), pointDecimals)
		if err != nil || got != x {
			t.Fatalf("%v is written %s, read as %v, %v", x, formatNumber(x), got, err)
		}
	})
}

// Addresses of cells as spreadsheets write them.
func TestCellNames(t *testing.T) {
	for name, want := range map[string][2]int{"A1": {1, 1}, "Z9": {26, 9}, "AA10": {27, 10}, "AZ1": {52, 1}, "BA1": {53, 1}, "XFD1048576": {16384, 1048576}} {
		if column, line := cellPlace(name); column != want[0] || line != want[1] {
			t.Errorf("%s is column %d, row %d, want %v", name, column, line, want)
		}
		if got := cellName(want[0], want[1]); got != name {
			t.Errorf("column %d, row %d is %s, want %s", want[0], want[1], got, name)
		}
	}
	for _, bad := range []string{"", "A", "1", "A0", "a1", "A1x", "XFE1", "A1048577", "AAAAAAAAAAAAAAAAAAAAA1", "A99999999999999999999"} {
		if column, line := cellPlace(bad); column != 0 || line != 0 {
			t.Errorf("%q is column %d, row %d, want none", bad, column, line)
		}
	}
	if column, line := cellPlace("B2:D4"); column != 2 || line != 2 {
		t.Errorf("B2:D4 begins in column %d, row %d", column, line)
	}
}
