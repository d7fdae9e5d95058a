package show

import (
	"fmt"
	"strconv"

	"centwise/match/aircolumn"
)

// SubjectSentence says of what bore, and of what air in it, an answer is.
func SubjectSentence(s aircolumn.Subject) string {
	air := fmt.Sprintf("%.0f %% humidity", s.HumidityPercent)
	if s.HumidityPercent == 0 {
		air = "dry air"
	}
	return fmt.Sprintf("Calculated for %s at %g degrees, %s (sound travels at %.1f m/s). A resonance is %s.", Clean(s.Bore), s.TemperatureC, air, s.SpeedMS, aircolumn.Definition)
}

// PeakTable lists resonances, a line each.
func PeakTable(lines []aircolumn.PeakLine) *Table {
	t := &Table{Columns: []Column{
		{Title: "valves", Name: "valves"}, {Title: "partial", Name: "partial", Right: true}, {Title: "note", Name: "note"},
		{Title: "Hz", Name: "frequency_hz", Right: true}, {Title: "cents", Name: "cents", Right: true},
		{Title: "Q", Name: "q", Right: true, Drop: 2}, {Title: "|Zin| MPa s/m3", Name: "magnitude", Right: true, Drop: 1},
	}}
	for _, l := range lines {
		t.Add(Words(l.Valves), Count(l.Partial), Words(l.Note), Number(l.FrequencyHz, 2), Cents(l.Cents, 1), Number(l.Q, 1),
			Cell{short: strconv.FormatFloat(l.Magnitude/1e6, 'f', 1, 64), full: full(l.Magnitude)})
	}
	return t
}

// PeakMatrix shows the cents of resonances, a line a fingering and a column a
// partial, for terminals.
func PeakMatrix(lines []aircolumn.PeakLine, partials int) *Table {
	t := &Table{Columns: []Column{{Title: "valves", Name: "valves"}}}
	for p := 1; p <= partials; p++ {
		t.Columns = append(t.Columns, Column{Title: "p" + strconv.Itoa(p), Name: "p" + strconv.Itoa(p), Right: true, Drop: dropOfPartial(p)})
	}
	var row []Cell
	for i, l := range lines {
		if i == 0 || l.Valves != lines[i-1].Valves {
			row = append([]Cell{Words(l.Valves)}, make([]Cell, partials)...)
			t.Rows = append(t.Rows, row)
		}
		row[l.Partial] = Cents(l.Cents, 0)
	}
	return t
}

// dropOfPartial is when a narrow terminal leaves a partial out: those that notes
// are seldom played on go first.
func dropOfPartial(p int) int {
	switch p {
	case 1, 7, 11:
		return 2
	case 9, 10, 12:
		return 1
	}
	return 0
}

// CurveTable lists the points of a curve.
func CurveTable(a *aircolumn.CurveAnswer) *Table {
	t := &Table{Columns: []Column{
		{Title: "Hz", Name: "frequency_hz", Right: true}, {Title: "|Zin|", Name: "magnitude", Right: true},
		{Title: "real", Name: "real", Right: true}, {Title: "imaginary", Name: "imaginary", Right: true},
	}}
	for _, p := range a.Points {
		t.Add(Number(p.FrequencyHz, 2), Number(p.Magnitude, 0), Number(p.Real, 0), Number(p.Imaginary, 0))
	}
	return t
}

// HarmonicTable lists where the harmonics of a note fall.
func HarmonicTable(a *aircolumn.CurveAnswer) *Table {
	t := &Table{Columns: []Column{
		{Title: a.Note, Name: "harmonic", Right: true}, {Title: "Hz", Name: "frequency_hz", Right: true},
		{Title: "partial", Name: "partial", Right: true, Drop: 1}, {Title: "its peak", Name: "peak_hz", Right: true},
		{Title: "beside it", Name: "cents", Right: true}, {Title: "height left", Name: "share", Right: true},
	}}
	for _, h := range a.Harmonics {
		row := []Cell{Count(h.Number), Number(h.FrequencyHz, 1), Count(h.Partial), Words("none"), Words(""), Words("")}
		if h.PeakHz > 0 {
			row[3], row[4], row[5] = Number(h.PeakHz, 1), Cents(h.Cents, 1), Number(h.Share, 2)
		}
		t.Add(row...)
	}
	return t
}

// effectName names a change with its size and place.
func effectName(e aircolumn.Effect) string {
	name := fmt.Sprintf("%s +%g %s", e.What, e.Step, e.Unit)
	if e.ToMM > 0 {
		name = fmt.Sprintf("%.0f-%.0f mm, %s +%g %s", e.FromMM, e.ToMM, e.Part, e.Step, e.Unit)
	}
	return name
}

// EffectTable lists effects, a line an effect and slot.
func EffectTable(a *aircolumn.EffectsAnswer) *Table {
	t := &Table{Columns: []Column{
		{Name: "what"}, {Name: "step"}, {Name: "unit"}, {Name: "from_mm"}, {Name: "to_mm"}, {Name: "part"},
		{Name: "valves"}, {Name: "partial"}, {Name: "cents"},
	}}
	for _, e := range a.Effects {
		for j, s := range a.Slots {
			t.Add(Words(e.What), Number(e.Step, 2), Words(e.Unit), Number(e.FromMM, 0), Number(e.ToMM, 0), Words(string(e.Part)),
				Words(s.Valves), Count(s.Partial), Cents(e.Cents[j], 2))
		}
	}
	return t
}

// EffectMatrix shows effects, a line each and a column a slot, for terminals.
func EffectMatrix(a *aircolumn.EffectsAnswer) *Table {
	t := &Table{Columns: []Column{{Title: "change", Whole: true}}}
	for j, s := range a.Slots {
		t.Columns = append(t.Columns, Column{Title: fmt.Sprintf("%s/%d", s.Valves, s.Partial), Right: true, Drop: 1 + j})
	}
	for _, e := range a.Effects {
		row := []Cell{Words(effectName(e))}
		for _, cents := range e.Cents {
			row = append(row, Cents(cents, 2))
		}
		t.Add(row...)
	}
	return t
}
