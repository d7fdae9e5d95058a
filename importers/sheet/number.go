package sheet

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// decimals says how commas in numbers are read.
type decimals int

const (
	pointDecimals decimals = iota // commas separate columns; inside quotes one may still be a decimal comma
	commaDecimals                 // the comma is free to be a decimal comma
)

var (
	errNotNumber = errors.New("is not a number")
	errThousands = errors.New("could mean thousands or a decimal comma")
	errNotFinite = errors.New("is not a finite number")
)

// parseNumber reads a number with a decimal point or comma. Only digits, a
// sign, one mark and an exponent: no "inf", "nan", hexadecimal or units.
func parseNumber(text string, style decimals) (float64, error) {
	s := strings.Replace(strings.TrimSpace(text), "\u2212", "-", 1) // minus sign
	if comma := strings.IndexByte(s, ','); comma >= 0 {
		if strings.IndexByte(s, '.') >= 0 || strings.LastIndexByte(s, ',') > comma {
			return 0, errNotNumber
		}
		if style == pointDecimals && likeThousands(s, comma) {
			return 0, errThousands
		}
		s = s[:comma] + "." + s[comma+1:]
	}
	if len(s) == 0 || len(s) > 40 {
		return 0, errNotNumber
	}
	for i := range len(s) {
		if c := s[i]; (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			if isWordForNoNumber(s) {
				return 0, errNotFinite
			}
			return 0, errNotNumber
		}
	}
	v, err := strconv.ParseFloat(s, 64)
	switch {
	case math.IsInf(v, 0):
		return 0, errNotFinite
	case err != nil:
		return 0, errNotNumber
	}
	return v, nil
}

// likeThousands reports whether the only comma of s stands before its last
// three digits, as in 1,200, where it may group thousands.
func likeThousands(s string, comma int) bool {
	whole := strings.TrimLeft(s[:comma], "+-")
	return len(s)-comma-1 == 3 && len(whole) >= 1 && len(whole) <= 3 && whole[0] != '0'
}

// isWordForNoNumber recognises what programs write for a value that is not
// there or not finite.
func isWordForNoNumber(s string) bool {
	switch strings.ToLower(strings.TrimLeft(s, "+-")) {
	case "nan", "inf", "infinity", "∞", "#n/a", "#div/0!", "#num!", "#value!", "#ref!":
		return true
	}
	return false
}

// numberHint says how to write a number that was refused.
func numberHint(err error) string {
	switch err {
	case errThousands:
		return "write it with a decimal point, without separators"
	case errNotFinite:
		return "leave the cell empty if there is no value, or leave the row out"
	}
	return "write it as in -3.5"
}

// parseYes reads yes or no in the usual ways of spreadsheets; empty is no.
func parseYes(text string) (bool, error) {
	switch strings.ToLower(strings.TrimSpace(text)) {
	case "yes", "y", "true", "1", "x":
		return true, nil
	case "no", "n", "false", "0", "":
		return false, nil
	}
	return false, errors.New("is neither yes nor no")
}

// dateLayouts are the writings of a date or time that have only one reading:
// ISO 8601, and RFC 3339 which is a profile of it. Without an offset the time
// is taken for UTC.
var dateLayouts = []string{
	"2006-01-02", "2006-01-02T15:04", "2006-01-02 15:04", "2006-01-02T15:04:05", "2006-01-02 15:04:05",
	"2006-01-02T15:04Z07:00", "2006-01-02 15:04Z07:00", time.RFC3339, "2006-01-02 15:04:05Z07:00",
}

var errNotDate = errors.New("is not a date")

func parseDate(text string) (time.Time, error) {
	s := strings.TrimSpace(text)
	for _, layout := range dateLayouts {
		if t, err := time.Parse(layout, s); err == nil {
			return t.UTC(), nil
		}
	}
	return time.Time{}, errNotDate
}

// formatDate writes what parseDate reads; empty for the zero time.
func formatDate(t time.Time) string {
	t = t.UTC()
	switch {
	case t.IsZero():
		return ""
	case t.Equal(t.Truncate(24 * time.Hour)):
		return t.Format(time.DateOnly)
	}
	return t.Format(time.RFC3339Nano)
}

// formatNumber writes a number so that reading it gives the same one, with an
// exponent only where nobody would count the zeros.
func formatNumber(x float64) string {
	if a := math.Abs(x); a != 0 && (a < 1e-6 || a >= 1e15) {
		return strconv.FormatFloat(x, 'e', -1, 64)
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// formatKnown is formatNumber with nothing for 0, which means not known.
func formatKnown(x float64) string {
	if x == 0 {
		return ""
	}
	return formatNumber(x)
}

// visibleDigits shortens the 17 digits that workbooks store for a fraction to
// the 15 that spreadsheets show: 16.600000000000001 is the cell 16.6. Anything
// else stays as it is.
func visibleDigits(cell string) string {
	if len(cell) < 17 || strings.IndexByte(cell, '.') < 0 {
		return cell
	}
	for i := range len(cell) {
		if c := cell[i]; (c < '0' || c > '9') && c != '.' && c != '-' && c != 'E' && c != '+' {
			return cell
		}
	}
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		return cell
	}
	return strconv.FormatFloat(v, 'g', 15, 64)
}

// cellName writes the address of a workbook's cell, column and row from 1: C7.
func cellName(column, row int) string {
	name := ""
	for ; column > 0; column = (column - 1) / 26 {
		name = string(rune('A'+(column-1)%26)) + name
	}
	return fmt.Sprintf("%s%d", name, row)
}
