package cli

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"centwise/catalog"
	"centwise/catalog/sqlstore"
)

// Exit codes of centwise.
const (
	exitOK        = 0
	exitFailed    = 1
	exitUsage     = 2
	exitSkipped   = 3
	exitNoCatalog = 10
	exitBusy      = 11
	exitCancelled = 130
)

// exitCodes is the one table of exit codes; help texts are made from it.
var exitCodes = []struct {
	code    int
	meaning string
}{
	{exitOK, "done"},
	{exitFailed, "failed: the message says why; nothing was changed unless it says so"},
	{exitUsage, "the command line was wrong"},
	{exitSkipped, "finished, but some inputs were skipped"},
	{exitNoCatalog, "there is no catalog there"},
	{exitBusy, "another process is using the catalog"},
	{exitCancelled, "stopped by Ctrl-C"},
}

// exitStatus is the section of a help text that explains exit codes: all of
// them, or the ones given.
func exitStatus(codes ...int) string {
	var b strings.Builder
	b.WriteString("EXIT STATUS\n")
	for _, e := range exitCodes {
		if len(codes) == 0 || slices.Contains(codes, e.code) {
			fmt.Fprintf(&b, "  %3d  %s\n", e.code, e.meaning)
		}
	}
	return strings.TrimRight(b.String(), "\n")
}

// usageError says that the command line was wrong.
type usageError struct{ message, try string }

func (e *usageError) Error() string { return e.message }

func usagef(try, format string, args ...any) error {
	return &usageError{fmt.Sprintf(format, args...), try}
}

// noCatalogError says that a command that reads found no catalog, at a path that
// may be shown, and why.
type noCatalogError struct {
	path string
	err  error
}

func (e *noCatalogError) Error() string {
	if e.noDatabase() {
		return e.err.Error()
	}
	return "no catalog at " + e.path
}

func (e *noCatalogError) Unwrap() error { return e.err }

// noDatabase reports whether not even the database is there in which a catalog
// could be made: the store says then what to do.
func (e *noCatalogError) noDatabase() bool {
	var reason *catalog.Error
	return errors.As(e.err, &reason) && errors.Is(reason.Err, sqlstore.ErrNoDatabase)
}

// outputError says that what a command printed did not get through. What it was
// asked to do comes before the printing, so that is done.
type outputError struct{ err error }

func (e *outputError) Error() string {
	return "what was asked for was done, but writing the output failed: " + e.err.Error()
}

func (e *outputError) Unwrap() error { return e.err }

// skippedError says that a command did what it could.
type skippedError struct{ message, try string }

func (e *skippedError) Error() string { return e.message }

// codeOf is the exit code for an error.
func codeOf(err error) int {
	var usage *usageError
	var missing *noCatalogError
	var skipped *skippedError
	switch {
	case err == nil:
		return exitOK
	case errors.Is(err, context.Canceled):
		return exitCancelled
	case errors.As(err, &usage):
		return exitUsage
	case errors.As(err, &missing):
		return exitNoCatalog
	case errors.As(err, &skipped):
		return exitSkipped
	case catalog.KindOf(err) == catalog.Busy:
		return exitBusy
	}
	return exitFailed
}

// explain splits an error into what was wrong and what to do next.
func explain(err error, code int) (message, hint string) {
	if stop := (*stopError)(nil); errors.As(err, &stop) {
		return stop.what, stop.resume
	}
	if code == exitCancelled {
		return "stopped; nothing was changed", ""
	}
	message = err.Error()
	var usage *usageError
	var missing *noCatalogError
	var skipped *skippedError
	var domain *catalog.Error
	switch {
	case errors.As(err, &usage):
		hint = usage.try
	case errors.As(err, &missing) && !missing.noDatabase():
		hint = "start one with 'centwise import FILE --create' or 'centwise horn add'; 'centwise demo' shows what it is for"
	case errors.As(err, &skipped):
		hint = skipped.try
	case errors.As(err, &domain) && domain.Hint != "":
		message, hint = strings.Replace(message, "; "+domain.Hint, "", 1), domain.Hint
	}
	if code == exitBusy && hint == "" {
		hint = "wait until the other command has finished, then repeat"
	}
	return message, hint
}
