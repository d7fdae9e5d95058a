package main

import (
	"bufio"
	"context"
	_ "embed"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"

	"centwise/match/fit/simulate"
)

//go:embed lme4.R
var lme4Script string

// lme4 fits crossed random effects note by note with R's lme4 (Bates, Maechler,
// Bolker & Walker 2015, J. Stat. Software 67(1)), on readings without their
// sessions' shifts. Where items have designs, these are effects too.
type lme4 struct {
	w       *simulate.World
	effects []map[level]estimate // per slot
	peak    uint64               // most memory that R held, bytes; 0 if not known
}

// level names one level of one factor; label "*" stands for a level without
// readings, factor "intercept" for the intercept.
type level struct{ factor, label string }

type estimate struct{ effect, variance float64 }

func (*lme4) Name() string { return "lme4 per slot" }

// findLme4 reports whether Rscript with lme4 is there to be run.
func findLme4(ctx context.Context) bool {
	if _, err := exec.LookPath("Rscript"); err != nil {
		return false
	}
	return exec.CommandContext(ctx, "Rscript", "-e", "suppressPackageStartupMessages(library(lme4))").Run() == nil
}

func (m *lme4) Fit(ctx context.Context, w *simulate.World) (err error) {
	m.w = w
	dir, err := os.MkdirTemp("", "centwise-study-*")
	if err != nil {
		return fmt.Errorf("no room for lme4's files: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	script, readings, effects := filepath.Join(dir, "lme4.R"), filepath.Join(dir, "readings.csv"), filepath.Join(dir, "effects.csv")
	if err := os.WriteFile(script, []byte(lme4Script), 0o600); err != nil {
		return fmt.Errorf("writing lme4's script: %w", err)
	}
	if err := writeFile(readings, func(out io.Writer) error { return writeForLme4(out, w) }); err != nil {
		return err
	}
	run := exec.CommandContext(ctx, "Rscript", script, readings, effects)
	var talk strings.Builder
	run.Stderr = &talk
	if err := run.Run(); err != nil {
		return fmt.Errorf("lme4: %w: %s", err, strings.TrimSpace(talk.String()))
	}
	m.peak = simulate.PeakMemory(run.ProcessState)
	f, err := os.Open(effects)
	if err != nil {
		return fmt.Errorf("reading lme4's effects: %w", err)
	}
	defer f.Close()
	return m.read(f)
}

func writeForLme4(out io.Writer, w *simulate.World) error {
	shift, _ := offsets(w)
	c := csv.NewWriter(out)
	c.Write([]string{"slot", "cents", "horn", "mouthpiece", "player", "horn_design", "mouthpiece_design"})
	for i, s := range w.Sessions {
		h, t := w.Horns[s.Horn], w.Mouthpieces[s.Mouthpiece]
		for _, r := range s.Readings {
			c.Write([]string{strconv.Itoa(r.Slot), strconv.FormatFloat(r.Cents-shift[i], 'f', 3, 64),
				h.Label, t.Label, w.Players[s.Player].Label, h.Model, t.Model})
		}
	}
	c.Flush()
	return c.Error()
}

func (m *lme4) read(in io.Reader) error {
	m.effects = make([]map[level]estimate, len(simulate.Slots))
	for j := range m.effects {
		m.effects[j] = map[level]estimate{}
	}
	rows, err := csv.NewReader(bufio.NewReader(in)).ReadAll()
	if err != nil {
		return fmt.Errorf("reading lme4's effects: %w", err)
	}
	for i, row := range rows[1:] {
		slot, err1 := strconv.Atoi(row[0])
		effect, err2 := strconv.ParseFloat(row[3], 64)
		variance, err3 := strconv.ParseFloat(row[4], 64)
		if err := errors.Join(err1, err2, err3); err != nil {
			return fmt.Errorf("reading lme4's effects, row %d: %w", i+2, err)
		}
		m.effects[slot][level{row[1], row[2]}] = estimate{effect, variance}
	}
	return nil
}

// Predict adds intercept and effects slot by slot. Their variances are added as
// if independent: lme4 gives no covariances between factors.
func (m *lme4) Predict(_ context.Context, pairs []simulate.Pair) ([]Profile, error) {
	out := make([]Profile, len(pairs))
	for i, p := range pairs {
		h, t := m.w.Horns[p.Horn], m.w.Mouthpieces[p.Mouthpiece]
		levels := []level{{"intercept", ""}, {"horn", h.Label}, {"mouthpiece", t.Label}, {"horn_design", h.Model}, {"mouthpiece_design", t.Model}}
		mean, variance := make([]float64, len(m.effects)), make([]float64, len(m.effects))
		for j, effects := range m.effects {
			for _, l := range levels {
				e, ok := effects[l]
				if !ok {
					e = effects[level{l.factor, "*"}]
				}
				mean[j] += e.effect
				variance[j] += e.variance
			}
		}
		out[i] = Profile{simulate.Centred(mean), roots(centredVariance(variance))}
	}
	return out, nil
}

// writeFile writes a file through a buffer.
func writeFile(path string, write func(io.Writer) error) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	out := bufio.NewWriter(f)
	if err := errors.Join(write(out), out.Flush(), f.Close()); err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	return nil
}
