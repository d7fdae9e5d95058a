package show

import (
	"bytes"
	"fmt"
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
		Apart: []fit.Part{
			{Sessions: 66, Horns: []fit.Item{{Label: "Alder"}, {Label: "Hazel"}}, Mouthpieces: []fit.Item{{Label: "Plover 16.2"}}},
			{Sessions: 4, Horns: []fit.Item{{Label: "Rowan"}}, Mouthpieces: []fit.Item{{Label: "Knot 16.4"}}},
		},
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

// Parts that no session joins are named, with sessions that would join them;
// of many only the largest.
func TestFitNamesParts(t *testing.T) {
	items := func(labels ...string) []fit.Item {
		var out []fit.Item
		for _, l := range labels {
			out = append(out, fit.Item{Label: l})
		}
		return out
	}
	f := fitted()
	f.Apart = []fit.Part{{Sessions: 68, Horns: items("Alder", "Aspen", "Hazel", "Rowan", "Willow"), Mouthpieces: items("Plover 16.2")}}
	if text := strings.Join(f.Sentences(), " "); strings.Contains(text, "falls into") {
		t.Errorf("one part is no news: %q", text)
	}
	for range 5 {
		f.Apart = append(f.Apart, fit.Part{Sessions: 1, Horns: items("Birch"), Mouthpieces: items("Knot 16.4", "Stilt 16.7")})
	}
	text := strings.Join(f.Sentences(), " ")
	for _, want := range []string{
		"The catalog falls into 6 parts that no session joins.",
		"Part 1, with 68 sessions: Alder, Aspen, Hazel, 2 more; Plover 16.2.",
		"Part 2, with 1 session: Birch; Knot 16.4, Stilt 16.7. A session of Birch with Plover 16.2, or the other way about, would join it to part 1.",
		"2 other parts are smaller",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("%q lacks %q", text, want)
		}
	}
	if n := strings.Count(text, "Part "); n != briefParts {
		t.Errorf("%d parts are named, want %d", n, briefParts)
	}
	if got := len(f.apartFields()); got != 6 {
		t.Errorf("JSON lists %d parts, want 6", got)
	}
}

// To people the table names the noisiest of many sources, to programs all.
func TestFitTableIsBrief(t *testing.T) {
	f := fitted()
	f.Sources, f.Components.SourceNoise = nil, nil
	for i := range 30 {
		f.Sources = append(f.Sources, fit.Source{Contributor: fmt.Sprintf("desk-%02d", i), Method: "tuner"})
		f.Components.SourceNoise = append(f.Components.SourceNoise, 3+float64(i%10)/10)
	}
	others := len(f.Table().Rows) - 30
	f.Brief = true
	rows := f.Table().Rows[others:]
	if len(rows) != briefSources || !strings.Contains(rows[0][0].full, "desk-09") || !strings.Contains(rows[3][0].full, "desk-08") {
		t.Errorf("a brief table names %d sources: %v", len(rows), rows)
	}
	if text, want := strings.Join(f.Sentences(), " "), "The 8 noisiest of 30 sources of readings are named; all lie between 3.0 and 3.9 cents."; !strings.Contains(text, want) {
		t.Errorf("%q lacks %q", text, want)
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
