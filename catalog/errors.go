package catalog

import (
	"errors"
	"fmt"
)

// Kind sorts errors by what the user can do about them.
type Kind int

// Kinds of error.
const (
	Internal    Kind = iota // a defect of ours or of the machine
	NotFound                // a record or a catalog that is not there
	Conflict                // it exists already, or someone changed it first
	Invalid                 // the input breaks a rule
	Unavailable             // locked, read-only, full or unreachable
	Busy                    // another process holds the catalog
)

// Error is an error of the domain: its kind, what was wrong and where, and what
// to do about it.
type Error struct {
	Kind Kind
	What string
	Hint string // what to do next; may be empty
	Err  error  // cause, may be nil
}

func (e *Error) Error() string {
	s := e.What
	if e.Err != nil {
		s += ": " + e.Err.Error()
	}
	if e.Hint != "" {
		s += "; " + e.Hint
	}
	return s
}

func (e *Error) Unwrap() error { return e.Err }

// Errorf makes an [Error] of a kind with a hint and a formatted text.
func Errorf(kind Kind, hint, format string, args ...any) *Error {
	return &Error{Kind: kind, What: fmt.Sprintf(format, args...), Hint: hint}
}

// KindOf is the kind of the first [Error] in err's chain, else Internal.
func KindOf(err error) Kind {
	var e *Error
	if errors.As(err, &e) {
		return e.Kind
	}
	return Internal
}
