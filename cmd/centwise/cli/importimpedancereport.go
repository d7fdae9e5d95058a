package cli

import (
	"fmt"
	"maps"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"centwise/catalog/pitch"
	"centwise/cmd/centwise/show"
	"centwise/importers/impedance"
	"centwise/match"
)

// print shows the resonances to people, and says what belongs to them.
func (b *benchSession) print() error {
	s := b.factory.Streams
	if err := b.table().Write(s.Out, s.Style); err != nil {
		return err
	}
	s.Notes(b.words())
	return nil
}

// table lays out the resonances, a line each.
func (b *benchSession) table() *show.Table {
	file, unit, scale := "", "|Z|", 1.0
	if len(b.files) > 1 {
		file = "file"
	}
	if b.known() {
		unit, scale = "MPa s/m3", 1e-6
	}
	t := &show.Table{Columns: []show.Column{
		{Title: file, Name: "file", Drop: 1}, {Title: "valves", Name: "valves"}, {Title: "partial", Name: "partial", Right: true},
		{Title: "note", Name: "note"}, {Title: "Hz", Name: "frequency_hz", Right: true},
		{Title: "cents", Name: "cents", Right: true}, {Title: "sd", Name: "sd_cents", Right: true},
		{Title: "Q", Name: "q", Right: true, Drop: 2}, {Title: unit, Name: "magnitude", Right: true, Drop: 3},
		{Title: "support", Name: "support", Right: true}, {Title: " ", Name: "why"},
	}}
	for _, f := range b.files {
		for _, r := range f.resonances {
			height := show.Either(fmt.Sprintf("%.3g", b.height(f, r)*scale), fmt.Sprint(b.height(f, r)))
			t.Add(show.Text(filepath.Base(f.path)), show.Words(f.valves.String()), partialCell(r.partial), show.Words(noteOf(f, r)),
				show.Number(r.Hz, 2), centsCell(r), show.Number(r.SD, 2), show.Number(r.Q, 1), height, numberCell(r.support), show.Words(r.why))
		}
	}
	return t
}

func partialCell(n int) show.Cell {
	if n == 0 {
		return show.Cell{}
	}
	return show.Count(n)
}

// numbered reports whether the resonance has a place in the catalog.
func (r benchResonance) numbered() bool { return r.partial >= 1 && r.partial <= pitch.MaxPartial }

func centsCell(r benchResonance) show.Cell {
	if !r.numbered() {
		return show.Cell{}
	}
	return show.Cents(r.cents, 1)
}

func numberCell(v *float64) show.Cell {
	if v == nil {
		return show.Cell{}
	}
	return show.Number(*v, 2)
}

// noteOf is the written note that the resonance is used for.
func noteOf(f *benchFile, r benchResonance) string {
	if !r.numbered() || r.why != "" {
		return ""
	}
	return r.slot(f.valves).Note().String()
}

// known reports whether the heights of all curves are known in Pa s/m3.
func (b *benchSession) known() bool {
	return !slices.ContainsFunc(b.files, func(f *benchFile) bool { return f.curve.PaSPerM3 == 0 })
}

// height is in Pa s/m3 where all curves are known in it, else as in the file.
func (b *benchSession) height(f *benchFile, r benchResonance) float64 {
	if b.known() {
		return r.Height * f.curve.PaSPerM3
	}
	return r.Height
}

// words says what the numbers mean and stand on.
func (b *benchSession) words() []string {
	s := b.session
	intro := fmt.Sprintf("%s with %s. A resonance is a maximum of |Zin| at the plane of measurement; cents are from the written note's pitch at A4 = %g Hz, and sd is the standard error of the fit. Notes are played 10 to 20 cents above their resonance.",
		b.horn.Label, b.mouthpiece.Label, s.Pitch())
	out := []string{intro}
	for _, f := range b.files {
		out = append(out, f.words())
	}
	if sd, n := b.repeatSD(); n > 0 {
		out = append(out, fmt.Sprintf("Curves of the same fingering agree to %.2f cents (standard deviation, from %s).", sd, match.Count(n, "resonance")))
	}
	if mean := b.support(); mean != nil {
		out = append(out, fmt.Sprintf("Harmonic support %.2f of 1 on the mean: how well the curves carry the harmonics of each note. An index for comparing, not cents.", *mean))
	}
	for _, d := range b.doubts {
		out = append(out, "Doubtful: "+d)
	}
	return out
}

