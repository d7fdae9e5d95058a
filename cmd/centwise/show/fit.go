package show

import (
	"fmt"
	"math"
	"time"

	"centwise/match"
	"centwise/match/fit"
)

// Fit is what a fit learned, to be shown.
type Fit struct {
	*fit.Model
	Now     bool         // made now, not found in the catalog
	Sources []fit.Source // of the readings, in the order of Components.SourceNoise
}

// Table lists what makes notes differ and by how much, a line each.
func (f Fit) Table() *Table {
	t := &Table{Columns: []Column{
		{Title: "what makes notes differ", Name: "name"},
		{Title: "in the catalog", Name: "items", Right: true},
		{Title: "measured", Name: "measured", Right: true},
		{Title: "typical cents", Name: "cents", Right: true},
	}}
	for _, l := range f.Report.Levels {
		t.Add(Words(l.Name), Count(l.Blocks), Count(l.Seen), Number(l.SD, 1))
	}
	c := f.Components
	for _, part := range []struct {
		name  string
		cents float64
	}{
		{"pair, beyond horn and mouthpiece", c.Interaction}, {"day, beyond its slide and tuner", c.Wiggle},
		{"session: slide and tuner", math.Hypot(c.Offset, c.Slide)}, {"reading", c.Noise},
	} {
		t.Add(Words(part.name), Cell{}, Cell{}, Number(part.cents, 1))
	}
	if len(f.Sources) > 1 && len(f.Sources) == len(c.SourceNoise) {
		for i, s := range f.Sources {
			t.Add(Text(sourceName(s)), Cell{}, Cell{}, Number(c.SourceNoise[i], 1))
		}
	}
	return t
}

func sourceName(s fit.Source) string {
	who := s.Contributor
	if who == "" {
		who = "nobody named"
	}
	return fmt.Sprintf("reading by %s, %s", who, s.Method)
}

// Sentences say how the fit was made and what it can't say.
func (f Fit) Sentences() []string {
	r := f.Report
	made := "The stored fit is up to date; it was made on " + f.At.Local().Format("2 January 2006 at 15:04") + "."
	if f.Now {
		made = fmt.Sprintf("Made now in %s.", rounded(r.Duration))
	}
	if r.Readings == 0 {
		return []string{made, "There are no sessions yet: these are the sizes that are usual, and predictions say what is common to all trumpets."}
	}
	out := []string{
		fmt.Sprintf("%s It rests on %s in %s. Typical cents are how much each changes a note of the usual range, up or down; "+
			"items without a session are taken to vary as the measured ones do.", made, match.Count(r.Readings, "reading"), match.Count(r.Sessions, "session")),
		fmt.Sprintf("Of the readings %.1f %% are taken for slips, %.0f times as far off as the rest, and count for little.", 100*f.Components.GrossShare, f.Components.GrossFactor),
	}
	if r.Refreshed > 0 {
		out = append(out, fmt.Sprintf("%s came in since everything was last worked out anew, which 'centwise fit --again' does.", match.Count(r.Refreshed, "session")))
	}
	if r.Parts > 1 {
		out = append(out, fmt.Sprintf("The catalog falls into %d parts that no session joins. What is said across them rests on what is usual.", r.Parts))
	}
	return append(out, f.calculation())
}

// calculation says how the numbers were found.
func (f Fit) calculation() string {
	r := f.Report
	how := "from exact equations"
	if !r.Exact {
		how = fmt.Sprintf("by %s, to %.0e of the right-hand side", match.Count(r.Iterations, "iteration"), r.Residual)
	}
	text := fmt.Sprintf("Calculation: %s of learning, %s solved %s, %s of what is not known.",
		match.Count(r.Steps, "step"), match.Count(r.Unknowns, "unknown"), how, match.Count(r.Draws, "joint draw"))
	if !r.Converged {
		text += " It did not settle: take the results as rough, and look for odd sessions with 'centwise catalog check'."
	}
	return text
}

// rounded is a time to two digits or so.
func rounded(d time.Duration) string {
	if d < time.Second {
		return fmt.Sprintf("%d ms", d.Milliseconds())
	}
	return fmt.Sprintf("%.1f s", d.Seconds())
}

// Fields is the fit as JSON.
func (f Fit) Fields() Fields {
	r, c := f.Report, f.Components
	levels := []Fields{}
	for _, l := range r.Levels {
		levels = append(levels, Fields{{"name", l.Name}, {"items", l.Blocks}, {"measured", l.Seen}, {"cents", l.SD}})
	}
	sources := []Fields{}
	for i, s := range f.Sources {
		if i < len(c.SourceNoise) {
			sources = append(sources, Fields{{"contributor", s.Contributor}, {"method", s.Method}, {"noise_cents", c.SourceNoise[i]}})
		}
	}
	return Fields{
		{"fitted", f.Now}, {"at", f.At}, {"digest", f.Digest}, {"seed", f.Seed},
		{"sessions", r.Sessions}, {"refreshed", r.Refreshed}, {"readings", r.Readings}, {"parts", r.Parts}, {"levels", levels},
		{"pair_cents", c.Interaction}, {"day_cents", c.Wiggle},
		{"offset_cents", c.Offset}, {"slide_cents", c.Slide}, {"correlation", c.Correlation},
		{"noise_cents", c.Noise}, {"sources", sources}, {"gross_share", c.GrossShare}, {"gross_factor", c.GrossFactor},
		{"unknowns", r.Unknowns}, {"steps", r.Steps}, {"change", r.Change}, {"iterations", r.Iterations}, {"residual", r.Residual},
		{"converged", r.Converged}, {"draws", r.Draws}, {"exact", r.Exact}, {"duration_s", r.Duration.Seconds()},
	}
}
