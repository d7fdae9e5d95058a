package show

import (
	"fmt"
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"

	"centwise/catalog/pitch"
)

// Panels of a recording: as many as make a minute or so each, within bounds.
const (
	panelSeconds = 40.0
	mostPanels   = 12
	panelShare   = 0.62
)

// HeardPicture draws pitch over time with the notes that were found in one
// recording, so that a note cut in two, or two taken for one, is seen.
func HeardPicture(file string, seconds float64, tones []Heard) Picture {
	kept, rejected := 0, 0
	for _, h := range tones {
		if h.Number > 0 {
			kept++
		} else {
			rejected++
		}
	}
	p := Picture{
		Title: "What was heard in " + file,
		Lead:  fmt.Sprintf("Notes that count: %d; left out: %d. Each should be one stroke: look for a note cut in two, or two in one.", kept, rejected),
		Foot: "Lines: the pitch; thick: the steady part that counts, orange sharp, blue flat, black near the note; grey: left out. " +
			"Beside each note its number in the list and what it was taken for; ? in doubt.",
	}
	count := min(mostPanels, max(1, int(math.Ceil(seconds/panelSeconds))))
	each := max(seconds, 1) / float64(count)
	low, high := compass(tones)
	for k := range count {
		panel := newPanel(panelShare, "", "sounding note")
		if k == count-1 {
			panel.X.Label.Text = "time"
		}
		panel.X.Min, panel.X.Max = each*float64(k), each*float64(k+1)
		panel.Y.Min, panel.Y.Max = low-1.5, high+2.5
		panel.X.Tick.Marker, panel.Y.Tick.Marker = clockTicks{}, noteTicks{}
		for _, h := range tones {
			if h.End > panel.X.Min && h.Start < panel.X.Max {
				panel.heard(h)
			}
		}
		p.Panels = append(p.Panels, panel)
	}
	return p
}

// compass is the range of what is drawn, in semitones.
func compass(tones []Heard) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, h := range tones {
		for _, c := range h.Contour {
			low, high = min(low, c.Semitone), max(high, c.Semitone)
		}
	}
	if low > high {
		return 60, 72
	}
	return low, high
}

// heard draws one tone within the panel.
func (p Panel) heard(h Heard) {
	var thin, thick plotter.XYs
	for _, c := range h.Contour {
		if c.Second < p.X.Min || c.Second > p.X.Max {
			continue
		}
		at := plotter.XY{X: c.Second, Y: c.Semitone}
		thin = append(thin, at)
		if c.Second >= h.SteadyPart[0] && c.Second <= h.SteadyPart[1] {
			thick = append(thick, at)
		}
	}
	if len(thin) == 0 {
		return
	}
	shade, name := color.Color(faint), ""
	if h.Number > 0 {
		shade, name = toneColour(h.Cents), fmt.Sprintf("%d %s", h.Number, h.Note)
		if len(h.Doubt) > 0 {
			name += "?"
		}
	}
	p.line(thin, shade, 0.7)
	if h.Number == 0 {
		return
	}
	if len(thick) > 1 {
		p.line(thick, shade, 2.2)
	}
	style := textStyle(tickSize-1, false, ink)
	style.XAlign, style.Rotation = text.XLeft, math.Pi/3
	p.Add(&plotter.Labels{XYs: thin[len(thin)/2 : len(thin)/2+1], Labels: []string{name}, TextStyle: []text.Style{style}, Offset: vg.Point{X: 0, Y: 4}})
}

// noteTicks names every third semitone.
type noteTicks struct{}

// Ticks gives a line a note, every third of them with its name.
func (noteTicks) Ticks(low, high float64) []plot.Tick {
	var out []plot.Tick
	for n := int(math.Ceil(low)); float64(n) <= high; n++ {
		label := ""
		if n%3 == 0 || high-low < 16 {
			label = pitch.Note(n).String()
		}
		out = append(out, plot.Tick{Value: float64(n), Label: label})
	}
	return out
}

// clockTicks are times at even distances.
type clockTicks struct{}

// Ticks gives five to ten of them.
func (clockTicks) Ticks(low, high float64) []plot.Tick {
	step := 1.0
	for _, s := range []float64{2, 5, 10, 15, 30, 60, 120, 300, 600, 1200, 1800, 3600} {
		if (high-low)/step > 9 {
			step = s
		}
	}
	var out []plot.Tick
	for k := math.Ceil(low / step); k*step <= high; k++ {
		whole := int(k * step)
		out = append(out, plot.Tick{Value: k * step, Label: fmt.Sprintf("%d:%02d", whole/60, whole%60)})
	}
	return out
}