// words says how a file was understood and what was left out.
func (f *benchFile) words() string {
	c := f.curve
	parts := []string{fmt.Sprintf("%s, valves %s: %d points from %.4g to %.4g Hz, columns %s; its resonances lie %s cents from the harmonic series on the median",
		filepath.Base(f.path), f.valves, len(c.Hz), c.Hz[0], c.Hz[len(c.Hz)-1], c.Columns, show.Signed(f.numbering.Shift, 0))}
	parts = append(parts, c.Remarks...)
	for _, r := range f.rejected {
		parts = append(parts, fmt.Sprintf("the maximum near %.4g Hz %s", r.Hz, r.Why))
	}
	if f.within > 0 {
		parts = append(parts, match.Count(f.within, "smaller peak")+" within the noise passed over")
	}
	return strings.Join(parts, "; ") + "."
}

// repeatSD is the standard deviation of repeated resonances about their mean,
// and of how many there are several.
func (b *benchSession) repeatSD() (sd float64, slots int) {
	bySlot := map[pitch.Slot][]float64{}
	for _, r := range b.session.Readings {
		bySlot[r.Slot] = append(bySlot[r.Slot], r.Cents)
	}
	squares, free := 0.0, 0
	for _, slot := range slices.SortedFunc(maps.Keys(bySlot), pitch.Slot.Compare) {
		values := bySlot[slot]
		if len(values) < 2 {
			continue
		}
		slots++
		mean := 0.0
		for _, v := range values {
			mean += v / float64(len(values))
		}
		for _, v := range values {
			squares += (v - mean) * (v - mean)
		}
		free += len(values) - 1
	}
	if free == 0 {
		return 0, 0
	}
	return math.Sqrt(squares / float64(free)), slots
}

// support is the mean over all notes for which it is known, nil for none.
func (b *benchSession) support() *float64 {
	sum, n := 0.0, 0
	for _, f := range b.files {
		for _, r := range f.resonances {
			if r.support != nil {
				sum += *r.support
				n++
			}
		}
	}
	if n == 0 {
		return nil
	}
	sum /= float64(n)
	return &sum
}

// fields is what --json prints.
func (b *benchSession) fields() show.Fields {
	unit := ""
	if b.known() {
		unit = "Pa s/m3"
	}
	files := []show.Fields{}
	for _, f := range b.files {
		files = append(files, b.fileFields(f))
	}
	var repeat any
	if sd, n := b.repeatSD(); n > 0 {
		repeat = sd
	}
	return show.Fields{
		{Name: "definition", Value: impedance.Definition}, {Name: "stored", Value: b.stored}, {Name: "session", Value: b.session.Name},
		{Name: "horn", Value: b.horn.Label}, {Name: "mouthpiece", Value: b.mouthpiece.Label}, {Name: "method", Value: b.session.Method}, {Name: "a4_hz", Value: b.session.Pitch()},
		{Name: "files", Value: files}, {Name: "unit", Value: unit}, {Name: "support", Value: b.support()}, {Name: "repeat_sd", Value: repeat},
		{Name: "doubts", Value: list(b.doubts)}, {Name: "readings", Value: len(b.session.Readings)},
	}
}

func (b *benchSession) fileFields(f *benchFile) show.Fields {
	resonances, rejected := []show.Fields{}, []show.Fields{}
	for _, r := range f.resonances {
		var cents any
		if r.numbered() {
			cents = r.cents
		}
		resonances = append(resonances, show.Fields{
			{Name: "partial", Value: r.partial}, {Name: "note", Value: noteOf(f, r)}, {Name: "frequency_hz", Value: r.Hz}, {Name: "sd_cents", Value: r.SD}, {Name: "cents", Value: cents},
			{Name: "q", Value: r.Q}, {Name: "magnitude", Value: b.height(f, r)}, {Name: "points", Value: r.Points}, {Name: "reading", Value: r.why == ""}, {Name: "why", Value: r.why},
			{Name: "support", Value: r.support},
		})
	}
	for _, r := range f.rejected {
		rejected = append(rejected, show.Fields{{Name: "frequency_hz", Value: r.Hz}, {Name: "why", Value: r.Why}})
	}
	c := f.curve
	return show.Fields{
		{Name: "file", Value: f.path}, {Name: "valves", Value: f.valves.String()}, {Name: "points", Value: len(c.Hz)}, {Name: "from_hz", Value: c.Hz[0]}, {Name: "to_hz", Value: c.Hz[len(c.Hz)-1]},
		{Name: "columns", Value: c.Columns}, {Name: "shift_cents", Value: f.numbering.Shift}, {Name: "remarks", Value: list(c.Remarks)},
		{Name: "resonances", Value: resonances}, {Name: "rejected", Value: rejected},
	}
}
