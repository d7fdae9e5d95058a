package show

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"centwise/match/fit"
)

func fitted() Fit {
	return Fit{
		Model: &fit.Model{
			Digest: "abc", At: time.Date(2026, 3, 4, 18, 5, 0, 0, time.UTC), Seed: 7,
			Report: fit.Report{Sessions: 70, Readings: 2166, Unknowns: 2998, Steps: 30, Change: 0.01, Iterations: 39, Residual: 8e-5, Converged: true,
				Draws: 200, Parts: 2, Duration: 2345 * time.Millisecond,
				Levels: []fit.LevelReport{{Name: "horn", Blocks: 14, Seen: 13, SD: 2.53}, {Name: "mouthpiece", Blocks: 18, Seen: 17, SD: 0.59}}},
			Components: fit.Components{Offset: 3, Slide: 4, Wiggle: 1.42, Interaction: 1.51, Noise: 3.8, SourceNoise: []float64{3.7, 4.2}, GrossShare: 0.012, GrossFactor: 6},
		},
		Now:     true,
		Sources: []fit.Source{{Contributor: "lamp-keeper", Method: "tuner"}, {Method: "recording"}},
	}
}

func TestFitTable(t *testing.T) {
	var b bytes.Buffer
	if err := fitted().Table().Write(&b, Style{Terminal: true, Width: 80}); err != nil {
		t.Fatal(err)
	}
	if err := Sentences(&b, Style{Terminal: true, Width: 80}, fitted().Sentences()); err != nil {
		t.Fatal(err)
	}
	golden(t, "fit_80.txt", b.String())
}

func TestFitSentences(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(*Fit)
		want   string
	}{
		{"stored", func(f *Fit) { f.Now = false }, "The stored fit is up to date; it was made on "},
		{"quick", func(f *Fit) { f.Report.Duration = 120 * time.Millisecond }, "Made now in 120 ms."},
		{"exact", func(f *Fit) { f.Report.Exact = true }, "2998 unknowns solved from exact equations"},
		{"by iteration", func(*Fit) {}, "solved by 39 iterations, to 8e-05 of the right-hand side"},
		{"not settled", func(f *Fit) { f.Report.Converged = false }, "It did not settle"},
		{"refreshed", func(f *Fit) { f.Report.Refreshed = 1 }, "1 session came in since everything was last worked out anew"},
		{"nothing", func(f *Fit) { f.Report.Readings, f.Report.Sessions = 0, 0 }, "There are no sessions yet"},
	} {
		f := fitted()
		tc.change(&f)
		if text := strings.Join(f.Sentences(), " "); !strings.Contains(text, tc.want) {
			t.Errorf("%s: %q lacks %q", tc.name, text, tc.want)
		}
	}
}

// With one source the common line says it; sources that don't belong to the
// noises are not named.
func TestFitNamesSources(t *testing.T) {
	f := fitted()
	rows := len(f.Table().Rows)
	f.Sources = f.Sources[:1]
	if got := len(f.Table().Rows); got != rows-2 {
		t.Errorf("%d rows with sources of another fit, want %d", got, rows-2)
	}
	f.Components.SourceNoise = f.Components.SourceNoise[:1]
	if got := len(f.Table().Rows); got != rows-2 {
		t.Errorf("%d rows with one source, want %d", got, rows-2)
	}
}
