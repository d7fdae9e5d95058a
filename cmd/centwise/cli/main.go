// Package cli is the command line of centwise: one file per command, each
// turning flags into options and options into a run.
package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"

	"centwise/cmd/centwise/show"
)

// Main runs centwise with the process's arguments and streams and returns the
// exit code.
func Main() int { return Process(System()) }

// Process is [Main] on other streams than the process's own.
func Process(s *Streams) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second Ctrl-C ends the process at once
	return Run(ctx, NewFactory(s), hidePasswords(os.Args)[1:])
}

// Run runs one command line and returns the exit code. Errors are printed here
// and nowhere else.
func Run(ctx context.Context, f *Factory, args []string) int {
	root := newRootCmd(f)
	root.SetArgs(args)
	err := root.ExecuteContext(ctx)
	if flushErr := f.Streams.Flush(); flushErr != nil && (err == nil || errors.Is(err, flushErr)) {
		err = &outputError{flushErr}
	}
	if err == nil {
		return exitOK
	}
	if ctx.Err() != nil {
		err = errors.Join(context.Canceled, err)
	}
	code := codeOf(err)
	printError(f.Streams, err, code, asksForJSON(args))
	return code
}

// asksForJSON looks for --json among the arguments themselves, since they may
// be what could not be read.
func asksForJSON(args []string) bool {
	if end := slices.Index(args, "--"); end >= 0 {
		args = args[:end]
	}
	return slices.Contains(args, "--json") || slices.Contains(args, "--json=true")
}

// printError says what failed and what to try next: in words, or as JSON when
// the command was asked for JSON.
func printError(s *Streams, err error, code int, asJSON bool) {
	message, hint := explain(err, code)
	if asJSON {
		object := show.Fields{{Name: "error", Value: message}, {Name: "try", Value: hint}, {Name: "exit", Value: code}}
		if show.JSON(s.Err, object) == nil {
			return
		}
	}
	lines := strings.Split(message, "\n")
	for i, line := range lines {
		prefix := "  "
		if i == 0 {
			prefix = "centwise: "
		}
		fmt.Fprintln(s.Err, prefix+show.Clean(line))
	}
	if hint != "" {
		fmt.Fprintln(s.Err, "Try: "+show.Clean(hint))
	}
}
