package show

import (
	"fmt"
	"strings"

	"centwise/match/aircolumn"

	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg/draw"
)

// CurvePicture draws |Zin| over frequency, with the harmonics of a note.
func CurvePicture(a *aircolumn.CurveAnswer) Picture {
	p := newPanel(1.1, "Hz", "|Zin|, MPa s/m3")
	var curve, peaks, hits plotter.XYs
	top := 0.0
	for _, point := range a.Points {
		curve = append(curve, plotter.XY{X: point.FrequencyHz, Y: point.Magnitude / 1e6})
		top = max(top, point.Magnitude/1e6)
	}
	first, last := curve[0].X, curve[len(curve)-1].X
	names := plotter.XYLabels{}
	for _, h := range a.Harmonics {
		if h.FrequencyHz < first {
			continue
		}
		p.line(plotter.XYs{{X: h.FrequencyHz, Y: 0}, {X: h.FrequencyHz, Y: top * 1.08}}, sharpC, 0.8, 3, 2)
		hits = append(hits, plotter.XY{X: h.FrequencyHz, Y: h.Magnitude / 1e6})
		names.XYs = append(names.XYs, plotter.XY{X: h.FrequencyHz, Y: top * 1.08})
		names.Labels = append(names.Labels, fmt.Sprint(h.Number))
	}
	for _, r := range a.Resonances {
		if r.FrequencyHz >= first && r.FrequencyHz <= last {
			peaks = append(peaks, plotter.XY{X: r.FrequencyHz, Y: r.Magnitude / 1e6})
		}
	}
	p.line(curve, ink, 1.2)
	p.marks(peaks, draw.RingGlyph{}, flatC, 2.6)
	p.points(hits, sharpC, 2.4)
	p.label(names, last+1)
	p.Y.Min, p.Y.Max = 0, top*1.14
	p.X.Min, p.X.Max = first, last
	return Picture{Title: curveTitle(a), Lead: curveLead(a), Foot: curveFoot(a), Panels: []Panel{p}}
}

func curveTitle(a *aircolumn.CurveAnswer) string {
	valves := "open"
	if a.Valves != "0" {
		valves = "valves " + a.Valves
	}
	return fmt.Sprintf("Input impedance of %s, %s", a.Bore, valves)
}

func curveLead(a *aircolumn.CurveAnswer) string {
	if a.Note == "" {
		return fmt.Sprintf("Rings: resonances, %s.", aircolumn.Definition)
	}
	lead := fmt.Sprintf("Dashed: the harmonics of %s. The nearer they are to the peaks, the better the air column carries the note.", a.Note)
	if a.Support != nil {
		lead += fmt.Sprintf(" Harmonic support %.2f of 1.", *a.Support)
	}
	return lead
}

func curveFoot(a *aircolumn.CurveAnswer) string {
	parts := []string{SubjectSentence(a.Subject), "Rings: resonances."}
	if a.Note != "" {
		parts = append(parts, "Filled dots: what the curve has left at the harmonics.")
	}
	return strings.Join(parts, " ")
}
