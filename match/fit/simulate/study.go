package simulate

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
)

// Study runs a study on the command line, a program for contributors that judges
// the engine, visits or rosters on simulated catalogs, and ends the program: with 2 when parse
// does not like its flags, with 1 when the study fails or Ctrl-C stops it. Talk is
// where help and progress go.
func Study[O any](name string, parse func(args []string, talk io.Writer) (O, error), run func(ctx context.Context, o O, out, talk io.Writer) error) {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	o, err := parse(os.Args[1:], os.Stderr)
	if err != nil {
		if err != flag.ErrHelp {
			fmt.Fprintf(os.Stderr, "%s: %v\n", name, err)
		}
		os.Exit(2)
	}
	if err := run(ctx, o, os.Stdout, os.Stderr); err != nil {
		fmt.Fprintf(os.Stderr, "%s: %v\n", name, err)
		os.Exit(1)
	}
}

// BuildCentwise builds the program of this tree in a folder, for studies that time
// it, and gives its path.
func BuildCentwise(ctx context.Context, folder string, talk io.Writer) (string, error) {
	program := filepath.Join(folder, "centwise")
	build := exec.CommandContext(ctx, "go", "build", "-trimpath", "-o", program, "centwise/cmd/centwise")
	build.Stderr = talk
	if err := build.Run(); err != nil {
		return "", fmt.Errorf("building centwise: %w", err)
	}
	return program, nil
}
