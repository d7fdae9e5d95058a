package show

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"centwise/match"
	"centwise/match/fit"
)

// Fit is what a fit learned, to be shown.
type Fit struct {
	*fit.Model
	Now     bool         // made now, not found in the catalog
	Sources []fit.Source // of the readings, in the order of Components.SourceNoise
	Apart   []fit.Part   // parts of the catalog that no session joins, the largest first
	// Brief leaves out of the table all but the noisiest sources.
	Brief bool
}

// NewFit prepares to show a fit, briefly to people.
func NewFit(m *fit.Model, now bool, style Style) Fit {
	return Fit{Model: m, Now: now, Sources: m.Sources(), Apart: m.Parts(), Brief: style.Terminal}
}

// briefSources is how many sources a brief table names, and briefParts how many
// parts the sentences do.
const briefSources, briefParts = 8, 4

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
	for _, i := range f.sources() {
		t.Add(Text(sourceName(f.Sources[i])), Cell{}, Cell{}, Number(c.SourceNoise[i], 1))
	}
	return t
}

// sources says which sources the table names: none if there is but one, the
// noisiest first if not all of them.
func (f Fit) sources() []int {
	noise := f.Components.SourceNoise
	if len(f.Sources) < 2 || len(f.Sources) != len(noise) {
		return nil
	}
	list := make([]int, len(noise))
	for i := range list {
		list[i] = i
	}
	if f.Brief && len(list) > briefSources {
		slices.SortStableFunc(list, func(a, b int) int { return cmp.Compare(noise[b], noise[a]) })
		list = list[:briefSources]
	}
	return list
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
	if named := len(f.sources()); named > 0 && named < len(f.Sources) {
		noise := f.Components.SourceNoise
		out = append(out, fmt.Sprintf("The %d noisiest of %d sources of readings are named; all lie between %.1f and %.1f cents. 'centwise fit --json' has them all.",
			named, len(f.Sources), slices.Min(noise), slices.Max(noise)))
	}
	return append(append(out, f.apart()...), f.calculation())
}

// apart names the parts of the catalog that no session joins, and the sessions
// that would join them.
func (f Fit) apart() []string {
	if len(f.Apart) < 2 {
		return nil
	}
	out := []string{fmt.Sprintf("The catalog falls into %d parts that no session joins. What is said across them rests on what is usual.", len(f.Apart))}
	main := f.Apart[0]
	for i, part := range f.Apart {
		if i == briefParts {
			out = append(out, fmt.Sprintf("%s are smaller; 'centwise fit --json' lists them.", match.Count(len(f.Apart)-i, "other part")))
			break
		}
		text := fmt.Sprintf("Part %d, with %s: %s; %s.", i+1, match.Count(part.Sessions, "session"), someOf(part.Horns), someOf(part.Mouthpieces))
		if i > 0 {
			text += fmt.Sprintf(" A session of %s with %s, or the other way about, would join it to part 1.", part.Horns[0].Label, main.Mouthpieces[0].Label)
		}
		out = append(out, text)
	}
	return out
}

// someOf names a few items and counts the others.
func someOf(items []fit.Item) string {
	const few = 3
	var names []string
	for i, item := range items {
		if i == few {
			names = append(names, fmt.Sprintf("%d more", len(items)-few))
			break
		}
		names = append(names, item.Label)
	}
	return strings.Join(names, ", ")
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
		{"sessions", r.Sessions}, {"refreshed", r.Refreshed}, {"readings", r.Readings}, {"parts", r.Parts}, {"apart", f.apartFields()}, {"levels", levels},
		{"pair_cents", c.Interaction}, {"day_cents", c.Wiggle},
		{"offset_cents", c.Offset}, {"slide_cents", c.Slide}, {"correlation", c.Correlation},
		{"noise_cents", c.Noise}, {"sources", sources}, {"gross_share", c.GrossShare}, {"gross_factor", c.GrossFactor},
		{"unknowns", r.Unknowns}, {"steps", r.Steps}, {"change", r.Change}, {"iterations", r.Iterations}, {"residual", r.Residual},
		{"converged", r.Converged}, {"draws", r.Draws}, {"exact", r.Exact}, {"duration_s", r.Duration.Seconds()},
	}
}

func (f Fit) apartFields() []Fields {
	labels := func(items []fit.Item) []string {
		out := make([]string, 0, len(items))
		for _, item := range items {
			out = append(out, item.Label)
		}
		return out
	}
	out := []Fields{}
	for _, p := range f.Apart {
		out = append(out, Fields{{"sessions", p.Sessions}, {"horns", labels(p.Horns)}, {"mouthpieces", labels(p.Mouthpieces)}})
	}
	return out
}
