package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"centwise/match/fit/simulate"
)

// bench is a catalog of one size and the program that works on it.
type bench struct {
	program, folder string
	runs            int
	sessions        int
	readings        int
	// What commands ask about. The world itself is let go: the most memory that a
	// process held is counted, on Linux, from what its parent held when it started.
	horn, mouthpiece, player, session string
}

// column is what the commands took on a catalog.
type column struct {
	sessions, readings int
	rows               []row
}

// row is what one command took.
type row struct {
	name   string
	times  []time.Duration // of each run
	memory uint64          // bytes, the most of any run; 0 if the system does not tell
}

// newBench writes the sheets of a simulated catalog into a new folder.
func newBench(o options, folder string, sessions int) (*bench, error) {
	w := simulate.GenerateWith(simulate.Options{Kind: simulate.Plain, Size: simulate.Scaled, Sessions: sessions, Seed: o.seed})
	some := w.Sessions[0]
	b := &bench{program: o.program, folder: folder, runs: o.runs, sessions: len(w.Sessions),
		horn: w.Horns[some.Horn].Label, mouthpiece: w.Mouthpieces[some.Mouthpiece].Label, player: w.Players[some.Player].Label, session: some.Name}
	for _, s := range w.Sessions {
		b.readings += len(s.Readings)
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return nil, err
	}
	last := *w // a session more, to see what an addition costs
	last.Sessions = w.Sessions[len(w.Sessions)-1:]
	first := *w
	first.Sessions = w.Sessions[:len(w.Sessions)-1]
	for name, write := range map[string]func(f *os.File) error{
		"gear.csv":     func(f *os.File) error { return simulate.WriteGearCSV(f, w) },
		"sessions.csv": func(f *os.File) error { return simulate.WriteSessionsCSV(f, &first) },
		"last.csv":     func(f *os.File) error { return simulate.WriteSessionsCSV(f, &last) },
	} {
		if err := writeFile(filepath.Join(folder, name), write); err != nil {
			return nil, err
		}
	}
	return b, nil
}

func writeFile(path string, write func(f *os.File) error) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	if err := write(f); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

// all times every command.
func (b *bench) all(ctx context.Context) (column, error) {
	simulate.ForgetPeak()
	c := column{sessions: b.sessions, readings: b.readings}
	for _, step := range []struct {
		name string
		once bool
		args []string
	}{
		{"version", false, []string{"version"}},
		{"import, everything", true, []string{"import", "gear.csv", "sessions.csv", "--create"}},
		{"fit, from nothing", true, []string{"fit"}},
		{"import, one session", true, []string{"import", "last.csv", "--create"}},
		{"rank after one session", true, []string{"rank", "--horn", b.horn}},
		{"rank --horn", false, []string{"rank", "--horn", b.horn}},
		{"rank --top 20, all pairs", false, []string{"rank", "--top", "20", "--json"}},
		{"predict", false, []string{"predict", b.horn, b.mouthpiece, "--player", b.player}},
		{"adjust", false, []string{"adjust", b.horn, b.mouthpiece}},
		{"horn list", false, []string{"horn", "list"}},
		{"session show", false, []string{"session", "show", b.session}},
		{"catalog info", false, []string{"catalog", "info"}},
		{"catalog check", true, []string{"catalog", "check"}},
		{"pool export", true, []string{"pool", "export", "all.jsonl.gz"}},
		{"catalog backup", true, []string{"catalog", "backup", "copy.db"}},
	} {
		runs := b.runs
		if step.once {
			runs = 1
		}
		r, err := b.time(ctx, step.name, runs, step.args)
		if err != nil {
			return c, err
		}
		c.rows = append(c.rows, r)
	}
	return c, nil
}

// time runs a command so many times.
func (b *bench) time(ctx context.Context, name string, runs int, args []string) (row, error) {
	r := row{name: name}
	for range runs {
		cmd := exec.CommandContext(ctx, b.program, args...)
		cmd.Dir = b.folder
		cmd.Env = append(os.Environ(), "CENTWISE_CATALOG=catalog.db")
		var talk bytes.Buffer
		cmd.Stderr = &talk
		start := time.Now()
		err := cmd.Run()
		r.times = append(r.times, time.Since(start))
		if err != nil {
			return r, fmt.Errorf("centwise %s: %w\n%s", strings.Join(args, " "), err, talk.Bytes())
		}
		r.memory = max(r.memory, simulate.PeakMemory(cmd.ProcessState))
	}
	return r, nil
}
