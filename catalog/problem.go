package catalog

import (
	"errors"
	"fmt"
	"strings"
)

// Problem is one rule that a record breaks.
type Problem struct {
	Record string // what it is, as in: horn "Alder"
	Field  string // the field, named as the columns of a sheet: bore_mm, rim_mm
	What   string // what is wrong with it
	Hint   string // what to do
}

// String gives the problem without its record.
func (p Problem) String() string {
	s := p.Field + " " + p.What
	if p.Hint != "" {
		s += " (" + p.Hint + ")"
	}
	return s
}

// Problems is every rule broken by what was validated, as an error.
type Problems []Problem

// shownProblems is how many problems an error text spells out.
const shownProblems = 10

func (ps Problems) Error() string {
	var b strings.Builder
	record := ""
	for i, p := range ps {
		if i == shownProblems {
			fmt.Fprintf(&b, "; and %d more", len(ps)-i)
			break
		}
		if i > 0 {
			b.WriteString("; ")
		}
		if p.Record != record {
			b.WriteString(p.Record + ": ")
			record = p.Record
		}
		b.WriteString(p.String())
	}
	return b.String()
}

// ProblemsOf lists the problems in err's chain; nil when it holds none.
func ProblemsOf(err error) []Problem {
	var ps Problems
	if errors.As(err, &ps) {
		return ps
	}
	return nil
}

// check gathers the problems of one record.
type check struct {
	record   string
	problems Problems
}

func checking(noun, label string) *check {
	return &check{record: fmt.Sprintf("%s %q", noun, label)}
}

func (c *check) add(field, what, hint string) {
	c.problems = append(c.problems, Problem{c.record, field, what, hint})
}

func (c *check) addf(field, hint, format string, args ...any) {
	c.add(field, fmt.Sprintf(format, args...), hint)
}

// err is the [*Error] of kind Invalid for what was gathered, nil for nothing.
func (c *check) err() error { return c.problems.Err() }

// Err is the [*Error] of kind Invalid for the problems, nil when there are none.
func (ps Problems) Err() error {
	switch len(ps) {
	case 0:
		return nil
	case 1:
		return &Error{Kind: Invalid, What: "not accepted", Err: ps}
	}
	return &Error{Kind: Invalid, What: fmt.Sprintf("not accepted, %d problems", len(ps)), Err: ps}
}
